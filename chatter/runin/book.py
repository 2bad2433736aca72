"""The run-in log out of the logbook, and into it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path

from chatter.errors import JobError
from chatter.job.times import parse_span, show_span
from chatter.logbook import (
    Book,
    MachineRow,
    RecordingRow,
    SurfaceRow,
    add_recording,
    add_surface,
    file_of,
    latest_listens,
)
from chatter.runin.entries import LogEntry
from chatter.runin.folder import Log, entry_of
from chatter.runin.state import read_state, show_state
from chatter.runin.tightness import JudgedCut, cut_of

#: How the speed of idling stands in the note of a recording: "idling at 268 rev/min", and with
#: the stretch of a long one, "idling at 57 rev/min from 0-15".
_IDLING = re.compile(r"idling at ([\d.]+) rev/min(?: from (\S+-\S+?)(?=[;\s]|$))?")
#: How the state of the machine stands there: "[front bearing=41 C; oil changed=yes]".
_STATE = re.compile(r"\[([^\[\]]*=[^\[\]]*)\]")


def load_book(book: Book, machine: str) -> tuple[Log, dict[int, JudgedCut]]:
    """The log of one machine of the book.

    Idle recordings count when their speed is known: from the note that ``add_to_book`` wrote,
    or from the job under which they were listened to.  Of a cut the newest listen is taken.

    Parameters
    ----------
    book : Book
    machine : str
        Its name or number.

    Returns
    -------
    log : Log
    cuts : dict of int to JudgedCut
        What was found in each cut, by its place among the entries.

    Raises
    ------
    BookError
    """
    row = book.get(MachineRow, machine)
    heard = {listen.recording.uid: listen for listen in latest_listens(book, machine=row)}
    entries: list[LogEntry] = []
    cuts: dict[int, JudgedCut] = {}
    simulated = False
    for recording in book.list(RecordingRow):
        listen = heard.get(recording.uid)
        if recording.machine != row.uid and listen is None:
            continue
        if recording.kind == "idle":
            speed = None if listen is None else listen.job.job.cut.speed_rev_min
            entries_here = idle_entries(book, recording, speed)
            entries += entries_here
            simulated |= recording.simulated and bool(entries_here)
        elif recording.kind == "cut" and listen is not None:
            entry = _base(book, recording, "cut", listen.job.job.cut.speed_rev_min)
            name = listen.job.job.cutter.name
            cuts[len(entries)] = cut_of(entry, listen.listen.findings, name)
            entries.append(entry)
            simulated |= recording.simulated
    for sign in book.list(SurfaceRow, machine=row):
        day = datetime.fromisoformat(sign.seen_on or sign.created_at[:10]).date()
        note = ", ".join(text for text in (sign.face, sign.note) if text)
        entries.append(LogEntry("surface", day, note=note, sign=sign.sign))
    return Log(row.machine, tuple(entries), simulated), cuts


def idle_entries(book: Book, recording: RecordingRow, speed: float | None = None) -> list[LogEntry]:
    """An idle recording as entries of the log, one a speed; none when no speed is known.

    Parameters
    ----------
    book : Book
    recording : RecordingRow
    speed : float, optional
        Of the job it was listened to under; what the note says comes first.

    Raises
    ------
    BookError
        Its file is gone.
    """
    stated = [(float(s), span) for s, span in _IDLING.findall(recording.note)]
    if not stated:
        return [] if speed is None else [_base(book, recording, "idle", speed)]
    return [
        _base(book, recording, "idle", rev_min, parse_span(span) if span else None)
        for rev_min, span in stated
    ]


def _base(
    book: Book,
    recording: RecordingRow,
    kind: str,
    speed: float,
    span: tuple[float, float] | None = None,
) -> LogEntry:
    when = datetime.fromisoformat(recording.recorded_at or recording.created_at).astimezone()
    state = _STATE.search(recording.note)
    return LogEntry(
        kind, when.date(), recording.hours, file_of(book, recording), speed, recording.phone,
        recording.position, recording.note, span, state=read_state(state[1]) if state else (),
    )  # fmt: skip


def add_to_book(book: Book, machine: str, row: Mapping[str, str], *, copy: bool = True) -> LogEntry:
    """Store an idle recording or a surface note.

    Cuts are stored by ``chatter listen --log``, with what was found in them.

    Raises
    ------
    JobError, BookError
    """
    entry = entry_of(row, Path())
    if entry.kind == "cut":
        raise JobError(
            "A cut goes into the logbook with what is found in it: use 'chatter listen --log'."
        )
    if entry.kind == "state":
        raise JobError(
            "The state of the machine goes into the logbook beside a recording of idling: name "
            "its file too."
        )
    if entry.kind == "surface":
        add_surface(
            book, entry.sign, seen_on=entry.day.isoformat(), machine=machine, note=entry.note
        )
        return entry
    assert entry.file is not None and entry.rev_min is not None
    span = "" if entry.span_s is None else f" from {show_span(entry.span_s)}"
    said = f"idling at {entry.rev_min:g} rev/min{span}"
    with book.writing():
        there = add_recording(
            book,
            entry.file,
            copy=copy,
            kind="idle",
            machine=machine,
            phone=entry.phone,
            position=entry.place,
            hours=entry.hours,
            recorded_at=entry.day.isoformat(),
            simulated=row.get("simulated", "") == "yes",
        )
        parts = [text for text in (there.note, entry.note) if text]
        if said not in there.note:
            stated = f" [{show_state(entry.state)}]" if entry.state else ""
            book.update(there, note="; ".join([*parts, said]) + stated)
    return entry
