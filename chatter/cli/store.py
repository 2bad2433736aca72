"""What other commands have to do with the logbook: names of it in, results into it."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from chatter.errors import BookError, CardError

if TYPE_CHECKING:
    from chatter.findings import Findings
    from chatter.job.cut import Job
    from chatter.tapping.findings import TapFindings
    from chatter.teaching.telling import Taught


@dataclass(frozen=True)
class Parts:
    """The machine and the cutter stated by name or card."""

    texts: Mapping[str, str]  # section -> text of its card
    names: Mapping[str, str]  # section -> name in the book, where it was stated by that
    book: Path | None


def known_parts(machine: str | None, cutter: str | None, book: Path | None) -> Parts:
    """Cards of a machine and a cutter, each stated as a file or by its name in the logbook.

    Raises
    ------
    CardError
        It is neither a file nor in the logbook.
    """
    from chatter.job.cards import read_text

    texts: dict[str, str] = {}
    names: dict[str, str] = {}
    for section, stated in (("machine", machine), ("cutter", cutter)):
        if stated is None:
            continue
        if os.path.isfile(stated):  # unlike Path.is_file, also False for what can be no name
            texts[section] = read_text(stated)
        else:
            texts[section], names[section] = _of_book(section, stated, book)
    return Parts(texts, names, book)


def _of_book(section: str, stated: str, book: Path | None) -> tuple[str, str]:
    from chatter.logbook import CutterRow, MachineRow, open_book

    row: MachineRow | CutterRow
    try:
        with open_book(book, write=False) as opened:
            if section == "machine":
                row = opened.get(MachineRow, stated)
            else:
                row = opened.get(CutterRow, stated)
    except BookError as wrong:
        raise CardError(f"There is no card '{stated}'. {wrong}") from wrong
    # The name in the book, also where the card has another or none.
    return row.card, row.name


def taught_by(
    book: Path | None, parts: Parts, job: Job, *, phone: str, position: str
) -> Taught | None:
    """What the logbook has learned of the machine of a job; None where there is no book.

    A book that cannot be read costs no listen: then nothing is known.
    """
    from chatter.places import places

    if not places(book).book.is_file():  # most who listen keep none, and wait for no more
        return None

    from chatter.logbook import MachineRow, open_book
    from chatter.teaching.telling import Taught, taught

    name = parts.names.get("machine") or " ".join(job.machine.name.split())
    try:
        with open_book(book, write=False) as opened:
            rows = [one for one in opened.each(MachineRow) if one.name.lower() == name.lower()]
            machine = rows[0] if rows else None
            if name and machine is None:
                return Taught()
            return taught(opened, machine, job, phone=phone, position=position)
    except BookError:
        return Taught()


def store_and_say(
    file: Path,
    job: Job,
    findings: Findings,
    parts: Parts,
    written: Path | None,
    **stated: Any,
) -> str:
    """Store a listen and say so.

    Raises
    ------
    BookError
        It was not stored; the sentence says that the report is there all the same.
    """
    from chatter.logbook import open_book, store_listen
    from chatter.logbook.known import cutter_of_job, machine_of_job

    try:
        with open_book(parts.book) as book:
            machine = machine_of_job(book, job, parts.names.get("machine"))
            cutter = cutter_of_job(book, job, parts.names.get("cutter"))
            stored = store_listen(
                book, file, job, findings, machine=machine, cutter=cutter, **stated
            )
            place = book.path
    except BookError as wrong:
        safe = "" if written is None else f" The report is written all the same: {written}"
        raise BookError(f"Not stored in the logbook. {wrong}{safe}") from wrong
    by = "".join(
        f", {what} {row.name}" for what, row in (("machine", machine), ("cutter", cutter)) if row
    )
    return f"Logbook: recording {stored.recording.number}{by} in {place}"


def store_taps(files: Sequence[Path], findings: TapFindings, parts: Parts) -> str:
    """Store a tap test with its recordings and say so; it points at the first of them.

    Raises
    ------
    BookError
        It was not stored.
    """
    from chatter.logbook import add_recording, add_taps, open_book

    try:
        with open_book(parts.book) as book:
            machine, cutter = parts.names.get("machine"), parts.names.get("cutter")
            takes = [
                add_recording(book, each, kind="tap", machine=machine, simulated=findings.simulated)
                for each in files
            ]
            stored = add_taps(book, findings, machine=machine, cutter=cutter, recording=takes[0])
            return f"Logbook: tap test {stored.number} in {book.path}"
    except BookError as wrong:
        raise BookError(f"Not stored in the logbook. {wrong}") from wrong
