"""Does a book have all its tables and columns?  SQLite itself does not know what should be."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import sqlite3

Form = dict[str, dict[str, tuple]]


def missing_part(connection: sqlite3.Connection, steps: dict[str, str]) -> str | None:
    """The first thing that a book in its newest form lacks, in words; None when all is there.

    Parameters
    ----------
    connection : sqlite3.Connection
        To the book.
    steps : dict of str to str
        All steps by name, in order, as SQL.
    """
    wanted, there = _form(tuple(steps.values())), _read(connection)
    for table, columns in wanted.items():
        if table not in there:
            return f"its table {table} is missing"
        if there[table] != columns:
            return f"its table {table} has other columns than it should"
    return None


@lru_cache(maxsize=4)
def _form(steps: tuple[str, ...]) -> Form:
    """What the steps make, in an empty book."""
    import sqlite3

    empty = sqlite3.connect(":memory:")
    try:
        for sql in steps:
            empty.executescript(sql)
        return _read(empty)
    finally:
        empty.close()


def _read(connection: sqlite3.Connection) -> Form:
    """Table -> column -> type, whether it must be there, and its place in the key."""
    asked = (
        "SELECT m.name, c.name, c.type, c.[notnull], c.pk FROM sqlite_master AS m, "
        "pragma_table_xinfo(m.name) AS c WHERE m.type = 'table' AND m.name NOT LIKE 'sqlite_%'"
    )
    form: Form = {}
    for table, column, *facts in connection.execute(asked):
        form.setdefault(table, {})[column] = tuple(facts)
    return form
