"""Short frames of the whole recording: band levels over time and the overview picture.

They are gathered while the sound streams by, and their number is bounded: of a very long
recording two neighbours become one, and again two of these, so that memory does not grow.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from chatter.sound.spectrum import Reader, db, frame_power

_LOWEST_HZ = 60.0
_BANDS_AN_OCTAVE = 3
_PICTURE_COLUMNS = 1500
#: Columns are gathered finer than they are shown, so that those shown are alike in width.
_FINE_COLUMNS = 6000
#: Moments that are kept: 46 minutes at 21 ms each.
MOST_MOMENTS = 1 << 17
_FRAMES_A_BLOCK = 256
_PICTURE_ROWS = 192
_PICTURE_LOWEST_HZ = 40.0


@dataclass(frozen=True)
class Frames:
    """Band levels of short frames.

    Attributes
    ----------
    step_s : float
        Time between moments: 21 ms, or that doubled until at most ``MOST_MOMENTS`` suffice.
    time_s : ndarray, shape (n,)
        Centre of each moment.
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


class FramesGatherer:
    """Takes a mono track in blocks of any length, gives :class:`Frames`."""

    def __init__(self, rate_hz: int) -> None:
        """Start gathering.

        Parameters
        ----------
        rate_hz : int [Hz]
            Of the track.
        """
        self._rate_hz = rate_hz
        self._n = 1 << round(np.log2(0.043 * rate_hz))
        self._hop = self._n // 2
        bin_hz, bins, top = rate_hz / self._n, self._n // 2 + 1, rate_hz / 2.0
        bands = max(4, round(_BANDS_AN_OCTAVE * np.log2(top / _LOWEST_HZ)))
        self._edges = _log_edges(_LOWEST_HZ, top, bands)
        self._pick = _band_matrix(self._edges, bins, bin_hz)
        self._rows = _log_edges(_PICTURE_LOWEST_HZ, top, _PICTURE_ROWS)
        self._row_low = np.clip(np.floor(self._rows[:-1] / bin_hz).astype(int), 0, bins - 1)
        self._power = _Course(bands, MOST_MOMENTS, np.mean)
        self._picture = _Course(bins, _FINE_COLUMNS, np.max)
        self._waiting: list[np.ndarray] = []
        self._held = 0
        self._frames = 0

    def feed(self, block: np.ndarray) -> None:
        """Take the next samples.

        Parameters
        ----------
        block : ndarray, shape (n,), float32
        """
        if len(block):
            self._waiting.append(block)
            self._held += len(block)
        need = (_FRAMES_A_BLOCK - 1) * self._hop + self._n
        if self._held < need:
            return
        x = np.concatenate(self._waiting)
        start = 0
        while len(x) - start >= need:
            self._take(x[start : start + need])
            start += _FRAMES_A_BLOCK * self._hop
        self._waiting, self._held = [x[start:].copy()], len(x) - start

    def _take(self, x: np.ndarray) -> None:
        block = frame_power(x, n=self._n, hop=self._hop)
        self._frames += len(block)
        self._power.feed(block @ self._pick)
        self._picture.feed(block)

    def finish(self) -> Frames:
        """Close the account.

        Returns
        -------
        Frames
            At least one frame; a recording shorter than that is filled up with silence.
        """
        x = np.concatenate([*self._waiting, np.empty(0, np.float32)])
        if not self._frames and len(x) < self._n:
            x = np.concatenate([x, np.zeros(self._n - len(x), np.float32)])
        if len(x) >= self._n:
            self._take(x)
        self._waiting, self._held = [], 0
        power, per = self._power.rows(), self._power.per
        fine = np.maximum.reduceat(self._picture.rows(), self._row_low, axis=1)
        frames = self._frames
        columns = min(_PICTURE_COLUMNS, len(fine))
        starts = -(-np.arange(columns) * len(fine) // columns)
        picture = np.maximum.reduceat(fine, starts, axis=0).T
        step = self._hop / self._rate_hz
        middle = (self._n / 2 + (per - 1) / 2 * self._hop) / self._rate_hz
        return Frames(
            step_s=step * per,
            time_s=np.arange(len(power)) * step * per + middle,
            edges_hz=self._edges,
            power=power,
            picture_db=np.asarray(db(np.maximum(picture, 1e-20)), np.float32),
            picture_time_s=(np.arange(columns) + 0.5) * frames / columns * step
            + (self._n - self._hop) / 2 / self._rate_hz,
            picture_hz=np.sqrt(self._rows[:-1] * self._rows[1:]),
        )


class _Course:
    """Rows over time, fewer than ``most``: when there are as many, two become one."""

    def __init__(self, width: int, most: int, join: Callable[..., np.ndarray]) -> None:
        self.per = 1  # frames that one row stands for
        self._width, self._most, self._join = width, most, join
        self._chunks: list[np.ndarray] = []
        self._count = 0
        self._rest = np.empty((0, width), np.float32)  # frames that do not fill a row yet

    def feed(self, frames: np.ndarray) -> None:
        """Take rows of one frame each, shape (n, width)."""
        if self.per > 1:
            frames = np.concatenate([self._rest, frames])
            whole = len(frames) // self.per * self.per
            self._rest = frames[whole:].copy()
            frames = self._join(frames[:whole].reshape(-1, self.per, self._width), axis=1)
        self._add(frames)

    def _add(self, rows: np.ndarray) -> None:
        if len(rows):
            self._chunks.append(rows)
            self._count += len(rows)
        while self._count >= self._most:
            self._fold()

    def _fold(self) -> None:
        rows = np.concatenate(self._chunks)
        even = len(rows) // 2 * 2
        left = np.repeat(rows[even:], self.per, axis=0)
        self._rest = np.concatenate([left, self._rest])
        folded = self._join(rows[:even].reshape(-1, 2, self._width), axis=1)
        self._chunks, self._count, self.per = [folded], len(folded), 2 * self.per

    def rows(self) -> np.ndarray:
        """All rows, shape (m, width); frames that fill half a row make one."""
        chunks = self._chunks
        if len(self._rest) and (2 * len(self._rest) >= self.per or not chunks):
            chunks = [*chunks, self._join(self._rest, axis=0, keepdims=True)]
        return np.concatenate(chunks)


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
    gatherer = FramesGatherer(rate_hz)
    size = 1 << 18
    for start in range(0, total, size):
        stop = min(start + size, total)
        gatherer.feed(np.asarray(read(start, stop), np.float32))
        if progress is not None:
            progress(stop / total)
    return gatherer.finish()


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
