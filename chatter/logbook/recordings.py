"""Recordings of the book: by content, kept beside it or pointed at."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from chatter.errors import BookError
from chatter.job.units import echo
from chatter.logbook.book import Book
from chatter.logbook.keeping import content_of, keep
from chatter.logbook.rows import KINDS, MachineRow, RecordingRow

#: What storing a recording again fills in or changes.
_FILLED = ("machine", "phone", "position", "hours", "duration_s", "note")


def add_recording(book: Book, path: str | Path, **stated: Any) -> RecordingRow:
    """Store a recording, known by its content.

    One that is in the book already is not stored twice: what is stated now and was not known
    then is filled in, what is stated otherwise than then is changed (the earlier row is kept),
    and a file that was only pointed at is copied when ``copy`` asks for it.

    Parameters
    ----------
    book, path, stated
        As for :func:`ready`.

    Raises
    ------
    BookError
    """
    return enter_recording(book, ready(book, path, **stated))


def ready(
    book: Book,
    path: str | Path,
    *,
    copy: bool = True,
    kind: str = "cut",
    name: str | None = None,
    machine: MachineRow | str | None = None,
    phone: str = "",
    position: str = "",
    hours: float | None = None,
    recorded_at: str | datetime | None = None,
    duration_s: float | None = None,
    simulated: bool = False,
    note: str = "",
) -> RecordingRow:
    """The row of a recording, its file copied, to be stored by ``enter_recording``.

    The long part of storing, before others are kept waiting.

    Parameters
    ----------
    book : Book
    path : path
        The file.
    copy : bool
        True keeps a copy beside the book; False only remembers where the file lies.
    kind : str
        One of ``rows.KINDS``: "cut", "idle", "tap" or "other".
    name : str, optional
        The file's original name, when it was handed in under another.
    machine : row, name or number, optional
    phone, position : str
        Which phone, and where it lay: levels can only be compared when both stay the same.
    hours : float, optional
        Running hours of the machine.
    recorded_at : str or datetime, optional
        ISO 8601; local time where it states no zone.  The file's own date if left out.
    duration_s : float, optional
    simulated : bool
    note : str

    Raises
    ------
    BookError
    """
    if kind not in KINDS:
        raise BookError(f"A recording is of one of {', '.join(KINDS)}, not '{echo(kind)}'.")
    if hours is not None and not (math.isfinite(hours) and hours >= 0):
        raise BookError(f"Running hours of {hours:g} cannot be: state 0 or more.")
    source = Path(path)
    on = None if machine is None else book.get(MachineRow, machine).uid
    when = None if recorded_at is None else moment(recorded_at)
    content = content_of(source)
    there = book.list(RecordingRow, sha256=content.sha256)
    keeping, place = "reference", str(source.absolute())
    if there and _is_kept(book, there[0]):
        keeping, place = "copy", there[0].place
    elif copy:
        content, place = keep(source, book.places.files, book.path)
        keeping = "copy"
    return RecordingRow(
        uid=content.sha256[:32],
        sha256=content.sha256,
        name=name or source.name,
        size_bytes=content.size_bytes,
        keeping=keeping,
        place=place,
        kind=kind,
        duration_s=duration_s,
        machine=on,
        phone=phone.strip(),
        position=position.strip(),
        hours=hours,
        recorded_at=when or _file_date(source),
        dated_by="file" if when is None else "stated",
        simulated=simulated,
        note=note.strip(),
    )


def enter_recording(book: Book, row: RecordingRow) -> RecordingRow:
    """Store a recording that was made ready, or fill in the one the book has."""
    with book.writing():
        for there in book.list(RecordingRow, sha256=row.sha256):
            named = {each: getattr(row, each) for each in _FILLED}
            news = {each: value for each, value in named.items() if value not in (None, "")}
            if row.dated_by == "stated":
                news |= {"recorded_at": row.recorded_at, "dated_by": "stated"}
            if row.keeping == "copy" or there.keeping == "reference":
                news |= {"keeping": row.keeping, "place": row.place}
            if row.kind != "cut":
                news["kind"] = row.kind
            return book.update(there, **news)
        return book.add(row)


def file_of(book: Book, recording: RecordingRow) -> Path:
    """Where the file of a recording lies.

    Raises
    ------
    BookError
        It is not there any more.
    """
    path = _place(book, recording)
    if not path.is_file():
        again = "put it back" if recording.keeping == "copy" else "store it again from where it is"
        raise BookError(
            f"The file of recording {recording.number} ({recording.name}) is not at '{path}' "
            f"any more: {again}."
        )
    return path


def moment(stated: str | datetime) -> str:
    """A time as the book writes it.  Raises BookError."""
    try:
        when = stated if isinstance(stated, datetime) else datetime.fromisoformat(stated.strip())
    except ValueError:
        raise BookError(
            f"The time '{echo(str(stated))}' is not one: write for example 2025-03-31T14:30."
        ) from None
    return when.astimezone(UTC).isoformat(timespec="seconds")


def _place(book: Book, recording: RecordingRow) -> Path:
    if recording.keeping == "copy":
        return book.places.files / recording.place
    return Path(recording.place)


def _is_kept(book: Book, recording: RecordingRow) -> bool:
    return recording.keeping == "copy" and _place(book, recording).is_file()


def _file_date(path: Path) -> str:
    return datetime.fromtimestamp(path.stat().st_mtime, UTC).isoformat(timespec="seconds")
