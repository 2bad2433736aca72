"""Spectrogram of any stretch and band of a track, computed anew for each view: always sharp."""

from __future__ import annotations

import numpy as np
import scipy.fft

from chatter.sound.spectrum import db, hann

#: Level of the byte 0, and what one step of a byte is worth.
LOWEST_DB, STEP_DB = -140.0, 0.7
MOST_COLUMNS, MOST_ROWS = 1200, 400
#: Transforms that one tile may cost; a longer stretch is sampled, evenly.
_MOST_FRAMES = 12_000
_BLOCK = 256
_SMALLEST, _LARGEST = 256, 8192


def levels_db(
    track: np.ndarray,
    rate_hz: int,
    span_s: tuple[float, float],
    band_hz: tuple[float, float],
    size: tuple[int, int],
) -> np.ndarray:
    """Levels over time and frequency, the loudest within each cell.

    Parameters
    ----------
    track : ndarray, shape (n,)
        Mono, any float; may be a memory map.
    rate_hz : int
    span_s : (float, float) [s]
    band_hz : (float, float) [Hz]
        Rows are spaced evenly in log frequency between these.
    size : (int, int)
        Columns and rows.

    Returns
    -------
    ndarray, shape (rows, columns), float32
        dB re full scale, lowest frequency first.
    """
    columns, rows = size
    start, stop = (s * rate_hz for s in span_s)
    n = frame_length(stop - start, columns, band_hz, rate_hz)
    step = max((stop - start) / max(columns, min(_MOST_FRAMES, 2 * (stop - start) / n)), 1.0)
    centres = np.arange(start + step / 2, stop, step)
    window = hann(n)
    bin_hz = rate_hz / n
    edges = np.geomspace(*band_hz, rows + 1)
    first = np.clip(np.floor(edges[:-1] / bin_hz + 0.5).astype(int), 0, n // 2)
    wide = edges[1:] - edges[:-1] >= bin_hz  # rows that hold a bin or more
    middle = np.sqrt(edges[:-1] * edges[1:]) / bin_hz
    out = np.full((columns, rows), 1e-20, np.float32)
    for at in range(0, centres.size, _BLOCK):
        some = centres[at : at + _BLOCK]
        power = np.abs(scipy.fft.rfft(_frames(track, some, n) * window, axis=-1)) ** 2
        cells = np.maximum.reduceat(power, first, axis=1)
        below = np.clip(middle.astype(int), 0, n // 2 - 1)
        part = np.clip(middle - below, 0.0, 1.0).astype(np.float32)
        smooth = power[:, below] * (1 - part) + power[:, below + 1] * part
        cells = np.where(wide, cells, smooth)
        column = np.minimum(((some - start) / (stop - start) * columns).astype(int), columns - 1)
        np.maximum.at(out, column, cells)
    return np.asarray(db(out.T), np.float32)


def frame_length(samples: float, columns: int, band_hz: tuple[float, float], rate_hz: int) -> int:
    """Length of the transform: as long as a few columns, long enough to part the rows.

    Returns
    -------
    int
        A power of two.
    """
    by_time = 6.0 * samples / columns
    by_band = 100.0 * rate_hz / max(band_hz[1] - band_hz[0], 1.0)
    wanted = float(np.clip(max(by_time, by_band), _SMALLEST, 2048 if by_band < 2048 else _LARGEST))
    return 1 << round(float(np.log2(wanted)))


def tile_bytes(
    track: np.ndarray,
    rate_hz: int,
    span_s: tuple[float, float],
    band_hz: tuple[float, float],
    size: tuple[int, int],
) -> bytes:
    """As ``levels_db``, one byte a cell: ``LOWEST_DB + STEP_DB * byte``, row by row."""
    level = levels_db(track, rate_hz, span_s, band_hz, size)
    return np.clip((level - LOWEST_DB) / STEP_DB, 0, 255).astype(np.uint8).tobytes()


def _frames(track: np.ndarray, centres: np.ndarray, n: int) -> np.ndarray:
    """Frames round each centre, silence beyond the ends; shape (len(centres), n)."""
    starts = np.round(centres - n / 2).astype(int)
    low, high = int(starts[0]), int(starts[-1]) + n
    piece = np.zeros(high - low, np.float32)
    a, b = max(low, 0), min(high, len(track))
    if b > a:
        piece[a - low : b - low] = track[a:b]
    return piece[(starts - low)[:, None] + np.arange(n)]
