"""Another book, or an export of one, taken into this book: nothing lost, nothing doubled.

Rows are known by uid.  A row that reads differently here and there keeps the newer wording, and
the other is set aside among the ``EarlierRow``; so importing again changes nothing.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import MISSING, dataclass, fields, replace
from pathlib import Path

from chatter.errors import BookError
from chatter.job.units import echo
from chatter.logbook.book import Book, open_book
from chatter.logbook.exporting import FILE, FORMAT
from chatter.logbook.keeping import keep
from chatter.logbook.opening import migration_steps
from chatter.logbook.rows import TABLES, BookRow, EarlierRow, PhotoRow, RecordingRow
from chatter.logbook.striking import was_struck
from chatter.places import places

Tables = dict[type[BookRow], Iterable[BookRow]]


@dataclass(frozen=True)
class Merged:
    """What an import did, in rows."""

    new: int = 0
    changed: int = 0  # the other book's wording was newer
    same: int = 0
    older: int = 0  # this book's wording was newer
    struck: int = 0  # taken out of this book, and left out
    files: int = 0  # files that were copied
    missing: tuple[str, ...] = ()  # kept files that the other side does not have


def merge(book: Book, other: str | Path) -> Merged:
    """Take another book into this one.

    Parameters
    ----------
    book : Book
    other : path
        The folder of an export, its ``logbook.json``, or a logbook.

    Returns
    -------
    Merged

    Raises
    ------
    BookError
        The other cannot be read; then nothing is imported.
    """
    with _source(Path(other)) as (tables, folder):
        copied, missing = _bring_files(book, tables, folder)
        tally = {"new": 0, "changed": 0, "same": 0, "older": 0, "struck": 0}
        with book.writing():
            for kind in TABLES:
                for row in tables[kind]:
                    tally[_take(book, row)] += 1
    return Merged(**tally, files=copied, missing=missing)


def _take(book: Book, row: BookRow) -> str:
    there = next(book.db_rows(type(row), "uid = ?", (row.uid,)), None)
    if there is None:
        if was_struck(book, row) or not _names_known(book, row):
            return "struck"
        book.put(row)
        return "new"
    row = replace(row, number=there.number)
    if replace(row, created_at=there.created_at, changed_at=there.changed_at) == there:
        return "same"
    if isinstance(row, EarlierRow):  # the same wording, set aside at another time
        return "same"
    if row.changed_at <= there.changed_at:
        book.keep_earlier(row)
        return "older"
    if (
        isinstance(row, RecordingRow)
        and isinstance(there, RecordingRow)
        and there.keeping == "copy"
    ):
        row = replace(row, keeping="copy", place=there.place)
    kept = {one.name: getattr(row, one.name) for one in fields(row)}
    del kept["uid"], kept["number"]
    book.update(there, **kept)
    return "changed"


def _names_known(book: Book, row: BookRow) -> bool:
    """False when a row is about a recording that was struck out here."""
    uid = getattr(row, "recording", None)
    if uid is None or next(book.db_rows(RecordingRow, "uid = ?", (uid,)), None) is not None:
        return True
    # One that is in neither book is refused when it is put in.
    return next(book.each(EarlierRow, of_table="recordings", of_uid=uid), None) is None


def _bring_files(book: Book, tables: Tables, folder: Path | None) -> tuple[int, tuple[str, ...]]:
    copied, missing = 0, []
    for kind in (RecordingRow, PhotoRow):
        for row in tables[kind]:
            if not isinstance(row, RecordingRow | PhotoRow):
                continue
            if isinstance(row, RecordingRow) and row.keeping != "copy":
                continue
            _check_place(row.place)
            if (book.places.files / row.place).is_file():
                continue
            from_there = None if folder is None else folder / row.place
            if from_there is None or not from_there.is_file():
                missing.append(row.name)
                continue
            content, place = keep(from_there, book.places.files, book.path)
            if content.sha256 != row.sha256 or place != row.place:
                raise BookError(
                    f"The kept file '{from_there}' is not what the other book says: "
                    "it was changed or is damaged; nothing was imported."
                )
            copied += 1
    return copied, tuple(missing)


def _check_place(place: str) -> None:
    """A kept file lies within the folder beside the book, whatever an import says."""
    parts = Path(place).parts
    if Path(place).is_absolute() or ".." in parts or len(parts) != 2:
        raise BookError(f"The import names a file '{echo(place)}' outside its folder: refuse it.")


@contextmanager
def _source(path: Path) -> Iterator[tuple[Tables, Path | None]]:
    """Rows by kind, and the folder of kept files."""
    if path.is_dir():
        path = path / FILE
    if not path.is_file():
        raise BookError(f"There is no logbook or export at '{path}': check the name.")
    with path.open("rb") as file:
        database = file.read(16) == b"SQLite format 3\0"
    if database:
        with open_book(path, write=False) as other:
            yield {kind: other.list(kind) for kind in TABLES}, places(path).files
        return
    folder = path.parent / "files"
    yield _read_json(path), folder if folder.is_dir() else None


def _read_json(path: Path) -> Tables:
    try:
        exported = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError) as wrong:
        raise BookError(
            f"'{path}' is not an export of a logbook ({echo(str(wrong), 100)}): check the file."
        ) from None
    if not isinstance(exported, dict) or exported.get("format") != FORMAT:
        raise BookError(f"'{path}' is not an export of a logbook: name its {FILE}.")
    if str(exported.get("form")) > max(migration_steps()):
        raise BookError(
            f"'{path}' was written by a newer version of this program: update chatter first."
        )
    tables = exported.get("tables")
    if not isinstance(tables, dict) or set(tables) - set(TABLES.values()):
        raise BookError(f"'{path}' is not a whole export of a logbook: export it again.")
    return {
        kind: [_row(kind, plain, path) for plain in tables.get(table, [])]
        for kind, table in TABLES.items()
    }


def _row(kind: type[BookRow], plain: object, path: Path) -> BookRow:
    """A row from plain data, its names and types checked."""
    known = {one.name: one for one in fields(kind) if one.name != "number"}
    needed = {name for name, one in known.items() if one.default is MISSING}
    if (
        isinstance(plain, dict)
        and needed | {"uid", "changed_at"} <= set(plain) <= set(known)
        and all(_fits(known[name].type, value) for name, value in plain.items())
        and plain["uid"]
    ):
        return kind(**plain)
    name = TABLES[kind]
    raise BookError(
        f"'{path}' holds an entry in {name} that is none ({echo(json.dumps(plain), 80)}): "
        "nothing was imported; export it again."
    )


def _fits(kind: object, value: object) -> bool:
    name = str(kind)
    if value is None:
        return "None" in name
    if "bool" in name:
        return isinstance(value, bool)
    if "int" in name or "float" in name:
        whole = isinstance(value, int) and not isinstance(value, bool)
        return whole or ("float" in name and isinstance(value, float))
    return isinstance(value, str)
