"""Is everything there?  The whole book and every kept file, read and compared."""

from __future__ import annotations

from dataclasses import dataclass

from chatter.errors import BookError
from chatter.logbook.book import Book
from chatter.logbook.keeping import content_of
from chatter.logbook.recordings import file_of
from chatter.logbook.rows import TABLES, PhotoRow, RecordingRow
from chatter.logbook.saying import spoken


@dataclass(frozen=True)
class Checked:
    """What a check found."""

    counts: dict[str, int]  # rows by table
    kept_files: int
    kept_bytes: int
    faults: tuple[str, ...]  # something is wrong or lost
    remarks: tuple[str, ...]  # worth knowing, nothing is lost


def check(book: Book) -> Checked:
    """Read the whole book and every kept file.

    Raises
    ------
    BookError
        The book cannot be read at all.
    """
    faults: list[str] = []
    remarks: list[str] = []
    with spoken(book.path, "read"):
        answers = [row[0] for row in book.db.conn.execute("PRAGMA integrity_check")]
        faults += [f"The book: {answer}." for answer in answers if answer != "ok"]
        loose = book.db.conn.execute("PRAGMA foreign_key_check").fetchall()
    faults += [f"An entry of {row[0]} names something that is not there." for row in loose]
    known, size = set(), 0
    for row in book.each(RecordingRow):
        if row.keeping == "reference":
            try:
                whole = content_of(file_of(book, row)).sha256 == row.sha256
            except BookError:
                whole = False
            if not whole:
                remarks.append(
                    f"Recording {row.number} ({row.name}) was not kept, and '{row.place}' is gone "
                    "or another file now; what was found in it is still in the book."
                )
            continue
        known.add(row.place)
        size += _kept(book, row, f"recording {row.number}", faults)
    for photo in book.each(PhotoRow):
        if photo.place not in known:
            known.add(photo.place)
            size += _kept(book, photo, f"photograph {photo.number}", faults)
    folder = book.places.files
    there = {file for file in folder.rglob("*") if file.is_file()} if folder.is_dir() else set()
    stray = sorted(file for file in there if file.relative_to(folder).as_posix() not in known)
    if stray:
        remarks.append(
            f"{len(stray)} file(s) in '{folder}' belong to no entry (a copy was broken off, or "
            f"its entry was not stored) and may be deleted, for example "
            f"'{stray[0].relative_to(folder)}'."
        )
    counts = {table: book.count(kind) for kind, table in TABLES.items()}
    return Checked(counts, len(known), size, tuple(faults), tuple(remarks))


def _kept(book: Book, row: RecordingRow | PhotoRow, what: str, faults: list[str]) -> int:
    """Compare a kept file with its hash; returns its size."""
    path = book.places.files / row.place
    try:
        content = content_of(path)
    except BookError:
        faults.append(f"The kept file of {what} ({row.name}) is not at '{path}'.")
        return 0
    if content.sha256 != row.sha256:
        faults.append(f"The kept file of {what} ({row.name}) was changed: '{path}'.")
    return content.size_bytes
