"""Short frames of the whole recording: band levels over time and the overview picture."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from chatter.sound.spectrum import Reader, db, power_frames

_LOWEST_HZ = 60.0
_BANDS_AN_OCTAVE = 3
_PICTURE_COLUMNS = 1500
_PICTURE_ROWS = 192
_PICTURE_LOWEST_HZ = 40.0


@dataclass(frozen=True)
class Frames:
    """Band levels of short frames.

    Attributes
    ----------
    step_s : float
        Time between frames.
    time_s : ndarray, shape (n,)
        Centre of each frame.
    edges_hz : ndarray, shape (bands + 1,)
    power : ndarray, shape (n, bands), float32
        Mean power in the band.
    picture_db : ndarray, shape (rows, columns), float32
        Maximum level in each cell of the overview.
    picture_time_s, picture_hz : ndarray
        Centres of the overview's columns and rows.
    """

    step_s: float
    time_s: np.ndarray
    edges_hz: np.ndarray
    power: np.ndarray
    picture_db: np.ndarray
    picture_time_s: np.ndarray
    picture_hz: np.ndarray


def _log_edges(low: float, high: float, count: int) -> np.ndarray:
    return np.geomspace(low, high, count + 1)


def make_frames(
    read: Reader, total: int, rate_hz: int, *, progress: Callable[[float], None] | None = None
) -> Frames:
    """Cut the recording into frames of about 43 ms every 21 ms and measure band levels.

    Parameters
    ----------
    read : callable
        ``read(a, b)`` yields mono samples [a, b).
    total : int [samples]
    rate_hz : int
    progress : callable, optional
        Called with the share done.
    """
    n = 1 << round(np.log2(0.043 * rate_hz))
    hop = n // 2
    frames = max(1, (total - n) // hop + 1)
    bin_hz = rate_hz / n
    top = rate_hz / 2.0
    bands = max(4, round(_BANDS_AN_OCTAVE * np.log2(top / _LOWEST_HZ)))
    edges = _log_edges(_LOWEST_HZ, top, bands)
    pick = _band_matrix(edges, n // 2 + 1, bin_hz)
    rows = _log_edges(_PICTURE_LOWEST_HZ, top, _PICTURE_ROWS)
    row_low = np.clip(np.floor(rows[:-1] / bin_hz).astype(int), 0, n // 2)
    columns = min(_PICTURE_COLUMNS, frames)
    picture = np.full((_PICTURE_ROWS, columns), 1e-20, np.float32)
    power = np.empty((frames, bands), np.float32)
    last = 0
    if total < n:
        short, whole = read, total

        def read(a: int, b: int) -> np.ndarray:  # a recording shorter than one frame
            x = np.zeros(b - a, np.float32)
            x[:whole] = short(0, whole)
            return x

    for first, block in power_frames(read, 0, max(total, n), n=n, hop=hop):
        last = first + block.shape[0]
        power[first:last] = block @ pick
        cells = np.maximum.reduceat(block, row_low, axis=1)
        column = np.minimum(np.arange(first, last) * columns // frames, columns - 1)
        starts = np.flatnonzero(np.r_[True, np.diff(column) > 0])
        best = np.maximum.reduceat(cells, starts, axis=0).T
        where = column[starts]
        picture[:, where] = np.maximum(picture[:, where], best)
        if progress is not None:
            progress(last / frames)
    step = hop / rate_hz
    time = (np.arange(frames) * hop + n / 2) / rate_hz
    picture_time = (np.arange(columns) + 0.5) * frames / columns * step + (n - hop) / 2 / rate_hz
    return Frames(
        step_s=step,
        time_s=time,
        edges_hz=edges,
        power=power[:last],
        picture_db=np.asarray(db(picture), np.float32),
        picture_time_s=picture_time,
        picture_hz=np.sqrt(rows[:-1] * rows[1:]),
    )


def _band_matrix(edges: np.ndarray, bins: int, bin_hz: float) -> np.ndarray:
    """Shape (bins, bands): averages the bins of each band; a band narrower than a bin
    takes the nearest one."""
    frequency = np.arange(bins) * bin_hz
    matrix = np.zeros((bins, edges.size - 1), np.float32)
    for j, (low, high) in enumerate(itertools.pairwise(edges)):
        inside = np.flatnonzero((frequency >= low) & (frequency < high))
        if inside.size == 0:
            inside = np.array([min(bins - 1, round(np.sqrt(low * high) / bin_hz))])
        matrix[inside, j] = 1.0 / inside.size
    return matrix
