"""A damaged book put aside, its newest whole copy in its place, and what can still be read added.

Nothing is thrown away: the damaged file stays beside the book, under another name.
"""

from __future__ import annotations

import shutil
import time
from collections.abc import Iterator
from contextlib import closing, suppress
from dataclasses import MISSING, dataclass, fields
from pathlib import Path

from chatter.errors import BookError
from chatter.logbook.book import Book, open_book, row_from_columns
from chatter.logbook.opening import flush, free, readable
from chatter.logbook.rows import TABLES, BookRow
from chatter.logbook.saying import spoken
from chatter.places import Places

#: Files that SQLite keeps beside a book; they belong to it and to no other.
_BESIDE = ("-wal", "-shm", "-journal")


@dataclass(frozen=True)
class Restored:
    """What a restore did."""

    copy: Path  # what the book is now
    aside: Path | None  # where the damaged one lies; None when there was none
    rows: int  # entries in the book now
    rescued: int  # of these, read out of the damaged one


def copies(around: Places) -> tuple[Path, ...]:
    """The copies of a book, newest first; their names carry the time."""
    backups = around.backups.glob(f"{around.book.stem}-*.db")
    return tuple(sorted(backups, key=lambda one: one.name, reverse=True))


def restore(around: Places, copy: str | Path | None = None) -> Restored:
    """Bring a copy of a book back into its place.

    Parameters
    ----------
    around : Places
    copy : path, optional
        Which copy; else the newest that is whole.  A book that is whole itself is only replaced
        by a copy that is named.

    Returns
    -------
    Restored

    Raises
    ------
    BookError
        The book is whole, or there is no whole copy, or no place for it; nothing was changed.
    """
    book = around.book
    if copy is None and book.exists() and _wrong_with(book) is None:
        raise BookError(
            f"The logbook '{book}' is whole: nothing was restored. To go back to an earlier copy, "
            f"name one of those in '{around.backups}'."
        )
    chosen = _newest_whole(around) if copy is None else _named(Path(copy), book)
    half = free(book.with_name(f"{book.stem}.restoring"))
    with spoken(book):
        try:
            book.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(chosen, half)
            flush(half)
            aside = _put_aside(book)
            half.replace(book)
            flush(book.parent)
        except BaseException:
            with suppress(OSError):
                half.unlink(missing_ok=True)
            raise
    with open_book(book) as opened:
        rescued = 0 if aside is None or copy is not None else _rescue(opened, aside)
        rows = sum(opened.count(kind) for kind in TABLES)
    return Restored(chosen, aside, rows, rescued)


def _newest_whole(around: Places) -> Path:
    known = copies(around)
    for copy in known:
        if _wrong_with(copy) is None:
            return copy
    if not known:
        raise BookError(
            f"There is no copy of the logbook in '{around.backups}': import an export of it "
            "('chatter log import'), or start a new one with --book."
        )
    raise BookError(
        f"None of the {len(known)} copies in '{around.backups}' is whole: import an export of the "
        "logbook ('chatter log import'), or start a new one with --book."
    )


def _named(copy: Path, book: Path) -> Path:
    if copy.exists() and book.exists() and copy.samefile(book):
        raise BookError(f"'{copy}' is the logbook itself: name one of its copies.")
    wrong = _wrong_with(copy)
    if wrong is not None:
        raise BookError(f"'{copy}' cannot be brought back. {wrong}")
    return copy


def _wrong_with(path: Path) -> str | None:
    """What is wrong with a book, as one sentence; None when it is whole."""
    try:
        with open_book(path, write=False):
            return None
    except BookError as wrong:
        # an older form is whole: it is brought up when it is opened for writing
        return None if "older form" in str(wrong) else str(wrong)


def _put_aside(book: Path) -> Path | None:
    """Rename the book and the files that SQLite keeps beside it, those first: a new book that
    found the old one's unwritten pages would take them for its own."""
    if not book.exists():
        return None
    stamp = time.strftime("%Y%m%dT%H%M%S", time.gmtime())
    aside = free(book.with_name(f"{book.stem}.aside-{stamp}.db"))
    for end in _BESIDE:
        with suppress(FileNotFoundError):
            book.with_name(book.name + end).rename(aside.with_name(aside.name + end))
    book.rename(aside)
    return aside


def _rescue(book: Book, aside: Path) -> int:
    """Add the entries of the damaged book that the copy does not have and that can be read."""
    rescued = 0
    for kind in TABLES:
        for row in _readable_rows(aside, kind):
            with suppress(BookError), book.writing():  # one that names what is lost is left out
                if next(book.db_rows(kind, "uid = ?", (row.uid,)), None) is None:
                    book.put(row)
                    rescued += 1
    return rescued


def _readable_rows(aside: Path, kind: type[BookRow]) -> Iterator[BookRow]:
    """Rows one by one, by their number, so that a broken page costs only what lies on it."""
    import sqlite3

    broken = (sqlite3.Error, UnicodeDecodeError, TypeError, ValueError)
    needed = {one.name for one in fields(kind) if one.default is MISSING} | {"uid", "changed_at"}
    with suppress(*broken), closing(readable(aside)) as source:
        try:
            source.execute("PRAGMA cell_size_check = ON")
            last = source.execute(f"SELECT max(number) FROM {TABLES[kind]}").fetchone()[0] or 0
        except broken:
            return
        for number in range(1, last + 1):
            try:
                cursor = source.execute(f"SELECT * FROM {TABLES[kind]} WHERE number = ?", (number,))
                names = [column[0] for column in cursor.description]
                values = cursor.fetchone()
                row = (
                    None
                    if values is None
                    else row_from_columns(kind, dict(zip(names, values, strict=True)))
                )
            except broken:
                continue
            if row is not None and row.uid and all(getattr(row, one) is not None for one in needed):
                yield row
