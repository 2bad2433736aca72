"""Listens of the book: what was found in a recording, with the job it was heard under."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from chatter.findings import Findings
from chatter.job.cut import Job
from chatter.logbook.book import Book, now
from chatter.logbook.cards import add_job, uid_of
from chatter.logbook.recordings import enter_recording, ready
from chatter.logbook.rows import CutterRow, JobRow, ListenRow, MachineRow, RecordingRow
from chatter.plain import to_json


@dataclass(frozen=True)
class Logged:
    """A listen with the recording it heard and the job it was told."""

    recording: RecordingRow
    job: JobRow
    listen: ListenRow


def store_listen(
    book: Book,
    path: str | Path,
    job: Job,
    findings: Findings,
    *,
    machine: MachineRow | str | None = None,
    cutter: CutterRow | str | None = None,
    **stated: Any,
) -> Logged:
    """Store a recording, its job and what was found, all or nothing.

    The same findings on the same recording and job are stored once.

    Parameters
    ----------
    book : Book
    path : path
        The recording.
    job : Job
    findings : Findings
    machine, cutter : row, name or number, optional
        Those of the book.
    **stated
        As in ``add_recording``: copy, kind, phone, position, hours, recorded_at ...

    Raises
    ------
    BookError
    """
    row = ready(
        book,
        path,
        machine=machine,
        duration_s=findings.source.duration_s,
        simulated=findings.simulated,
        **stated,
    )
    with book.writing():
        recording = enter_recording(book, row)
        stored = add_job(book, job, machine=machine, cutter=cutter)
        listen = add_findings(book, recording, stored, findings)
        return Logged(recording, stored, listen)


def add_findings(book: Book, recording: RecordingRow, job: JobRow, findings: Findings) -> ListenRow:
    """Store what was found in a recording of the book under a job of the book.

    Raises BookError.
    """
    text = to_json(findings, indent=None)
    row = ListenRow(
        uid=uid_of("listen", recording.uid, job.uid, text),
        recording=recording.uid,
        job=job.uid,
        findings_json=text,
        schema_version=findings.schema_version,
        made_by=findings.made_by,
        verdict=findings.verdict,
        confidence=findings.confidence,
        heard_at=now(),
    )
    return book.add(row)


def latest_listens(
    book: Book,
    *,
    machine: MachineRow | str | None = None,
    cutter: CutterRow | str | None = None,
    kind: str | None = None,
) -> Iterator[Logged]:
    """Each recording with its newest listen, in the order they were recorded.

    Recordings that were never listened to are left out.

    Parameters
    ----------
    book : Book
    machine, cutter : row, name or number, optional
        Only of this machine (of the recording or of its job), only with this cutter.
    kind : str, optional
        Only recordings of this kind, "cut", "idle" ...

    Raises
    ------
    BookError
    """
    on = None if machine is None else book.get(MachineRow, machine).uid
    by = None if cutter is None else book.get(CutterRow, cutter).uid
    recordings = book.list(RecordingRow) if kind is None else book.list(RecordingRow, kind=kind)
    for recording in sorted(recordings, key=lambda one: (one.recorded_at or "", one.number)):
        newest = list(
            book.db_rows(
                ListenRow,
                "uid = (SELECT uid FROM listens WHERE recording = ? "
                "ORDER BY heard_at DESC, number DESC LIMIT 1)",
                (recording.uid,),
            )
        )
        if not newest:
            continue
        job = book.get(JobRow, newest[0].job)
        if on is not None and on not in (recording.machine, job.machine):
            continue
        if by is not None and by != job.cutter:
            continue
        yield Logged(recording, job, newest[0])
