"""Tones: how far a tone stands out of its own neighbourhood, row by row.

Tone and neighbourhood lie within a sixth of an octave, where neither microphone nor distance
tells them apart; only the room does, a little.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from chatter.sound.spectrum import Reader, power_frames

#: A tone wanders, and its frequency was read from one take only: looked for within this share.
SEARCH = 0.015
#: The neighbourhood reaches this far, and leaves out what lies as near as the tone may wander.
_NEAR, _FAR = 0.025, 0.12
#: Of the neighbourhood only the quieter bins count: there may be other tones in it.
_QUIET = 0.6
_FRAME_S = 0.17


@dataclass(frozen=True)
class Tones:
    """Power at some frequencies and in their neighbourhoods.

    Attributes
    ----------
    frequency_hz : tuple of float
        As heard in this take, near those asked for.
    tone, near : ndarray, shape (rows, tones)
        Mean power per bin on the tone (its bin and two beside) and in the quieter part of
        its neighbourhood.
    """

    frequency_hz: tuple[float, ...]
    tone: np.ndarray
    near: np.ndarray


def tone_rows(
    read: Reader, rate_hz: int, rows_s: np.ndarray, wanted_hz: Sequence[float]
) -> Tones | None:
    """Measure tones over rows.

    Parameters
    ----------
    read : callable
        ``read(a, b)`` yields mono samples.
    rate_hz : int
    rows_s : ndarray, shape (rows, 2)
        Start and end of each row [s], ascending.
    wanted_hz : sequence of float

    Returns
    -------
    Tones or None
        None when nothing is asked for, or the rows are too short for one frame.
    """
    wanted = [f for f in wanted_hz if 60.0 < f < 0.45 * rate_hz]
    n = int(2 ** round(np.log2(_FRAME_S * rate_hz)))
    start, stop = int(rows_s[0, 0] * rate_hz), int(rows_s[-1, 1] * rate_hz)
    if not wanted or stop - start < 2 * n:
        return None
    hop = n // 2
    power = np.concatenate([p for _, p in power_frames(read, start, stop, n=n, hop=hop)])
    at_s = (start + n / 2 + hop * np.arange(len(power))) / rate_hz
    mean = power.mean(axis=0)
    step = rate_hz / n
    found_hz, tone, near = [], [], []
    for frequency in wanted:
        peak = _peak(mean, frequency / step)
        found_hz.append(peak * step)
        tone.append(power[:, peak - 1 : peak + 2].mean(axis=1))
        near.append(power[:, _quiet(mean, peak)].mean(axis=1))
    which = np.clip(np.searchsorted(rows_s[:, 0], at_s, side="right") - 1, 0, len(rows_s) - 1)
    inside = at_s < rows_s[which, 1] + 0.5 * hop / rate_hz
    return Tones(
        tuple(found_hz),
        *(_by_row(np.stack(x, axis=1), which, inside, len(rows_s)) for x in (tone, near)),
    )


def _peak(mean: np.ndarray, place: float) -> int:
    reach = max(2, int(SEARCH * place))
    low = max(2, round(place) - reach)
    high = min(len(mean) - 2, round(place) + reach + 1)
    return low + int(np.argmax(mean[low:high]))


def _quiet(mean: np.ndarray, peak: int) -> np.ndarray:
    """Bins of the neighbourhood that hold no other tone."""
    off = np.abs(np.arange(len(mean)) - peak)
    beside = np.flatnonzero((off > max(3, _NEAR * peak)) & (off <= max(12, _FAR * peak)))
    beside = beside[beside > 1]
    keep = max(4, int(_QUIET * beside.size))
    return beside[np.argsort(mean[beside])[:keep]]


def _by_row(x: np.ndarray, which: np.ndarray, inside: np.ndarray, rows: int) -> np.ndarray:
    """Mean of the frames of each row; a row too short to hold one takes the nearest."""
    out = np.full((rows, x.shape[1]), np.nan)
    for row in range(rows):
        mine = inside & (which == row)
        if mine.any():
            out[row] = x[mine].mean(axis=0)
    for empty in np.flatnonzero(np.isnan(out[:, 0])):
        out[empty] = x[int(np.argmin(np.abs(which - empty)))]
    return out
