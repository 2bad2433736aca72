"""The logbook as text for a terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from datetime import datetime
from typing import TYPE_CHECKING

from chatter.errors import BookError

if TYPE_CHECKING:
    from rich.console import Console

    from chatter.logbook import Book, CutterRow, MachineRow, RecordingRow
    from chatter.trade.surface import Sign

#: How many recordings the overview lists.
_NEWEST = 20


def sign_lines(sign: Sign) -> list[str]:
    """A sign of a surface with what it says."""
    said = f"{sign.says} To make sure: {sign.check} ({sign.source})"
    wrapped = textwrap.wrap(said, 94, initial_indent="    ", subsequent_indent="    ")
    return [f"  {sign.title}  [{sign.name}]", *wrapped]


def print_overview(book: Book, screen: Console) -> None:
    """Machines, cutters and the newest recordings."""
    from chatter.logbook import CutterRow, MachineRow, RecordingRow

    _say(screen, f"Logbook: {book.path}")
    machines, cutters = book.list(MachineRow), book.list(CutterRow)
    if machines:
        _say(screen, "\nMachines")
    for row in machines:
        _say(screen, f"  {row.number:3d}  {row.name}{_after(_speeds(row.machine.speeds_rev_min))}")
    if cutters:
        _say(screen, "\nCutters")
    for cutter in cutters:
        _say(screen, f"  {cutter.number:3d}  {cutter.name}; {_cutter(book, cutter)}")
    takes = book.list(RecordingRow)
    if takes:
        older = "" if len(takes) <= _NEWEST else f", the newest {_NEWEST} of {len(takes)}"
        _say(screen, f"\nRecordings{older}")
    for take in takes[-_NEWEST:]:
        for line in _recording(book, take):
            _say(screen, line)
    if not (machines or cutters or takes):
        _say(screen, "It is empty. 'chatter listen FILE ... --log' stores a recording.")


def print_page(book: Book, what: str, which: str, screen: Console) -> None:
    """All there is on one thing.  Raises BookError."""
    from chatter.logbook import CutterRow, MachineRow, RecordingRow

    row: MachineRow | CutterRow | RecordingRow
    match what.lower().removesuffix("s"):
        case "machine":
            row = book.get(MachineRow, which)
        case "cutter":
            row = book.get(CutterRow, which)
        case "recording":
            row = book.get(RecordingRow, which)
        case _:
            raise BookError(f"'{what}' cannot be shown: name one of machine, cutter, recording.")
    _say(screen, f"{what.capitalize()} {row.number}: {row.name}")
    if isinstance(row, RecordingRow):
        _recording_page(book, row, screen)
    else:
        _say(screen, textwrap.indent(row.card.strip(), "    "))
        for line in _remarks(book, what, row.uid):
            _say(screen, line)
        _recordings_of(book, row, screen)
    if row.note:
        _say(screen, f"  note: {row.note}")


def record_page(book: Book, machine: str | None, screen: Console) -> None:
    """How often the program was right, on one machine or all.  Raises BookError."""
    from chatter.cli.log_teach import record_lines
    from chatter.logbook import MachineRow
    from chatter.teaching.record import record_of

    row = None if machine is None else book.get(MachineRow, machine)
    for line in record_lines(record_of(book, row)):
        _say(screen, line)


def _recordings_of(book: Book, row: MachineRow | CutterRow, screen: Console) -> None:
    from chatter.logbook import MachineRow, RecordingRow, RegrindRow, latest_listens

    if isinstance(row, MachineRow):
        takes = {one.recording.uid for one in latest_listens(book, machine=row)}
        takes |= {one.uid for one in book.each(RecordingRow, machine=row)}
    else:
        for each in book.each(RegrindRow, cutter=row):
            _say(screen, f"  reground on {each.ground_on}{_after(each.note)}")
        takes = {one.recording.uid for one in latest_listens(book, cutter=row)}
    shown = [one for one in book.each(RecordingRow) if one.uid in takes]
    if shown:
        _say(screen, "  Recordings")
    for take in shown:
        for line in _recording(book, take):
            _say(screen, line)


def _recording_page(book: Book, take: RecordingRow, screen: Console) -> None:
    from chatter.logbook import JobRow, LabelRow, ListenRow
    from chatter.logbook.labels import label_words

    for line in _recording(book, take):
        _say(screen, line)
    kept = book.places.files / take.place if take.keeping == "copy" else take.place
    facts = {
        "file": kept,
        "phone": take.phone,
        "where the phone lay": take.position,
        "running hours": "" if take.hours is None else f"{take.hours:g}",
        "sha256": take.sha256,
    }
    for name, value in facts.items():
        if value:
            _say(screen, f"  {name}: {value}")
    for heard in book.each(ListenRow, recording=take):
        job = book.get(JobRow, heard.job).job
        stated = f"{job.cut.speed_rev_min:g} rev/min, {job.cutter.teeth} teeth"
        _say(screen, f"  heard {_when(heard.heard_at)} by {heard.made_by}, stated {stated}:")
        for line in textwrap.wrap(heard.findings.summary, 94):
            _say(screen, f"    {line}")
    for label in book.each(LabelRow, recording=take):
        of = "" if label.pass_index is None else f" (pass {label.pass_index})"
        _say(screen, f"  {label_words(label)}{of}")
    for line in _remarks(book, "recording", take.uid):
        _say(screen, line)


def _remarks(book: Book, what: str, uid: str) -> Iterator[str]:
    """Notes, surface signs, taps and photographs of one thing."""
    from chatter.logbook import NoteRow, PhotoRow, SurfaceRow, TapRow
    from chatter.trade.surface import sign_of

    for note in book.each(NoteRow, **{what: uid}):
        yield f"  note {note.number}, {_when(note.created_at)}: {note.text}"
    for seen in book.each(SurfaceRow, **{what: uid}):
        face = f" ({seen.face})" if seen.face else ""
        sign = sign_of(seen.sign)
        yield f"  surface {seen.number}{face}: {sign.title}. {sign.says}"
    for tap in book.each(TapRow, **{what: uid}):
        modes = ", ".join(f"{mode.frequency_hz:.0f} Hz" for mode in tap.found.modes)
        yield f"  tap {tap.number}{_after(tap.what, ' on the ')}: {modes or 'no modes'}"
    for photo in book.each(PhotoRow, **{what: uid}):
        place = book.places.files / photo.place
        yield f"  photo {photo.number}: {photo.caption or photo.name}, {place}"


def _recording(book: Book, take: RecordingRow) -> list[str]:
    """One recording in two lines: what it is; what was heard and what it really was."""
    from chatter.logbook import CutterRow, JobRow, LabelRow, ListenRow, MachineRow

    listens = book.list(ListenRow, recording=take)
    parts = [take.name]
    if take.kind != "cut":
        parts.append(take.kind)
    job = book.get(JobRow, listens[-1].job) if listens else None
    on = take.machine or (job and job.machine)
    if on:
        parts.append(book.get(MachineRow, on).name)
    if job and job.cutter:
        parts.append(book.get(CutterRow, job.cutter).name)
    if take.hours is not None:
        parts.append(f"{take.hours:g} h")
    if take.simulated:
        parts.append("simulated")
    when = _when(take.recorded_at) if take.recorded_at else " " * 16
    lines = [f"  {take.number:3d}  {when}  {', '.join(parts)}"]
    said = []
    if listens:
        from chatter.report.words import VERDICT_WORDS

        sure = "" if listens[-1].verdict == "cannot_tell" else f" {listens[-1].confidence:.2f}"
        said.append(f"heard: {VERDICT_WORDS[listens[-1].verdict][0]}{sure}")
    said += [
        f"really: {_words(label.verdict)}" for label in book.list(LabelRow, recording=take)[-1:]
    ]
    return [*lines, f"       {'; '.join(said)}"] if said else lines


def _cutter(book: Book, row: CutterRow) -> str:
    from chatter.logbook import RegrindRow

    cutter = row.cutter
    said = f"{cutter.teeth} teeth"
    if cutter.form:
        said += f", {_words(cutter.form)}"
    ground = book.list(RegrindRow, cutter=row)
    return said if not ground else f"{said}; reground {max(one.ground_on for one in ground)}"


def _speeds(speeds: tuple[float, ...]) -> str:
    return f"{len(speeds)} speeds, {speeds[0]:g} to {speeds[-1]:g} rev/min" if speeds else ""


def _after(text: str, sign: str = "; ") -> str:
    return f"{sign}{text}" if text else ""


def _words(key: str) -> str:
    return key.replace("_", " ")


def _when(stamp: str) -> str:
    """A stored time as the clock on the wall shows it."""
    return datetime.fromisoformat(stamp).astimezone().strftime("%Y-%m-%d %H:%M")


def _say(screen: Console, line: str) -> None:
    screen.print(line, markup=False, soft_wrap=True)
