"""Facts gathered while the recording streams by, at its native rate and on all channels.

Clipping must be seen before channels are mixed and before resampling, for both hide it;
band limits must be seen at the native rate.  What is kept is a few numbers per 20 ms.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from chatter.sound.growing import Growing

FRAME_S = 0.02
#: A short spectrum is taken at every third frame.
HOP_FRAMES = 3
#: Band edges of the short spectra [Hz]; an automatic gain moves all bands alike.
BAND_EDGES_HZ = (250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0)

#: Two samples this near are on the same level of a 16-bit converter.
_STEP = 1.5 / 32768.0
#: Full scale with room for what a coder adds to a tone that just reaches it.
BEYOND = 1.01
#: Histogram of absolute amplitude: bins of 0.01 up to 2.0, the last one open.
AMPLITUDE_BIN = 0.01
_AMPLITUDE_BINS = 201
_HISTOGRAM_STRIDE = 3
#: Flat tops are only looked for in frames that come near the highest top so far.
_NEAR_TOP = 0.97
_LONG_FFT = 8192
_LONG_EVERY_FRAMES = 33


@dataclass(frozen=True)
class SoundStats:
    """Native-rate facts of a whole recording.

    Attributes
    ----------
    rate_hz : int
    n : int
        Samples per channel.
    lossy : bool
    frame_s : float
        Length of a frame, 0.02 up to rounding to whole samples.
    power : ndarray, shape (frames,), float32
        Mean square of each frame, mean over channels, steady offset included.
    high, low : ndarray, shape (frames,), float32
        Highest and lowest sample of each frame over all channels.
    flat_high, flat_low : ndarray, shape (frames,), bool
        The frame's top (bottom) is flat: several samples on one converter level.
    beyond : ndarray, shape (frames,), uint16
        Samples beyond full scale in each frame (only a decoder makes them).
    amplitude : ndarray, shape (201,), int64
        Histogram of absolute amplitude in bins of 0.01, the last one open; of every third
        sample, and of frames that reach 0.8 only.
    offset : float
        Mean of all samples.
    band_s : float
        Time between short spectra.
    band_db : ndarray, shape (m, bands), float32
        Level in octave bands, dB re full scale.
    spectrum_hz, spectrum_db : ndarray, shape (k,)
        Power averaged over the recording, dB re full scale per bin.
    replaced : int
        Samples the decoder returned as no sound.
    lost_packets : int
        Damaged packets.
    """

    rate_hz: int
    n: int
    channels: int
    lossy: bool
    frame_s: float
    power: np.ndarray
    high: np.ndarray
    low: np.ndarray
    flat_high: np.ndarray
    flat_low: np.ndarray
    beyond: np.ndarray
    amplitude: np.ndarray
    offset: float
    band_s: float
    band_db: np.ndarray
    spectrum_hz: np.ndarray
    spectrum_db: np.ndarray
    replaced: int = 0
    lost_packets: int = 0

    @property
    def duration_s(self) -> float:
        """Length of the recording [s]."""
        return self.n / self.rate_hz


class StatsGatherer:
    """Takes blocks, gives :class:`SoundStats`."""

    def __init__(self, rate_hz: int, channels: int, *, lossy: bool) -> None:
        """Start gathering.

        Parameters
        ----------
        rate_hz : int [Hz]
        channels : int
        lossy : bool
        """
        self._rate_hz = rate_hz
        self._channels = channels
        self._lossy = lossy
        self._frame = max(1, round(FRAME_S * rate_hz))
        #: Blocks of this length (or multiples of it) suit all accumulators.
        self.block = self._frame * _LONG_EVERY_FRAMES * 2
        self._n = 0
        self._sum = 0.0
        self._top = np.zeros((2, channels), np.float32)
        kinds = (np.float32, np.float32, np.float32, bool, bool, np.uint16)
        self._columns = tuple(Growing(kind) for kind in kinds)
        self._amplitude = np.zeros(_AMPLITUDE_BINS, np.int64)
        self._short = _ShortSpectra(rate_hz, self._frame)
        self._long = _LongSpectrum(rate_hz, self._frame * _LONG_EVERY_FRAMES)

    def feed(self, block: np.ndarray) -> None:
        """Take a block.

        Parameters
        ----------
        block : ndarray, shape (n, channels), float32
            All but the last must be ``self.block`` long.
        """
        self._n += len(block)
        frames = -(-len(block) // self._frame)
        missing = frames * self._frame - len(block)
        if missing:
            # The last frame is filled up by repeating the sound, so that it is no quieter.
            block = np.concatenate([block, np.resize(block, (missing, block.shape[1]))])
        rows = [
            self._channel(np.ascontiguousarray(block[:, c]).reshape(frames, self._frame), c)
            for c in range(self._channels)
        ]
        power, high, low, flat_high, flat_low, beyond = zip(*rows, strict=True)
        seen = (
            np.mean(power, axis=0, dtype=np.float32),
            np.max(high, axis=0),
            np.min(low, axis=0),
            np.any(flat_high, axis=0),
            np.any(flat_low, axis=0),
            np.max(beyond, axis=0),
        )
        for column, values in zip(self._columns, seen, strict=True):
            column.add(values)
        # One channel is enough for the spectra: gain and codec treat all alike.
        first = np.ascontiguousarray(block[:, 0])
        self._short.feed(first)
        self._long.feed(first)

    def _channel(self, x: np.ndarray, channel: int) -> tuple[np.ndarray, ...]:
        power = np.einsum("ij,ij->i", x, x) / x.shape[1]
        self._sum += float(x.sum(dtype=np.float64)) / self._channels
        high, low = x.max(axis=1), x.min(axis=1)
        flat_high = self._flat(x, high, 0, channel)
        flat_low = np.zeros(len(x), bool)
        if low.min() < 0.0:
            flat_low = self._flat(x, -low, 1, channel, sign=-1.0)
        beyond = np.zeros(len(x), np.uint16)
        reach = np.maximum(high, -low)
        loud = np.flatnonzero(reach >= 0.8)
        if len(loud):
            picked = np.abs(x[loud])
            beyond[loud] = np.count_nonzero(picked > BEYOND, axis=1)
            bins = (picked[:, ::_HISTOGRAM_STRIDE] * (1.0 / AMPLITUDE_BIN)).astype(np.int32)
            np.minimum(bins, _AMPLITUDE_BINS - 1, out=bins)
            self._amplitude += np.bincount(bins.ravel(), minlength=_AMPLITUDE_BINS)
        return power, high, low, flat_high, flat_low, beyond

    def _flat(
        self, x: np.ndarray, top: np.ndarray, side: int, channel: int, *, sign: float = 1.0
    ) -> np.ndarray:
        """Frames whose top is a plateau, not a crest.

        Near a smooth crest the count of samples within a distance grows as the root of the
        distance: ten times the distance, three times the samples.  On a plateau it stays.
        A tone whose period is a whole number of samples repeats its crest exactly; there
        the samples before the tops are all alike, and three tops never follow in a row.
        """
        flat = np.zeros(len(x), bool)
        highest = max(float(self._top[side, channel]), float(top.max()))
        self._top[side, channel] = highest
        near = np.flatnonzero(top >= max(_NEAR_TOP * highest, 0.02))
        if not len(near):
            return flat
        x, top = np.float32(sign) * x[near], top[near, None]
        tops = x >= top - _STEP
        at_top = np.count_nonzero(tops, axis=1)
        about = np.count_nonzero(x >= top - 10.0 * _STEP, axis=1)
        in_a_row = np.any(tops[:, 2:] & tops[:, 1:-1] & tops[:, :-2], axis=1)
        first = tops[:, 1:] & ~tops[:, :-1]
        before = x[:, :-1]
        spread = np.max(before, axis=1, where=first, initial=-2.0) - np.min(
            before, axis=1, where=first, initial=2.0
        )
        flat[near] = (at_top >= 3) & (about <= 1.5 * at_top) & (in_a_row | (spread > 10.0 * _STEP))
        return flat

    def finish(self, *, replaced: int = 0, lost_packets: int = 0) -> SoundStats:
        """Close the account.

        Parameters
        ----------
        replaced, lost_packets : int
            As counted by the decoder.

        Returns
        -------
        SoundStats
        """
        power, high, low, flat_high, flat_low, beyond = (each.all() for each in self._columns)
        spectrum_hz, spectrum_db = self._long.finish()
        return SoundStats(
            rate_hz=self._rate_hz,
            n=self._n,
            channels=self._channels,
            lossy=self._lossy,
            frame_s=self._frame / self._rate_hz,
            power=power,
            high=high,
            low=low,
            flat_high=flat_high,
            flat_low=flat_low,
            beyond=beyond,
            amplitude=self._amplitude,
            offset=self._sum / max(1, self._n),
            band_s=HOP_FRAMES * self._frame / self._rate_hz,
            band_db=self._short.finish(),
            spectrum_hz=spectrum_hz,
            spectrum_db=spectrum_db,
            replaced=replaced,
            lost_packets=lost_packets,
        )


class _ShortSpectra:
    """Octave-band levels every 60 ms from windows of about 40 ms."""

    def __init__(self, rate_hz: int, frame: int) -> None:
        self._hop = HOP_FRAMES * frame
        self._n = min(self._hop, 1 << int(np.log2(2 * frame)))
        self._window = np.hanning(self._n).astype(np.float32)
        hz = np.fft.rfftfreq(self._n, 1.0 / rate_hz)
        edges = [e for e in BAND_EDGES_HZ if e < 0.45 * rate_hz]
        self._bands = np.stack(
            [((hz >= a) & (hz < b)).astype(np.float32) for a, b in pairwise(edges)],
            axis=1,
        )
        self._scale = 2.0 / (self._n * float(np.sum(self._window**2)))
        self._levels = Growing(np.float32, len(edges) - 1)

    def feed(self, x: np.ndarray) -> None:
        count = len(x) // self._hop
        if count:
            cut = x[: count * self._hop].reshape(count, self._hop)[:, : self._n]
            spectrum = np.fft.rfft(cut * self._window)
            power = spectrum.real**2 + spectrum.imag**2
            level = 10.0 * np.log10(power @ self._bands * self._scale + 1e-15)
            self._levels.add(level)

    def finish(self) -> np.ndarray:
        return self._levels.all()


class _LongSpectrum:
    """Mean power spectrum from one window of 8,192 samples in each 0.66 s."""

    def __init__(self, rate_hz: int, every: int) -> None:
        self._rate_hz = rate_hz
        self._every = every
        self._n = _LONG_FFT
        while self._n > every:
            self._n //= 2
        self._window = np.hanning(self._n).astype(np.float32)
        self._sum = np.zeros(self._n // 2 + 1)
        self._count = 0

    def feed(self, x: np.ndarray) -> None:
        if len(x) < self._n:
            if self._count:
                return
            x = np.resize(x, self._n)  # a recording shorter than one window
        starts = range(0, len(x) - self._n + 1, self._every)
        cut = np.stack([x[s : s + self._n] for s in starts])
        spectrum = np.fft.rfft(cut * self._window)
        self._sum += np.sum(spectrum.real**2 + spectrum.imag**2, axis=0, dtype=np.float64)
        self._count += len(cut)

    def finish(self) -> tuple[np.ndarray, np.ndarray]:
        hz = np.fft.rfftfreq(self._n, 1.0 / self._rate_hz)
        scale = 2.0 / (self._n * float(np.sum(self._window**2)) * max(1, self._count))
        return hz, 10.0 * np.log10(self._sum * scale + 1e-15)
