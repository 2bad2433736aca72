"""One holder at a time of a folder: a file that is locked, by whatever locks the system has."""

from __future__ import annotations

import warnings
from pathlib import Path


class Held(Exception):
    """Another program holds the lock."""


class Lock:
    """A lock that is held until it is let go, or the program ends in whatever way.

    Parameters
    ----------
    path : Path
        The file that is locked; it is made, and stays.

    Raises
    ------
    Held
        Another program has it.
    OSError
        The file cannot be written, or lies where nothing can be locked (some network drives).
    """

    def __init__(self, path: Path) -> None:
        from filelock import Timeout

        with warnings.catch_warnings():
            # It says that this system only knows locks by the presence of a file: that will do.
            warnings.simplefilter("ignore")
            from filelock import FileLock
        self._lock = FileLock(str(path), timeout=0, thread_local=False)
        try:
            self._lock.acquire()
        except Timeout:
            raise Held from None
        except NotImplementedError as wrong:
            raise OSError(str(wrong)) from wrong

    def release(self) -> None:
        """Let another have it."""
        self._lock.release()
