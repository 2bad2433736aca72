"""Sounds of cuts whose truth is known by construction: strokes of noise, lines, hum.

Nothing here comes from ``chatter``: what the tests ask of the listening is made with numpy
alone, so that no mistake can stand on both sides.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

RATE_HZ = 16000


@dataclass(frozen=True)
class Made:
    """A sound with its shaft angle.

    Attributes
    ----------
    x : ndarray, shape (n,), float32
    turns : ndarray, shape (n,)
        True angle of the shaft [revolutions].
    rate_hz : int
    """

    x: np.ndarray
    turns: np.ndarray
    rate_hz: int

    @property
    def mean_hz(self) -> float:
        """Mean spindle frequency over the whole sound."""
        n = self.turns.size
        return float((self.turns[-1] - self.turns[0]) * self.rate_hz / (n - 1))


def reader(x: np.ndarray) -> Callable[[int, int], np.ndarray]:
    """A reader of samples [a, b)."""
    x = np.asarray(x, np.float32)
    return lambda a, b: x[a:b]


def shaft(
    seconds: float,
    rev_min: float,
    *,
    rate_hz: int = RATE_HZ,
    wander: float = 0.0,
    sag: float = 0.0,
    wander_s: float = 4.0,
) -> np.ndarray:
    """Angle of a shaft [revolutions] that wanders by a share of its speed and sags."""
    t = np.arange(round(seconds * rate_hz)) / rate_hz
    speed = (
        rev_min
        / 60.0
        * (1.0 + wander * np.sin(2 * np.pi * t / wander_s + 0.7) - sag * t / max(seconds, 1e-9))
    )
    return np.concatenate([[0.0], np.cumsum(0.5 * (speed[1:] + speed[:-1])) / rate_hz])


def high_pass(x: np.ndarray, cut_hz: float, rate_hz: int) -> np.ndarray:
    """Take away everything below ``cut_hz``, as a phone does."""
    spectrum = np.fft.rfft(x)
    spectrum[: int(np.ceil(cut_hz * x.size / rate_hz))] = 0.0
    return np.fft.irfft(spectrum, x.size)


def strokes(
    turns: np.ndarray, teeth: int, *, heights: np.ndarray | None = None, sharpness: float = 2.0
) -> np.ndarray:
    """Envelope of the teeth's strokes, one bump a tooth, of mean about one.

    Parameters
    ----------
    turns : ndarray, shape (n,)
    teeth : int
    heights : ndarray, shape (teeth,), optional
        Strength of each tooth; all one by default.
    sharpness : float
        Of the von Mises bump exp(k cos): 2 gives a stroke of about a third of the slot.
    """
    phase = turns * teeth
    bump = np.exp(sharpness * (np.cos(2 * np.pi * (phase - 0.5)) - 1.0))
    bump /= np.i0(sharpness) * np.exp(-sharpness)
    if heights is not None:
        bump = bump * np.asarray(heights)[np.floor(phase).astype(int) % teeth]
    return bump


def cut(
    rng: np.random.Generator,
    seconds: float,
    rev_min: float,
    teeth: int,
    *,
    rate_hz: int = RATE_HZ,
    depth: float = 0.8,
    ticks: float = 0.0,
    heights: np.ndarray | None = None,
    wander: float = 0.0,
    sag: float = 0.0,
    low_hz: float = 100.0,
    level: float = 0.1,
) -> Made:
    """Noise that swells with every tooth; nothing below ``low_hz``.

    ``depth`` is the part of the noise's amplitude that the strokes make; the rest is steady.
    ``ticks`` is the r.m.s. of what sounds alike at every stroke, over that of the noise: a
    short pulse a tooth, so a comb of harmonics up to some 1.5 kHz or the 15th.
    """
    turns = shaft(seconds, rev_min, rate_hz=rate_hz, wander=wander, sag=sag)
    envelope = (1.0 - depth) + depth * strokes(turns, teeth, heights=heights)
    x = envelope * rng.standard_normal(turns.size)
    if ticks:
        tooth_hz = teeth * rev_min / 60.0
        sharpness = float(np.clip((1500.0 / tooth_hz) ** 2 / 4.0, 4.0, 400.0))
        pulse = strokes(turns, teeth, heights=heights, sharpness=sharpness)
        pulse = high_pass(pulse, low_hz, rate_hz)
        x = x + ticks * np.sqrt(np.mean(x**2)) * pulse / np.sqrt(np.mean(pulse**2))
    x = level * high_pass(x, low_hz, rate_hz)
    return Made(x.astype(np.float32), turns, rate_hz)


def sine(
    seconds: float,
    frequency_hz: float,
    amplitude: float,
    *,
    rate_hz: int = RATE_HZ,
    phase: float = 0.3,
) -> np.ndarray:
    """A steady tone."""
    t = np.arange(round(seconds * rate_hz)) / rate_hz
    return amplitude * np.sin(2 * np.pi * frequency_hz * t + phase)


def family(seconds: float, lines: dict[float, float], *, rate_hz: int = RATE_HZ) -> np.ndarray:
    """Sum of steady tones {frequency [Hz]: amplitude}."""
    return sum(
        sine(seconds, f, a, rate_hz=rate_hz, phase=1.3 * i)
        for i, (f, a) in enumerate(lines.items())
    )


def melody(rng, seconds):
    """Half-second notes of an equal-tempered scale, four partials each."""
    out = 0.01 * rng.standard_normal(round(seconds * RATE_HZ))
    t = np.arange(RATE_HZ // 2) / RATE_HZ
    for start in range(0, out.size - t.size, t.size):
        f = 220.0 * 2 ** (rng.integers(0, 24) / 12)
        for k in (1, 2, 3, 4):
            out[start : start + t.size] += 0.1 / k * np.sin(2 * np.pi * k * f * t)
    return out
