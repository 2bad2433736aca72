"""Taking an entry out of the book: it is set aside, not thrown away."""

from __future__ import annotations

from dataclasses import fields
from typing import TYPE_CHECKING

from chatter.errors import BookError
from chatter.logbook.book import Book
from chatter.logbook.rows import TABLES, BookRow, EarlierRow, RecordingRow

if TYPE_CHECKING:
    from collections.abc import Iterator


def strike(book: Book, row: BookRow) -> int:
    """Take an entry out; how it read stays among the ``EarlierRow``.

    With a recording goes all that is said of it: listens, labels, notes, signs, photographs.
    The kept file stays where it is.  An import does not bring back what was struck out here.

    Parameters
    ----------
    book : Book
    row : BookRow
        Of any table but the earlier ones.

    Returns
    -------
    int
        Entries that were taken out.

    Raises
    ------
    BookError
        A machine, cutter or job that other entries name.
    """
    if isinstance(row, EarlierRow):
        raise BookError("What was set aside is not taken out: name another entry.")
    with book.writing():
        row = book.get(type(row), row.uid)
        named = list(_naming(book, row))
        if named and not isinstance(row, RecordingRow):
            what = TABLES[type(row)].removesuffix("s")
            raise BookError(
                f"This {what} cannot be taken out: {len(named)} other entries name it, for "
                f"example number {named[0].number} of the {TABLES[type(named[0])]}."
            )
        count = sum(strike(book, one) for one in named)
        book.keep_earlier(row)
        book.db.conn.execute(f"DELETE FROM {TABLES[type(row)]} WHERE uid = ?", (row.uid,))
        return count + 1


def was_struck(book: Book, row: BookRow) -> bool:
    """Whether a row that is not in the book stood there in this wording or a later one.

    Raises BookError.
    """
    asked = (
        "SELECT count(*) FROM earlier WHERE of_table = ? AND of_uid = ? "
        "AND json_extract(row_json, '$.changed_at') >= ?"
    )
    values = (TABLES[type(row)], row.uid, row.changed_at)
    return bool(book.db.conn.execute(asked, values).fetchone()[0])


def _naming(book: Book, row: BookRow) -> Iterator[BookRow]:
    """Rows that name this one."""
    column = TABLES[type(row)].removesuffix("s")
    for kind in TABLES:
        if column in {one.name for one in fields(kind)}:
            yield from book.db_rows(kind, f"{column} = ?", (row.uid,))
