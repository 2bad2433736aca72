"""Averaged spectra, noise floors and the levels that chance alone reaches.

This is the hot path of a listen: float32 throughout, and scipy.fft, which transforms
many short frames at a time four to seven times faster than numpy.fft.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import scipy.fft

#: Reads samples [start, stop) of a recording, shape (stop - start,), float32.
Reader = Callable[[int, int], np.ndarray]

_FRAMES_A_BLOCK = 256
#: Samples that are transformed at a time: a large array for each step between sound and power
#: would be got from the system, and given back, every time.
_SAMPLES_AT_ONCE = 1 << 16
#: Numbers in a row up to which sorting it is the quickest way to its median.
_SHORT_ROW = 400


def middle_of(start: int, stop: int, longest: int) -> tuple[int, int]:
    """The middle ``longest`` samples of [start, stop), or all when there are no more."""
    if stop - start <= longest:
        return start, stop
    middle = (start + stop) // 2
    return middle - longest // 2, middle + longest // 2


@lru_cache(maxsize=32)
def hann(n: int) -> np.ndarray:
    """Periodic Hann window, shape (n,), float32, scaled so that its power sums to one.

    The same few lengths are asked for over and over: the array is kept and read-only.
    """
    w = 0.5 - 0.5 * np.cos(2.0 * np.pi * np.arange(n) / n)
    window = (w / np.sqrt(np.sum(w * w))).astype(np.float32)
    window.setflags(write=False)
    return window


def near_good_size(size: float) -> int:
    """The length nearest to ``size`` that an FFT likes: 2^a times 9, 10, 12 or 16 sixteenths."""
    return min(_liked(size), key=lambda n: abs(math.log(n / size)))


def next_good_size(size: int) -> int:
    """The least length of ``size`` or more that an FFT likes."""
    return next(n for n in _liked(size) if n >= size)


def _liked(size: float) -> list[int]:
    """From half the next power of two up to it."""
    base = 1 << max(4, math.ceil(math.log2(max(size, 16.0))))
    return [base * part // 16 for part in (8, 9, 10, 12, 16)]


def power_frames(
    read: Reader, start: int, stop: int, *, n: int, hop: int
) -> Iterator[tuple[int, np.ndarray]]:
    """Power spectra of successive frames, in blocks.

    Parameters
    ----------
    read : callable
        ``read(a, b)`` yields samples [a, b).
    start, stop : int [samples]
        Range to cover; only whole frames are made.
    n, hop : int [samples]
        Frame length and step.

    Yields
    ------
    first : int
        Number of the block's first frame.
    power : ndarray, shape (frames, n // 2 + 1), float32
        Squared magnitude under a unit-power Hann window: white noise of variance s
        gives s in every bin.
    """
    frames = max(0, (stop - start - n) // hop + 1)
    for first in range(0, frames, _FRAMES_A_BLOCK):
        count = min(_FRAMES_A_BLOCK, frames - first)
        a = start + first * hop
        if hop > n:  # frames far apart: what lies between them is not read
            apart = (read(at, at + n) for at in range(a, a + count * hop, hop))
            yield first, _power(np.stack([x for x in apart if len(x) == n]), n)
        else:
            yield first, frame_power(read(a, a + (count - 1) * hop + n), n=n, hop=hop)


def frame_power(x: np.ndarray, *, n: int, hop: int) -> np.ndarray:
    """Power spectra of all whole frames of some samples; see :func:`power_frames`.

    Parameters
    ----------
    x : ndarray, shape (samples,), float32
        At least ``n``.
    n, hop : int [samples]

    Returns
    -------
    ndarray, shape ((samples - n) // hop + 1, n // 2 + 1), float32
    """
    return _power(np.lib.stride_tricks.sliding_window_view(x, n)[::hop], n)


def _power(frames: np.ndarray, n: int) -> np.ndarray:
    window = hann(n)
    power = np.empty((len(frames), n // 2 + 1), np.float32)
    step = max(1, _SAMPLES_AT_ONCE // n)
    for first in range(0, len(frames), step):
        z = scipy.fft.rfft(frames[first : first + step] * window, axis=-1)
        parts = z.view(np.float32)  # real and imaginary in turns
        parts *= parts
        np.add(parts[:, ::2], parts[:, 1::2], out=power[first : first + step])
    return power


def running_floor(power: np.ndarray, width: int, *, quantile: float = 0.5) -> np.ndarray:
    """Local noise floor along the last axis: block medians, joined by straight lines.

    Parameters
    ----------
    power : ndarray, shape (..., n)
        Power spectrum.
    width : int [bins]
        Block width; structure wider than about two blocks is followed.
    quantile : float
        Which quantile of a block stands for the floor.

    Returns
    -------
    ndarray, shape (..., n)
        The quantile's course; divide by ``median_bias`` to get the mean of noise.
    """
    n = power.shape[-1]
    width = int(min(max(width, 5), n))
    blocks = max(1, n // width)
    cut = power[..., : blocks * width].reshape(*power.shape[:-1], blocks, width)
    level = row_median(cut) if quantile == 0.5 else np.quantile(cut, quantile, axis=-1)
    if blocks == 1:
        return np.repeat(level, n, axis=-1)
    centres = (np.arange(blocks) + 0.5) * width - 0.5
    bins = np.arange(n)
    if power.ndim == 1:
        return np.interp(bins, centres, level)
    flat = level.reshape(-1, blocks)
    out = np.stack([np.interp(bins, centres, row) for row in flat])
    return out.reshape(power.shape)


def row_median(rows: np.ndarray) -> np.ndarray:
    """Median along the last axis, the same to the last bit as numpy's own, which takes several
    times as long over many short rows as sorting them."""
    width = rows.shape[-1]
    if width > _SHORT_ROW:
        return np.median(rows, axis=-1)
    middle = np.sort(rows, axis=-1)[..., (width - 1) // 2 : width // 2 + 1]
    return middle.mean(axis=-1)


def median_bias(averages: float) -> float:
    """Median over mean of a power spectrum averaged over independent segments.

    Wilson-Hilferty approximation of the chi-square median with 2K degrees of freedom
    (exact values .6931, .9180, .9669 for K = 1, 4, 10).
    """
    return float((1.0 - 1.0 / (9.0 * averages)) ** 3) if averages > 1 else float(np.log(2.0))


def chance_level(bins: int, alpha: float, averages: float = 1.0) -> float:
    """Ratio to the mean noise power that the strongest of ``bins`` reaches with
    probability ``alpha`` by chance.

    For one spectrum: -ln(1 - (1 - alpha)^(1/bins)) (exponential distribution).  For an
    average of K segments: the chi-square quantile with 2K degrees of freedom over 2K.
    """
    if bins < 1 or not 0 < alpha < 1 or averages < 1:
        raise ValueError("bins and averages must be at least 1 and alpha between 0 and 1")
    single = -np.expm1(np.log1p(-alpha) / bins)
    if averages == 1:
        return float(-np.log(single))
    from scipy.special import chdtri

    return float(chdtri(2.0 * averages, single) / (2.0 * averages))


@dataclass(frozen=True)
class Peak:
    """A local maximum of a spectrum."""

    bin: float  # interpolated
    power: float
    ratio: float  # power / floor


def peaks_above(power: np.ndarray, floor: np.ndarray, ratio: float) -> tuple[Peak, ...]:
    """Local maxima whose power exceeds ``ratio`` times the floor, strongest first.

    The place is interpolated with a parabola through the logarithms of three bins.
    """
    p, q, r = power[:-2], power[1:-1], power[2:]
    hits = np.flatnonzero((q >= p) & (q > r) & (q > ratio * floor[1:-1])) + 1
    if hits.size == 0:
        return ()
    tiny = np.finfo(np.float32).tiny
    a, b, c = (np.log(np.maximum(power[hits + d], tiny)) for d in (-1, 0, 1))
    bend = a - 2.0 * b + c
    shift = np.where(bend < 0, 0.5 * (a - c) / np.where(bend < 0, bend, -1.0), 0.0)
    peaks = [
        Peak(float(h + s), float(power[h]), float(power[h] / max(floor[h], tiny)))
        for h, s in zip(hits, np.clip(shift, -0.5, 0.5), strict=True)
    ]
    return tuple(sorted(peaks, key=lambda peak: -peak.ratio))


def db(power: np.ndarray | float) -> np.ndarray | float:
    """Power to decibel, with a floor far below any recording."""
    return 10.0 * np.log10(np.maximum(power, 1e-20))
