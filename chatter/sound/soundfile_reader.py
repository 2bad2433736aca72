"""Blocks out of everything libsndfile reads: wav, aiff, caf, flac, Ogg ..."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    import soundfile

    from chatter.sound.sniff import Look

_CODECS = {"VORBIS": "vorbis", "OPUS": "opus", "ALAC_16": "alac", "ALAC_24": "alac"}
_SMALL_BLOCK = 1024
_UNFINISHED_BYTES = 1000


class SoundfileReader:
    """A file opened by soundfile; ``None`` from :meth:`try_open` when it refuses."""

    lost_packets = 0

    def __init__(self, file: soundfile.SoundFile) -> None:
        self._file = file
        self.container = file.format.lower()
        if self.container == "flac":
            self.codec = "flac"
        else:
            self.codec = _CODECS.get(file.subtype, file.subtype.lower())
        self.rate_hz = int(file.samplerate)
        self.channels = int(file.channels)
        self.lossy = file.subtype in ("VORBIS", "OPUS") or "MPEG" in file.subtype
        self.broke_off = False
        self._read = 0
        self._stated = max(0, file.frames)  # may lie: used for progress and FLAC only

    @classmethod
    def try_open(cls, look: Look) -> SoundfileReader | None:
        """Open by content.

        Parameters
        ----------
        look : Look
            The file.

        Returns
        -------
        SoundfileReader or None
            None when libsndfile does not know the format.
        """
        import soundfile

        try:
            file = soundfile.SoundFile(look.path)
        except (soundfile.SoundFileError, OSError, ValueError, TypeError):
            # TypeError: soundfile asks for rate and width when the suffix says bare samples.
            return None
        if file.frames == 0 and look.size_bytes > _UNFINISHED_BYTES:
            # A recorder stopped by force leaves a length of 0: PyAV reads on to the end.
            file.close()
            return None
        return cls(file)

    def blocks(self, size: int) -> Iterator[np.ndarray]:
        """Yield float32 blocks of ``size`` frames, the last one shorter.

        Parameters
        ----------
        size : int
            Frames in a block.

        Yields
        ------
        ndarray, shape (n, channels), float32
        """
        import soundfile

        while True:
            try:
                block = self._file.read(size, dtype="float32", always_2d=True)
            except (soundfile.SoundFileError, RuntimeError):
                yield from self._rest()
                self.broke_off = True
                return
            if len(block) == 0:
                break
            self._read += len(block)
            yield block
            if len(block) < size:
                break
        if self._stated and self.container == "flac" and self._read < self._stated:
            self.broke_off = True

    def _rest(self) -> Iterator[np.ndarray]:
        """Keep what can still be read before the place where a whole block failed."""
        import numpy as np
        import soundfile

        kept = []
        try:
            self._file.seek(self._read)
            while len(block := self._file.read(_SMALL_BLOCK, dtype="float32", always_2d=True)):
                kept.append(block)
        except (soundfile.SoundFileError, RuntimeError):
            pass
        if kept:
            self._read += sum(map(len, kept))
            yield np.concatenate(kept)

    def fraction(self) -> float:
        """Share of the file that has been read, 0..1."""
        return min(1.0, self._read / self._stated) if self._stated else 0.0

    def close(self) -> None:
        """Close the file."""
        self._file.close()
