"""The book itself: rows in, rows out, every change in a transaction of its own."""

from __future__ import annotations

import json
import threading
import uuid
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict, fields, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from chatter.logbook.finding import find
from chatter.logbook.rows import TABLES, BookRow, EarlierRow
from chatter.logbook.saying import spoken
from chatter.places import Places, places

if TYPE_CHECKING:
    from sqlite_utils import Database

One = TypeVar("One", bound=BookRow)

#: Rows that are read at a time; listens hold long texts.
_PAGE = 50


def now() -> str:
    """The present time as the book writes it."""
    return datetime.now(UTC).isoformat(timespec="microseconds")


def open_book(path: str | Path | None = None, *, write: bool = True) -> Book:
    """Open a logbook, or start one.

    Parameters
    ----------
    path : path, optional
        Without it the environment variable CHATTER_BOOK names the book, else it is
        ``logbook.db`` in the user's data folder.
    write : bool
        False opens an existing book for reading only; it may then lie in a folder that cannot
        be written to.

    Returns
    -------
    Book
        To be closed, best by ``with``.

    Raises
    ------
    BookError
        One sentence: damaged, newer than this program, not a book, no place to write ...
    """
    from chatter.logbook.opening import connect

    around = places(path)
    return Book(connect(around.book, write=write), around)


class Book:
    """An open logbook.  Use ``with open_book() as book``.

    Threads may share one, and wait for each other; but opening one takes some milliseconds, so
    that each may as well have its own.  Several programs may have the same book open, and the
    second to write waits for the first.
    """

    def __init__(self, db: Database, around: Places) -> None:
        self.db = db
        self.places = around
        self._lock = threading.RLock()

    @property
    def path(self) -> Path:
        """The file."""
        return self.places.book

    def __enter__(self) -> Book:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the file; what was added is on the disk already."""
        self.db.close()

    @contextmanager
    def reading(self) -> Iterator[None]:
        """All that is read within is as of one moment, whoever writes meanwhile.

        Raises BookError.
        """
        with self._lock, spoken(self.path, "read"):
            self.db.conn.execute("BEGIN")
            try:
                yield
            finally:
                self.db.rollback()

    @contextmanager
    def writing(self) -> Iterator[None]:
        """All changes within are stored together or not at all; may be nested.

        Raises BookError.
        """
        with self._lock, spoken(self.path):
            if self.db.conn.in_transaction:
                with self.db.atomic():
                    yield
                return
            self.db.conn.execute("BEGIN IMMEDIATE")  # waits for other writers here, not later
            try:
                yield
                self.db.conn.execute("COMMIT")
            except BaseException:
                self.db.rollback()
                raise

    def add(self, row: One) -> One:
        """Store a row and return it as it stands in the book.

        A row whose ``uid`` is in the book already is not stored twice: the one in the book is
        returned.  When this returns outside of ``writing()``, the row is on the disk.

        Raises BookError.
        """
        with self.writing():
            if row.uid:
                there = self.db_rows(type(row), "uid = ?", (row.uid,))
                for stored in there:
                    return stored
            stamp = now()
            whole = replace(
                row,
                uid=row.uid or uuid.uuid4().hex,
                number=0,
                created_at=row.created_at or stamp,
                changed_at=row.changed_at or stamp,
            )
            return self.put(whole)

    def put(self, row: One) -> One:
        """Insert a row with its uid and times as they are, for imports.  Raises BookError."""
        with self.writing():
            plain = asdict(row)
            del plain["number"]
            inserted = self.db.execute(
                f"INSERT INTO {TABLES[type(row)]} ({', '.join(plain)}) "
                f"VALUES ({', '.join(f':{name}' for name in plain)})",
                plain,
            )
            assert inserted.lastrowid is not None, "an INSERT has a row"
            return replace(row, number=inserted.lastrowid)

    def update(self, row: One, /, **changes: Any) -> One:
        """Change fields of a row; how it read before is kept among the ``EarlierRow``.

        Raises BookError.
        """
        wrong = set(changes) - {each.name for each in fields(row)} | set(changes) & {
            "uid",
            "number",
        }
        if wrong:
            raise ValueError(f"{type(row).__name__} has no field {sorted(wrong)} to change")
        with self.writing():
            before = self.get(type(row), row.uid)
            after = replace(before, **{"changed_at": now(), **changes})
            if replace(after, changed_at=before.changed_at) == before:
                return before
            self.keep_earlier(before)
            plain = asdict(after)
            named = ", ".join(f"{name} = :{name}" for name in plain)
            self.db.execute(f"UPDATE {TABLES[type(row)]} SET {named} WHERE uid = :uid", plain)
            return after

    def keep_earlier(self, row: BookRow) -> None:
        """Set aside how a row reads.  Raises BookError."""
        plain = asdict(row)
        del plain["number"]
        text = json.dumps(plain, ensure_ascii=False, sort_keys=True)
        uid = uuid.uuid5(uuid.NAMESPACE_OID, TABLES[type(row)] + text).hex
        self.add(EarlierRow(uid=uid, of_table=TABLES[type(row)], of_uid=row.uid, row_json=text))

    def get(self, kind: type[One], key: str | int | BookRow) -> One:
        """One row, by uid, short number, name, or the beginning of its content hash.

        Raises
        ------
        BookError
            There is none, or more than one, that ``key`` names.
        """
        return find(self, kind, key)

    def list(self, kind: type[One], /, **equals: Any) -> tuple[One, ...]:
        """All rows of a kind whose fields have these values, in the order they were added.

        A value may be a row, standing for its uid.
        """
        return tuple(self.each(kind, **equals))

    def each(self, kind: type[One], /, **equals: Any) -> Iterator[One]:
        """As ``list``, one row at a time, so that long texts need not all be in memory."""
        unknown = set(equals) - {each.name for each in fields(kind)}
        if unknown:
            raise ValueError(f"{kind.__name__} has no field {sorted(unknown)}")
        where = " AND ".join(f"{name} IS ?" for name in equals) or "1"
        values = [each.uid if isinstance(each, BookRow) else each for each in equals.values()]
        yield from self.db_rows(kind, where, values)

    def count(self, kind: type[BookRow]) -> int:
        """How many rows of a kind there are."""
        with self._lock, spoken(self.path, "read"):
            asked = f"SELECT count(*) FROM {TABLES[kind]}"
            return self.db.conn.execute(asked).fetchone()[0]

    def db_rows(self, kind: type[One], where: str, values: Sequence[Any] = ()) -> Iterator[One]:
        """Rows by a condition in SQL, in the order they were added.

        They are read a page at a time, so that nothing is held open between two of them.

        Raises BookError.
        """
        asked = (
            f"SELECT * FROM {TABLES[kind]} WHERE ({where}) AND number > ? "
            f"ORDER BY number LIMIT {_PAGE}"
        )
        last = 0
        while True:
            with self._lock, spoken(self.path, "read"):
                cursor = self.db.conn.execute(asked, (*values, last))
                names = [column[0] for column in cursor.description]
                page = [
                    row_from_columns(kind, dict(zip(names, row, strict=True))) for row in cursor
                ]
            yield from page
            if len(page) < _PAGE:
                return
            last = page[-1].number


def row_from_columns(kind: type[One], plain: dict[str, Any]) -> One:
    """A row from the values of its columns."""
    flags = {each.name for each in fields(kind) if each.type == "bool"}
    values: dict[str, Any] = {name: bool(x) if name in flags else x for name, x in plain.items()}
    return kind(**values)
