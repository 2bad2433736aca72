"""From what a person calls a row to the row."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict, fields
from typing import Any, Protocol, TypeVar

from chatter.errors import BookError
from chatter.job.units import echo
from chatter.job.words import hint
from chatter.logbook.rows import TABLES, BookRow

One = TypeVar("One", bound=BookRow)


class Rows(Protocol):
    """What a search needs of a book."""

    def list(self, kind: type[One], /, **equals: Any) -> tuple[One, ...]:
        """Rows of one kind with these values."""

    def db_rows(self, kind: type[One], where: str, values: Sequence[Any] = ()) -> Iterator[One]:
        """Rows of one kind by a condition of SQL."""


_SHORTEST_HASH = 6


def find(book: Rows, kind: type[One], key: str | int | BookRow) -> One:
    """See ``Book.get``."""
    what = TABLES[kind].removesuffix("s")
    if isinstance(key, BookRow):
        key = key.uid
    if isinstance(key, int) or (str(key).isdecimal() and len(str(key)) < _SHORTEST_HASH):
        numbered = book.list(kind, number=int(key))
        if numbered:
            return numbered[0]
    key = str(key)
    named = {each.name for each in fields(kind)}
    for column in ("uid", "name", "sha256"):
        if column not in named or not key:
            continue
        rows = list(book.db_rows(kind, *_asked(column, key)))
        if len(rows) > 1:
            numbers = ", ".join(str(each.number) for each in rows)
            raise BookError(
                f"More than one {what} in the logbook is called '{echo(key)}': "
                f"state the number of one, {numbers}."
            )
        if rows:
            return rows[0]
    raise BookError(_none(book, kind, what, key, "name" in named))


def _asked(column: str, key: str) -> tuple[str, tuple[str | int, ...]]:
    if column == "name":
        return "name = ? COLLATE NOCASE", (key,)
    if column == "sha256" and len(key) >= _SHORTEST_HASH:
        return "substr(sha256, 1, ?) = ?", (len(key), key.lower())
    return f"{column} = ?", (key,)


def _none(book: Rows, kind: type[BookRow], what: str, key: str, named: bool) -> str:
    said = f"There is no {what} '{echo(key)}' in the logbook"
    names = sorted({asdict(each)["name"] for each in book.list(kind)}) if named else []
    if not names:
        return f"{said}: 'chatter log show' lists what there is."
    return f"{said}: {hint(key, {each: each for each in names[:12]}, cutoff=0.5)}"
