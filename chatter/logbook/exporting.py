"""The whole book as plain files: JSON with everything, CSV per table for spreadsheets.

An export is a folder with ``logbook.json``, ``csv/TABLE.csv`` and, unless left out, ``files/``
with the kept recordings and photographs.  ``chatter.logbook.merging`` reads it back.
"""

from __future__ import annotations

import csv
import json
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import asdict, fields
from pathlib import Path
from typing import TextIO

from chatter import __version__
from chatter.errors import BookError
from chatter.logbook.book import Book, now
from chatter.logbook.opening import flush, migration_steps
from chatter.logbook.rows import TABLES, BookRow
from chatter.logbook.saying import spoken

FORMAT = "chatter logbook"
FILE = "logbook.json"


def export(book: Book, folder: str | Path, *, files: bool = True) -> dict[str, int]:
    """Write the book into a folder, which must be new or empty.

    Parameters
    ----------
    book : Book
    folder : path
    files : bool
        Whether to copy the kept recordings and photographs too.

    Returns
    -------
    dict
        Rows written, by table.

    Raises
    ------
    BookError
        The folder holds something already, or cannot be written.
    """
    target = new_folder(folder)
    with spoken(target):
        (target / "csv").mkdir()
    with spoken(target), book.reading():
        if files and book.places.files.is_dir():
            shutil.copytree(
                book.places.files,
                target / "files",
                ignore=shutil.ignore_patterns(".copying-*"),
                dirs_exist_ok=True,
            )
        for kind, table in TABLES.items():
            with _written(target / "csv" / f"{table}.csv", newline="") as out:
                _csv(book, kind, out)
        counts: dict[str, int] = {}
        with _written(target / FILE, newline="\n") as out:
            for text in _json(book, counts):
                out.write(text)
    return counts


def new_folder(folder: str | Path) -> Path:
    """A folder made to write into.

    Raises
    ------
    BookError
        It holds something already, or cannot be made.
    """
    target = Path(folder)
    if target.exists() and not (target.is_dir() and not any(target.iterdir())):
        raise BookError(f"'{target}' is there already and not an empty folder: name a new one.")
    try:
        target.mkdir(parents=True, exist_ok=True)
    except OSError as wrong:
        raise BookError(
            f"The folder '{target}' cannot be made ({wrong.strerror}): name another place."
        ) from wrong
    return target


@contextmanager
def _written(path: Path, newline: str) -> Iterator[TextIO]:
    """A text file that is there whole or not at all."""
    half = path.with_name(f".{path.name}.half")
    try:
        with half.open("w", encoding="utf-8", newline=newline) as out:
            yield out
            out.flush()
            os.fsync(out.fileno())
        half.replace(path)
        flush(path.parent)
    except BaseException:
        with suppress(OSError):
            half.unlink(missing_ok=True)
        raise


def exported_row(row: BookRow) -> dict[str, object]:
    """A row as it is exported: without its number, which is this file's own."""
    columns = asdict(row)
    del columns["number"]
    return columns


def _json(book: Book, counts: dict[str, int]) -> Iterator[str]:
    """The JSON, row by row, so that a large book needs little memory."""
    head = {
        "format": FORMAT,
        "form": max(migration_steps()),
        "made_by": f"chatter {__version__}",
        "exported_at": now(),
    }
    yield json.dumps(head, ensure_ascii=False, indent=1).removesuffix("\n}") + ',\n "tables": {'
    for i, (kind, table) in enumerate(TABLES.items()):
        counts[table] = 0
        yield ("" if i == 0 else ",") + f"\n  {json.dumps(table)}: ["
        for row in book.each(kind):
            text = json.dumps(exported_row(row), ensure_ascii=False)
            yield ("" if counts[table] == 0 else ",") + f"\n   {text}"
            counts[table] += 1
        yield "\n  ]"
    yield "\n }\n}\n"


def _csv(book: Book, kind: type[BookRow], out: TextIO) -> None:
    """One table; findings and the like, too long for a cell, are in the JSON only."""
    columns = ["number", *(one.name for one in fields(kind) if one.name != "number")]
    columns = [name for name in columns if not name.endswith("_json")]
    sheet = csv.writer(out)
    sheet.writerow(columns)
    for row in book.each(kind):
        sheet.writerow([getattr(row, name) for name in columns])
