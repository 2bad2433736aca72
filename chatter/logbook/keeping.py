"""Files kept beside the book, by the hash of their content; whole or not there at all."""

from __future__ import annotations

import hashlib
import os
import tempfile
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from chatter.errors import BookError
from chatter.job.units import echo
from chatter.logbook.opening import flush
from chatter.logbook.saying import spoken

_BLOCK = 1 << 20


@dataclass(frozen=True)
class Content:
    """A file by what is in it."""

    sha256: str
    size_bytes: int


def content_of(path: str | Path) -> Content:
    """Hash and size of a file.

    Raises
    ------
    BookError
        It cannot be read.
    """
    with _opened(path) as source:
        return _copy(source, None)


def keep(path: str | Path, folder: Path, book: Path) -> tuple[Content, str]:
    """Copy a file into the folder beside the book, under its hash.

    It is written beside its place, flushed to the disk, and renamed: a copy that is there is
    whole, whatever happens meanwhile.

    Parameters
    ----------
    path : path
    folder : Path
        The folder beside the book.
    book : Path
        For the complaint.

    Returns
    -------
    (Content, str)
        The second is the place within the folder.

    Raises
    ------
    BookError
        The file cannot be read, or the copy not be written.
    """
    suffix = _suffix(Path(path))
    with _opened(path) as source, spoken(book):
        folder.mkdir(parents=True, exist_ok=True)
        handle, half = tempfile.mkstemp(dir=folder, prefix=".copying-", suffix=".half")
        try:
            with os.fdopen(handle, "wb") as out:
                content = _copy(source, out)
                out.flush()
                os.fsync(out.fileno())
            place = f"{content.sha256[:2]}/{content.sha256}{suffix}"
            target = folder / place
            target.parent.mkdir(exist_ok=True)
            if target.exists():  # the same content, or what a fault made of it
                target.chmod(0o644)  # some systems replace no file that is read-only
            os.chmod(half, 0o444)  # kept: nobody should write into it
            os.replace(half, target)
            flush(target.parent)
            flush(folder)
        except BaseException:
            with suppress(OSError):
                os.unlink(half)
            raise
    return content, place


def _suffix(path: Path) -> str:
    """The ending of a name, if it is an ordinary one."""
    ending = path.suffix.lower()
    return ending if ending[1:].isalnum() and len(ending) <= 8 and ending.isascii() else ""


def _opened(path: str | Path) -> BinaryIO:
    try:
        return Path(path).open("rb")
    except OSError as wrong:
        raise BookError(
            f"The file '{echo(str(path), 200)}' cannot be read for the logbook "
            f"({wrong.strerror}): check its name."
        ) from wrong


def _copy(source: BinaryIO, out: BinaryIO | None) -> Content:
    digest, size = hashlib.sha256(), 0
    while block := source.read(_BLOCK):
        digest.update(block)
        size += len(block)
        if out is not None:
            out.write(block)
    return Content(digest.hexdigest(), size)
