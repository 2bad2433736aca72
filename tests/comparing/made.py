"""Made sounds: noise that swells by known depths with the turn and with the teeth."""

from __future__ import annotations

import numpy as np

RATE = 24_000
TEETH = 12
TURN_S = 0.8  # 75 rev/min


def swelling_noise(
    *,
    turn: float = 0.0,
    tooth: float = 0.0,
    side: float = 0.0,
    turns: float = 24.0,
    turn_s: float = TURN_S,
    seed: int = 0,
    high_only: bool = False,
) -> np.ndarray:
    """White noise of which the power is 1 + turn cos(a) + tooth (1 + side cos(a)) cos(N a).

    Parameters
    ----------
    turn, tooth : float
        Depths of the power, so that peak over trough of the turn is (1 + turn) / (1 - turn).
    side : float
        How much the teeth's strokes wax and wane over the turn.
    turns, turn_s : float
    seed : int
    high_only : bool
        Only the sound above 1200 Hz swells with the turn.
    """
    rng = np.random.default_rng(seed)
    n = int(turns * turn_s * RATE)
    angle = 2 * np.pi * np.arange(n) / (turn_s * RATE)
    teeth = tooth * (1 + side * np.cos(angle)) * np.cos(TEETH * angle)
    noise = rng.standard_normal(n)
    if not high_only:
        power = 1 + turn * np.cos(angle + 0.7) + teeth
        return (noise * np.sqrt(np.maximum(power, 0.0))).astype(np.float32)
    spectrum = np.fft.rfft(noise)
    low = spectrum.copy()
    low[np.fft.rfftfreq(n, 1 / RATE) > 1200.0] = 0.0
    deep = np.fft.irfft(low, n)
    swollen = (noise - deep) * np.sqrt(np.maximum(1 + turn * np.cos(angle + 0.7) + teeth, 0.0))
    return (deep * np.sqrt(1 + teeth) + swollen).astype(np.float32)


def tilted(x: np.ndarray, gain: float, db_octave: float) -> np.ndarray:
    """The same sound through another microphone: gain and a straight tilt."""
    spectrum = np.fft.rfft(x)
    hz = np.maximum(np.fft.rfftfreq(len(x), 1 / RATE), 30.0)
    spectrum *= gain * (hz / 1000.0) ** (db_octave / 6.0206)
    return np.fft.irfft(spectrum, len(x)).astype(np.float32)


def reader(x: np.ndarray):
    """As a track is read."""
    return lambda a, b: x[max(0, a) : max(0, b)]
