"""Radiation: from the motion and forces of a cut to the sound beside the machine."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from chatter.lab.simulate.course import slow_noise, stretched
from chatter.lab.simulate.cutting import Motion
from chatter.lab.simulate.scene import Radiation


@dataclass(frozen=True)
class Path:
    """One drawn instance of the way from force to sound."""

    ring: np.ndarray  # impulse response of the surroundings' many modes
    breath: np.ndarray  # impulse response that colours the chip noise
    angle_rad: float  # direction of the force that radiates best


def draw_path(radiation: Radiation, rate_hz: float, rng: np.random.Generator) -> Path:
    """Draw the modes of machine and work that only radiate (they do not regenerate)."""
    ring = mode_bank(
        rng,
        rate_hz,
        radiation.bank_modes,
        radiation.bank_hz,
        radiation.bank_damping,
        radiation.tilt_db_octave,
        times=1,
    )
    if radiation.deep_db is not None:
        deep = mode_bank(rng, rate_hz, 8, (14.0, 220.0), (0.03, 0.2), -3.0, times=1)
        deep = deep * np.float32(10 ** (radiation.deep_db / 20))
        size = max(len(ring), len(deep))
        ring, deep = (np.pad(one, (0, size - len(one))) for one in (ring, deep))
        ring = ring + deep
    breath = mode_bank(rng, rate_hz, 60, (500.0, 10_000.0), (0.05, 0.3), -1.5)
    return Path(ring, breath, float(rng.uniform(0, np.pi)))


def mode_bank(
    rng: np.random.Generator,
    rate_hz: float,
    count: int,
    band_hz: tuple[float, float],
    damping: tuple[float, float],
    tilt_db_octave: float,
    *,
    times: int = 2,
) -> np.ndarray:
    """Impulse response of ``count`` random ringing modes, float32, unit energy.

    ``times`` says how often the motion is differentiated: 2 turns a force into the
    acceleration that radiates, 1 does so for what is already the change of a force.
    """
    top = min(band_hz[1], 0.45 * rate_hz)
    # Plates have as many modes per hertz everywhere, beams fewer and fewer: between the two.
    hz = rng.uniform(np.sqrt(band_hz[0]), np.sqrt(top), count) ** 2
    zeta = np.exp(rng.uniform(np.log(damping[0]), np.log(damping[1]), count))
    level = tilt_db_octave * np.log2(hz / 1000.0) + 5.0 * rng.standard_normal(count)
    gain = 10 ** (level / 20) * rng.choice([-1.0, 1.0], count)
    seconds = min(0.5, float(np.max(5.0 / (2 * np.pi * zeta * hz))))
    t = np.arange(int(seconds * rate_hz)) / rate_hz
    out = np.zeros(len(t))
    for f, z, g in zip(hz, zeta, gain, strict=True):
        # g is the steady response to noise: scale the ring by sqrt(bandwidth).
        scale = g * np.sqrt(z * f) / (2 * np.sin(np.pi * f / rate_hz)) ** times
        out += scale * np.exp(-2 * np.pi * f * z * t) * np.sin(2 * np.pi * f * t)
    out = np.diff(out, n=times, prepend=np.zeros(times))
    return (out / np.sqrt(np.sum(out**2))).astype(np.float32)


def cut_sound(
    motion: Motion,
    forced: Motion,
    cutting: np.ndarray,
    radiation: Radiation,
    path: Path,
    rate_hz: float,
    rng: np.random.Generator,
) -> tuple[np.ndarray, np.ndarray]:
    """Sound of the cut and of its forced twin, both float32 of shape (n,).

    The twin (the same cut without regeneration) sets the scale: its sound straight from
    the force has unit r.m.s. over the cut, its modal sound ``modal_db`` re that.  Whatever
    chatter adds in the real motion then comes out as the dynamics have it.

    Parameters
    ----------
    motion, forced : Motion
        With and without regeneration.
    cutting : ndarray of bool, shape (n,)
        True while in the cut.
    """
    noise = rng.standard_normal(len(cutting), dtype=np.float32)
    straight = [_ring(one, path) for one in (motion, forced)]
    voices = [_without_mean(one.voice) for one in (motion, forced)]
    chips = [_chips(one, noise, cutting, path, radiation.chip_power) for one in (motion, forced)]
    parts = ((straight, 0.0), (voices, radiation.modal_db), (chips, radiation.chip_noise_db))
    sums = [np.zeros(len(cutting), np.float32) for _ in range(2)]
    for pair, level_db in parts:
        gain = 10 ** (level_db / 20) / max(rms(pair[1][cutting]), 1e-30)
        for out, one in zip(sums, pair, strict=True):
            out += np.float32(gain) * one
    hop = 4800
    drift = slow_noise(len(cutting) // hop + 2, hop / rate_hz, 4.0, rng) * radiation.drift_db
    gain = 10 ** (stretched(drift, hop)[: len(cutting)] / 20)
    return sums[0] * gain, sums[1] * gain


def rms(x: np.ndarray) -> float:
    """Root mean square; 0 for an empty array."""
    return float(np.sqrt(np.mean(np.square(x, dtype=np.float64)))) if len(x) else 0.0


def convolve(x: np.ndarray, ring: np.ndarray) -> np.ndarray:
    """Causal convolution, same length as ``x``, float32."""
    from scipy.signal import oaconvolve

    return oaconvolve(x, ring)[: len(x)].astype(np.float32)


def _ring(motion: Motion, path: Path) -> np.ndarray:
    along = motion.force_n @ np.array([np.cos(path.angle_rad), np.sin(path.angle_rad)], np.float32)
    return convolve(np.diff(along, prepend=along[:1]), path.ring)


def _without_mean(voice: np.ndarray) -> np.ndarray:
    return voice - np.float32(voice.mean())


def _chips(
    motion: Motion, noise: np.ndarray, cutting: np.ndarray, path: Path, power: float
) -> np.ndarray:
    mean = max(float(motion.chip_m2[cutting].mean()), 1e-30) if cutting.any() else 1.0
    return convolve(noise * (motion.chip_m2 / np.float32(mean)) ** power, path.breath)
