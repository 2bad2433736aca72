"""The recording as one mono track on disk, at the rate of the analysis.

An hour does not fit the memory budget, and several steps read the sound more than once:
it is decoded once and laid on an unlinked temporary file, which vanishes with the process.
"""

from __future__ import annotations

import tempfile
import threading
from collections.abc import Iterator

import numpy as np

from chatter.errors import RecordingError

#: Rate of the analysis: keeps sound to 11 kHz, above the 1-8 kHz where plates rub.
ANALYSIS_RATE_HZ = 24000
_ITEM = np.dtype(np.float32).itemsize


def analysis_rate_hz(native_hz: int) -> int:
    """Rate at which a recording is analysed.

    Parameters
    ----------
    native_hz : int [Hz]

    Returns
    -------
    int [Hz]
        24,000, or the native rate when that is lower.
    """
    return min(int(native_hz), ANALYSIS_RATE_HZ)


class Spool:
    """A mono float32 track; written once from start to end, then read anywhere.

    Reading is safe from several threads.  A context manager.

    Attributes
    ----------
    rate_hz : int [Hz]
    n : int
        Samples in the track.
    """

    def __init__(self, native_hz: int) -> None:
        """Open an empty track.

        Parameters
        ----------
        native_hz : int [Hz]
            Rate of the blocks that will be given to :meth:`write`.
        """
        self.rate_hz = analysis_rate_hz(native_hz)
        self.n = 0
        self._lock = threading.Lock()
        self._file = tempfile.TemporaryFile(prefix="chatter-", buffering=0)  # noqa: SIM115
        self._resampler = None
        if self.rate_hz != native_hz:
            import soxr

            self._resampler = soxr.ResampleStream(
                native_hz, self.rate_hz, 1, dtype="float32", quality="HQ"
            )

    @property
    def duration_s(self) -> float:
        """Length of the track [s]."""
        return self.n / self.rate_hz

    def write(self, block: np.ndarray, *, last: bool = False) -> np.ndarray:
        """Append a block at the native rate.

        Parameters
        ----------
        block : ndarray, shape (n,), float32
        last : bool
            No more will come: also write what the resampler still holds.

        Returns
        -------
        ndarray, shape (m,), float32
            What was written, at the rate of the track.

        Raises
        ------
        RecordingError
            The disk for temporary files is full.
        """
        block = np.ascontiguousarray(block, dtype=np.float32)
        if self._resampler is not None:
            block = self._resampler.resample_chunk(block, last=last)
        data = block.data.cast("B") if len(block) else memoryview(b"")
        try:
            while len(data):
                data = data[self._file.write(data) :]
        except OSError as error:
            raise RecordingError(
                f"There is no room left for temporary files in {tempfile.gettempdir()} "
                f"({error.strerror}): free about {4 * self.rate_hz * 3600 // 10**6} MB for each "
                "hour of sound, or set TMPDIR to a larger disk."
            ) from None
        self.n += len(block)
        return block

    def read(self, start: int, stop: int) -> np.ndarray:
        """Samples ``start`` to ``stop`` (exclusive), clipped to the track.

        Parameters
        ----------
        start, stop : int
            Sample numbers; what lies outside the track is left out.

        Returns
        -------
        ndarray, shape (n,), float32
        """
        start = min(max(0, int(start)), self.n)
        stop = min(max(start, int(stop)), self.n)
        out = np.empty(stop - start, dtype=np.float32)
        view = out.data.cast("B") if len(out) else memoryview(b"")
        with self._lock:
            self._file.seek(start * _ITEM)
            while len(view):
                got = self._file.readinto(view)
                if not got:
                    raise OSError("the temporary track is shorter than what was written to it")
                view = view[got:]
        return out

    def blocks(self, size: int) -> Iterator[tuple[int, np.ndarray]]:
        """The whole track in order.

        Parameters
        ----------
        size : int
            Samples in each block but the last.

        Yields
        ------
        start : int
            Sample number of the block's first sample.
        block : ndarray, shape (n,), float32
        """
        for start in range(0, self.n, size):
            yield start, self.read(start, start + size)

    def close(self) -> None:
        """Drop the track."""
        self._file.close()

    def __enter__(self) -> Spool:
        """Return itself."""
        return self

    def __exit__(self, *_: object) -> None:
        """Drop the track."""
        self.close()
