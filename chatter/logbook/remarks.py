"""What people add: notes, what the surface looks like, photographs; and what other commands of
this program found."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any, TypedDict

from chatter.errors import BookError
from chatter.logbook.book import Book, now
from chatter.logbook.cards import a_date, uid_of
from chatter.logbook.keeping import keep
from chatter.logbook.pictures import check_picture_file
from chatter.logbook.recordings import moment
from chatter.logbook.rows import (
    CompareRow,
    CutterRow,
    MachineRow,
    NoteRow,
    PhotoRow,
    RecordingRow,
    SurfaceRow,
    TapRow,
)
from chatter.plain import to_json
from chatter.tapping.findings import TapFindings
from chatter.trade.surface import sign_of

Key = str | int


class _About(TypedDict):
    """The uids of what a remark is about."""

    machine: str | None
    cutter: str | None
    recording: str | None


def _about(
    book: Book,
    machine: MachineRow | Key | None,
    cutter: CutterRow | Key | None,
    recording: RecordingRow | Key | None,
) -> _About:
    """The uids of what a remark is about.  Raises BookError."""
    return {
        "machine": None if machine is None else book.get(MachineRow, machine).uid,
        "cutter": None if cutter is None else book.get(CutterRow, cutter).uid,
        "recording": None if recording is None else book.get(RecordingRow, recording).uid,
    }


def add_note(
    book: Book,
    text: str,
    *,
    machine: MachineRow | Key | None = None,
    cutter: CutterRow | Key | None = None,
    recording: RecordingRow | Key | None = None,
) -> NoteRow:
    """Store a remark.  Raises BookError."""
    if not text.strip():
        raise BookError("The note is empty: write what is to be remembered.")
    return book.add(NoteRow(text=text.strip(), **_about(book, machine, cutter, recording)))


def add_surface(
    book: Book,
    sign: str,
    *,
    face: str = "",
    seen_on: str | None = None,
    machine: MachineRow | Key | None = None,
    cutter: CutterRow | Key | None = None,
    recording: RecordingRow | Key | None = None,
    note: str = "",
) -> SurfaceRow:
    """Store what the cut surface looks like.

    Parameters
    ----------
    sign : str
        One of the signs of ``chatter.trade.surface``, by its name or another word for it.
    face : str
        Which face: "left wall", "floor" ...
    seen_on : str, optional
        Date.

    Raises
    ------
    BookError
    JobError
        The sign is not known; with the nearest spelling.
    """
    row = SurfaceRow(
        sign=sign_of(sign).name,
        face=face.strip(),
        seen_on=None if seen_on is None else a_date(seen_on, "day"),
        note=note.strip(),
        **_about(book, machine, cutter, recording),
    )
    return book.add(row)


def add_photo(
    book: Book,
    path: str | Path,
    *,
    caption: str = "",
    taken_at: str | None = None,
    machine: MachineRow | Key | None = None,
    cutter: CutterRow | Key | None = None,
    recording: RecordingRow | Key | None = None,
) -> PhotoRow:
    """Keep a photograph beside the book; the same one of the same thing is stored once.

    Raises BookError.
    """
    about = _about(book, machine, cutter, recording)
    when = None if taken_at is None else moment(taken_at)
    check_picture_file(path)
    content, place = keep(path, book.places.files, book.path)
    row = PhotoRow(
        uid=uid_of("photo", content.sha256, *about.values()),
        sha256=content.sha256,
        name=Path(path).name,
        size_bytes=content.size_bytes,
        place=place,
        caption=caption.strip(),
        taken_at=when,
        **about,
    )
    with book.writing():
        there = book.add(row)
        return book.update(there, caption=row.caption) if row.caption else there


def add_taps(
    book: Book,
    findings: TapFindings,
    *,
    machine: MachineRow | Key | None = None,
    cutter: CutterRow | Key | None = None,
    recording: RecordingRow | Key | None = None,
) -> TapRow:
    """Store a tap test.  Raises BookError."""
    about = _about(book, machine, cutter, recording)
    text = to_json(findings)
    row = TapRow(
        uid=uid_of("taps", text, *about.values()),
        findings_json=text,
        schema_version=findings.schema_version,
        tapped_at=now(),
        what=findings.what or "",
        **about,
    )
    return book.add(row)


def add_compare(
    book: Book,
    title: str,
    sentence: str,
    result: Any,
    recordings: Sequence[RecordingRow | Key],
    *,
    schema_version: int,
) -> CompareRow:
    """Store a comparison.

    Parameters
    ----------
    title, sentence : str
        What was compared, and the verdict in one sentence.
    result : object
        Plain data or dataclasses, written by ``chatter.plain.to_json``.
    recordings : sequence of row, number or hash
        Those of the book that were compared.
    schema_version : int
        Of ``result``.

    Raises
    ------
    BookError
    """
    uids = [book.get(RecordingRow, one).uid for one in recordings]
    text = to_json(result, indent=None)
    row = CompareRow(
        uid=uid_of("compare", uids, text),
        title=title,
        sentence=sentence,
        result_json=text,
        schema_version=schema_version,
        recordings=json.dumps(uids),
    )
    return book.add(row)
