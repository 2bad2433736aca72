"""Period: a turn found from the swelling of the sound, where its strokes cannot be heard.

A plate that rubs drowns the teeth by which the spindle speed is heard, but what drowns them
swells once a turn.  That gives the turn to about half a per cent: enough to lay turns over each
other, not enough to part one tooth from the next.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from chatter.sound.bands import band_power
from chatter.sound.modulation import moving_mean
from chatter.sound.spectrum import Reader

#: The true speed is looked for this far from the stated one, ...
_SEARCH = 0.075
#: ... and the swelling there is held against that at periods this much further off.
_BESIDE = (0.6, 0.9), (1.1, 1.4)
_ORDERS = (1, 2, 3)
#: Samples of the envelope in a turn: enough for three orders.
_PER_TURN = 24
#: The period is looked for in no more turns than this, from the middle: further the speed wanders,
#: and the work grows with the square of their number.
MOST_TURNS = 64
#: Turns that are taken together, and how far they may stray from the pass as a whole.
_WINDOW_TURNS = 16
_STRAY = 0.01


@dataclass(frozen=True)
class Swelling:
    """The period at which a pass swells most.

    Attributes
    ----------
    course : tuple of (time [s], spindle frequency [Hz])
    times_others : float
        Its power over the greatest of all periods further off; chance gives 0.5 to 1.
    """

    course: tuple[tuple[float, float], ...]
    times_others: float


def hear_swelling(
    read: Reader, start: int, stop: int, rate_hz: int, *, stated_hz: float, fastest_hz: float
) -> Swelling | None:
    """As :func:`find_swelling`, of samples [start, stop) whose strokes come at ``fastest_hz``."""
    time_s, _, power = band_power(read, start, stop, rate_hz, fastest_hz=fastest_hz)
    return find_swelling(time_s, power, stated_hz)


def find_swelling(time_s: np.ndarray, power: np.ndarray, stated_hz: float) -> Swelling | None:
    """The period near the stated one at which the level swells most.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
    power : ndarray, shape (bands, n)
        From :func:`chatter.sound.bands.band_power`.
    stated_hz : float [Hz]
        Stated spindle frequency.

    Returns
    -------
    Swelling or None
        None when there are fewer than five turns.
    """
    if len(time_s) < 2 or (time_s[-1] - time_s[0]) * stated_hz < 5.0:
        return None
    time_s, level = _thinned(time_s, power, stated_hz)
    most = MOST_TURNS * _PER_TURN
    first = max(0, (len(time_s) - most) // 2)
    middle = slice(first, first + most)
    step = 0.1 / ((time_s[middle][-1] - time_s[middle][0]) * stated_hz)
    near = stated_hz * np.arange(1 - _SEARCH, 1 + _SEARCH, step)
    far = stated_hz * np.concatenate([np.arange(low, high, step) for low, high in _BESIDE])
    swellings = swelling_at(time_s[middle], level[:, middle], near)
    whole_hz = float(near[np.argmax(swellings)])
    others = max(float(swelling_at(time_s[middle], level[:, middle], far).max()), 1e-12)
    return Swelling(_followed(time_s, level, whole_hz), float(swellings.max()) / others)


def swelling_at(time_s: np.ndarray, level: np.ndarray, turn_hz: np.ndarray) -> np.ndarray:
    """Power of the swelling at the first orders of each turn frequency, shape (turn_hz,)."""
    window = np.hanning(len(time_s))
    x = (level - level.mean(axis=1, keepdims=True)) * (window / window.sum())
    out = np.zeros(len(turn_hz))
    for order in _ORDERS:
        wave = np.exp(-2j * np.pi * order * np.outer(time_s - time_s[0], turn_hz))
        out += (np.abs(x @ wave) ** 2).sum(axis=0)
    return out


def _thinned(
    time_s: np.ndarray, power: np.ndarray, stated_hz: float
) -> tuple[np.ndarray, np.ndarray]:
    """Times and levels [dB] at some samples a turn, slow changes taken out."""
    rate = 1.0 / (time_s[1] - time_s[0])
    step = max(1, int(rate / (stated_hz * _PER_TURN)))
    n = len(time_s) // step
    mean = power[:, : n * step].reshape(len(power), n, step).mean(axis=2)
    level = 10.0 * np.log10(np.maximum(mean, 1e-20))
    slow = moving_mean(level, max(3, round(3 * rate / step / stated_hz)))
    return time_s[: n * step].reshape(n, step).mean(axis=1), level - slow


def _followed(
    time_s: np.ndarray, level: np.ndarray, whole_hz: float
) -> tuple[tuple[float, float], ...]:
    """The speed window by window, near that of the whole; one point when there is one window."""
    long = _WINDOW_TURNS / whole_hz
    count = max(1, int((time_s[-1] - time_s[0]) / long))
    if count == 1:
        return ((float(time_s[0]), whole_hz),)
    near = whole_hz * np.linspace(1 - _STRAY, 1 + _STRAY, 41)
    course = []
    for part in np.array_split(np.arange(len(time_s)), count):
        best = near[np.argmax(swelling_at(time_s[part], level[:, part], near))]
        course.append((float(time_s[part].mean()), float(best)))
    return tuple(course)
