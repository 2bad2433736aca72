"""A copy of a recording in which some steady lines are turned down to the noise round them.

Spectra of short frames, overlapping by three quarters: in each, the bins of a line and of its
foot are filled with noise as loud as the bins beside them, so that the line leaves neither a peak
nor a hole.  Everything else is as it was.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np
import scipy.fft

from chatter.sound.spectrum import hann, next_good_size
from chatter.sound.spool import Spool

#: Length of a frame [s]: parts lines some Hz apart, and follows a line that wanders.
_FRAME_S = 0.7
#: A line is looked for within this many bins of its place, or this part of its frequency.
_OFF_BINS, _OFF = 2, 1e-3
#: Its foot reaches no farther than this many bins; the noise is measured beside that.
_FOOT, _BESIDE = 8, 40
#: From this many times the noise on a bin is the line's.
_STANDS_OUT = 4.0
_FRAMES_A_BLOCK = 64


def quieted(spool: Spool, out: Path, lines_hz: Sequence[float]) -> None:
    """Write a recording with some lines turned down, as one channel at the rate of the analysis.

    Parameters
    ----------
    spool : Spool
        Its track; stays open.
    out : Path
        The WAV file to be written.
    lines_hz : sequence of float
        Where the lines lie.
    """
    import soundfile

    with soundfile.SoundFile(out, "w", spool.rate_hz, 1, subtype="FLOAT") as written:
        for block in turned_down(spool, lines_hz):
            written.write(block)


def turned_down(spool: Spool, lines_hz: Sequence[float]) -> Iterator[np.ndarray]:
    """The track of a spool with some lines turned down, block by block, each of shape (n,)."""
    rng = np.random.default_rng(0)
    n = 4 * (next_good_size(int(_FRAME_S * spool.rate_hz)) // 4)
    hop, step = n // 4, spool.rate_hz / n
    window = hann(n).astype(np.float32)
    whole = float(np.sum(window[::hop].astype(float) ** 2))  # of four frames over one another
    window /= np.sqrt(whole)
    size = hop * _FRAMES_A_BLOCK
    carry = np.zeros(n - hop, np.float32)
    # the first frame ends one hop into the track, so that each sample lies in four frames
    for start in range(hop - n, spool.n, size):
        piece = _read(spool, start, start + size + n - hop)
        frames = np.lib.stride_tricks.sliding_window_view(piece, n)[::hop] * window
        spectra = scipy.fft.rfft(frames)
        for hz in lines_hz:
            _turn_down(spectra, hz / step, rng)
        back = scipy.fft.irfft(spectra, n) * window
        track = np.zeros(size + n - hop, np.float32)
        track[: n - hop] = carry
        for i, frame in enumerate(back):
            track[i * hop : i * hop + n] += frame
        carry = track[size:].copy()
        yield track[max(0, -start) : max(0, min(size, spool.n - start))]


def _read(spool: Spool, start: int, stop: int) -> np.ndarray:
    """Samples of the track, silence beyond its ends."""
    inside = spool.read(max(0, start), max(0, stop))
    before = max(0, -start)
    return np.pad(inside, (before, stop - start - before - len(inside)))


def _turn_down(spectra: np.ndarray, place: float, rng: np.random.Generator) -> None:
    """Turn one line down in all frames; ``spectra``, shape (frames, bins), is changed."""
    off = max(_OFF_BINS, round(_OFF * place))
    middle = round(place)
    low = middle - off - _FOOT - _BESIDE
    high = middle + off + _FOOT + _BESIDE + 1
    if low < 1 or high > spectra.shape[1]:
        return
    near = spectra[:, low:high]
    power = near.real**2 + near.imag**2
    beside = np.concatenate([power[:, :_BESIDE], power[:, -_BESIDE:]], axis=1)
    floor = np.median(beside, axis=1) / np.log(2.0)
    search = slice(_BESIDE + _FOOT, _BESIDE + _FOOT + 2 * off + 1)
    top = search.start + np.argmax(power[:, search], axis=1)
    foot = top[:, None] + np.arange(-_FOOT, _FOOT + 1)
    rows = np.arange(len(near))[:, None]
    out = power[rows, foot] > _STANDS_OUT * floor[:, None]
    # only what hangs together with the top
    right = np.logical_and.accumulate(out[:, _FOOT:], axis=1)
    left = np.logical_and.accumulate(out[:, _FOOT::-1], axis=1)[:, :0:-1]
    own = np.concatenate([left, right], axis=1)
    # fills of frames that overlap are not in step: four add to a quarter of the power
    noise = rng.standard_normal((2, *own.shape)).astype(np.float32)
    fill = (noise[0] + 1j * noise[1]) * np.sqrt(2.0 * floor)[:, None]
    near[rows, foot] = np.where(own, fill, near[rows, foot])
