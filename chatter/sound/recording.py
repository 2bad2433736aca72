"""Any phone recording, as float32 blocks at its own rate.

soundfile is asked first, by content; PyAV opens what it refuses.  Files whose first bytes
already say that only PyAV can read them skip the question, which saves loading soundfile.
mp3 goes to PyAV too: the decoder inside libsndfile writes its warnings to the terminal, and so
does whatever is not known by its first bytes, where it would look for mp3.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

import numpy as np

from chatter.errors import RecordingError
from chatter.sound.sniff import look
from chatter.sound.wholeness import breaks_off

if TYPE_CHECKING:
    from chatter.sound.sniff import Look

BLOCK = 65536

#: Largest sample that is still taken for sound, re full scale (24 dB above it).  Clipped
#: AAC decodes to 2.1; a decoder that runs away passes 16 within a few samples on its way
#: to 1e14 and to "not a number".
BOUND = 16.0
#: Recorders of an orchestra write 32; a file that states a thousand is damaged, or made to fill
#: the memory.
MOST_CHANNELS = 32
#: With a larger share of samples beyond the bound the file is not sound at this scale.
_MOST_REPLACED = 0.5
_PYAV_ONLY = frozenset({"mp4", "matroska", "amr", "adts", "mp3", "other"})


class Reader(Protocol):
    """What a decoder offers."""

    container: str
    codec: str
    rate_hz: int
    channels: int
    lossy: bool
    broke_off: bool
    lost_packets: int

    def blocks(self, size: int) -> Iterator[np.ndarray]:
        """Yield blocks, shape (n, channels), float32."""

    def fraction(self) -> float:
        """Share of the file read so far."""

    def close(self) -> None:
        """Close the file."""


class Recording:
    """An opened recording; a context manager, decoded once from start to end.

    Attributes
    ----------
    path : Path
    size_bytes : int
    container, codec : str
        ``"mp4"``, ``"aac"`` ...
    rate_hz : int [Hz]
        Native rate, of the decoded sound.
    channels : int
    lossy : bool
        Coded with loss, so that clipped tops are not flat any more.
    n : int
        Samples per channel so far; the true length once :meth:`blocks` is used up.
    replaced : int
        Samples (of all channels) that the decoder returned as no number or as absurdly
        large, set to zero.
    truncated : bool
        The file broke off (known for sure only once :meth:`blocks` is used up).
    """

    def __init__(self, path: str | Path) -> None:
        """Open a recording.

        Parameters
        ----------
        path : str or Path
            Any sound file or film.

        Raises
        ------
        RecordingError
            The file cannot be heard; the sentence says why.
        """
        seen = look(path)
        self.path = seen.path
        self.size_bytes = seen.size_bytes
        self._reader = _open(seen)
        self.container = self._reader.container
        self.codec = self._reader.codec
        self.rate_hz = self._reader.rate_hz
        self.channels = self._reader.channels
        self.lossy = self._reader.lossy
        self.n = 0
        self.replaced = 0
        self._cut_short = breaks_off(seen.path, seen.kind)
        self._done = False
        if not 4000 <= self.rate_hz <= 400_000:
            self.close()
            raise RecordingError(
                f"{self.path.name} states a sampling rate of {self.rate_hz} Hz: a recording "
                "needs 4,000 to 400,000 Hz, usual are 44,100 or 48,000."
            )
        if not 1 <= self.channels <= MOST_CHANNELS:
            self.close()
            raise RecordingError(
                f"{self.path.name} states {self.channels} channels: a phone writes 1 or 2, and at "
                f"most {MOST_CHANNELS} are taken; save it again as mono or stereo."
            )

    @property
    def truncated(self) -> bool:
        """Whether the file broke off."""
        return self._cut_short or self._reader.broke_off

    @property
    def lost_packets(self) -> int:
        """Damaged packets that decoded to nothing."""
        return self._reader.lost_packets

    @property
    def duration_s(self) -> float:
        """Seconds heard so far, from counted samples."""
        return self.n / self.rate_hz

    @property
    def fraction(self) -> float:
        """Share of the file read so far, 0..1; 1 only at the end."""
        return 1.0 if self._done else min(0.99, self._reader.fraction())

    def blocks(self, size: int = BLOCK) -> Iterator[np.ndarray]:
        """Decode, once, from start to end.

        Parameters
        ----------
        size : int
            Samples per channel in each block but the last.

        Yields
        ------
        ndarray, shape (n, channels), float32
            Finite and bounded by ``BOUND``, re full scale.

        Raises
        ------
        RecordingError
            Nothing was decoded, or most of what was decoded is no sound.
        """
        for block in self._reader.blocks(size):
            self.n += len(block)
            yield self._bounded(block)
        self._done = True
        if self.n == 0:
            raise RecordingError(
                f"{self.path.name} holds no sound (0 samples): record again, and copy it only "
                "after the recorder was stopped."
            )
        if self.replaced > _MOST_REPLACED * self.n * self.channels:
            share = 100.0 * self.replaced / (self.n * self.channels)
            raise RecordingError(
                f"{share:.0f} % of the samples in {self.path.name} are no sound (not a number, "
                "or far beyond full scale): save the recording again in another format."
            )

    def _bounded(self, block: np.ndarray) -> np.ndarray:
        # "Not a number" is passed on by max and min, and makes the comparisons false.
        if block.max() <= BOUND and block.min() >= -BOUND:
            return block
        bad = ~(np.abs(block) <= BOUND)
        self.replaced += int(np.count_nonzero(bad))
        return np.where(bad, np.float32(0.0), block)

    def close(self) -> None:
        """Close the file."""
        self._reader.close()

    def __enter__(self) -> Recording:
        """Return itself."""
        return self

    def __exit__(self, *_: object) -> None:
        """Close the file."""
        self.close()


def _open(seen: Look) -> Reader:
    if seen.kind not in _PYAV_ONLY:
        from chatter.sound.soundfile_reader import SoundfileReader

        reader = SoundfileReader.try_open(seen)
        if reader is not None:
            return reader
    from chatter.sound.pyav_reader import PyavReader

    return PyavReader(seen)
