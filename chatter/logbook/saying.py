"""What the disk or SQLite refuses, as one sentence with what to do."""

from __future__ import annotations

import errno
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from chatter.errors import BookError

_LEAST_FREE = 1 << 16  # the files that SQLite keeps beside a book take 32 kB at least
_FULL = "the disk is full: free some space and do it again"
_READ_ONLY = "the book or its folder cannot be written to: name another place with --book"

#: SQLite's own names of results -> what to say.
_SAID = {
    "SQLITE_FULL": _FULL,
    "SQLITE_IOERR": "the disk reports an error: check the disk and its free space, and do it again",
    "SQLITE_READONLY": _READ_ONLY,
    "SQLITE_CANTOPEN": "its folder does not let it: check that you may write there, or use --book",
    "SQLITE_PERM": _READ_ONLY,
    "SQLITE_BUSY": "another program is writing in it: wait for that to end and do it again",
    "SQLITE_LOCKED": "another program is writing in it: wait for that to end and do it again",
    "SQLITE_TOOBIG": "what was to be stored is too large: store less at once",
    "SQLITE_INTERRUPT": "the work was stopped: do it again",
}
DAMAGED = (
    "The logbook '{path}' is damaged ({what}). It was left as it is: 'chatter log restore --book "
    "{path}' puts it aside and brings the newest copy in '{backups}' back, with what can still be "
    "read."
)
NO_COPY = (
    "The logbook '{path}' is damaged ({what}). It was left as it is, and there is no copy in "
    "'{backups}': import an export ('chatter log import --book' with a new name), or start a new "
    "one with --book."
)


@contextmanager
def spoken(path: Path, doing: str = "written") -> Iterator[None]:
    """Turn the errors of SQLite and of the file system into a BookError.

    Parameters
    ----------
    path : Path
        The book.
    doing : str
        What failed, as "written", "read", "opened".
    """
    import sqlite3

    try:
        yield
    except sqlite3.DatabaseError as wrong:
        raise BookError(_sentence(wrong, path, doing)) from wrong
    except UnicodeDecodeError as wrong:  # names of tables and columns that are no text any more
        raise BookError(damaged(path, "its description of itself is no text")) from wrong
    except OSError as wrong:
        full = wrong.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)
        denied = wrong.errno in (errno.EACCES, errno.EPERM, errno.EROFS)
        reason = _FULL if full else _READ_ONLY if denied else f"{wrong.strerror}: check the place"
        raise BookError(_cannot(path, doing, reason)) from wrong


def _cannot(path: Path, doing: str, reason: str) -> str:
    return f"The logbook '{path}' cannot be {doing}: {reason}. What it held before is still there."


def _sentence(wrong: Exception, path: Path, doing: str) -> str:
    name = getattr(wrong, "sqlite_errorname", None) or ""
    if name.startswith(("SQLITE_IOERR", "SQLITE_CANTOPEN")) and _is_full(path):
        return _cannot(path, doing, _FULL)
    if name.startswith(("SQLITE_CORRUPT", "SQLITE_NOTADB")) or "Could not decode" in str(wrong):
        return damaged(path, str(wrong))
    if name.startswith("SQLITE_CONSTRAINT"):
        return (
            f"The logbook '{path}' refuses this entry ({wrong}): it names something that is not "
            "in the book, or lacks a value; nothing was stored."
        )
    for known, reason in _SAID.items():
        if name.startswith(known):
            return _cannot(path, doing, reason)
    return _cannot(path, doing, f"{wrong}: check the file")


def _is_full(path: Path) -> bool:
    """SQLite says "I/O error" or "cannot open" of some of its files when the disk is full."""
    try:
        return shutil.disk_usage(path.parent).free < _LEAST_FREE
    except OSError:
        return False


def damaged(path: Path, what: str) -> str:
    """The sentence on a damaged book."""
    from chatter.places import Places

    backups = Places(path).backups
    said = DAMAGED if any(backups.glob(f"{path.stem}-*.db")) else NO_COPY
    return said.format(path=path, what=what, backups=backups)
