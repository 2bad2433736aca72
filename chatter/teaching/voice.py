"""From idle recordings of the book to the machine's own voice.

Each recording is heard once; its lines are kept in the book beside it.  Which lines keep their
order and which their frequency shows when the machine was recorded at two speeds or more.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from chatter.errors import BookError, ChatterError
from chatter.job.machine import Machine
from chatter.job.voice import KnownLine, MachineVoice, VoiceStep
from chatter.listening.stamp import made_by
from chatter.logbook import Book, JobRow, ListenRow, MachineRow, RecordingRow, VoiceRow
from chatter.plain import from_plain
from chatter.runin.book import idle_entries
from chatter.runin.entries import LogEntry

#: Lines of two recordings are the same within this part of their frequency, and this many Hz.
_SAME, _SAME_HZ = 2e-3, 0.7
#: No more lines of one recording are kept, the loudest.
MOST_LINES = 40


@dataclass(frozen=True)
class IdleVoice:
    """One idle recording at one speed, as it is kept."""

    rev_min: float
    spindle_hz: float
    heard: bool
    lines: tuple[tuple[float, float], ...]  # (frequency [Hz], dB over the floor)

    @classmethod
    def from_text(cls, text: str) -> IdleVoice:
        """From what the book keeps."""
        return from_plain(cls, json.loads(text))

    @property
    def text(self) -> str:
        """What the book keeps."""
        return json.dumps(
            {
                "rev_min": self.rev_min,
                "spindle_hz": round(self.spindle_hz, 5),
                "heard": self.heard,
                "lines": [[round(f, 3), round(db, 1)] for f, db in self.lines],
            }
        )


def hear_voice(
    path: Path, rev_min: float, machine: Machine, span_s: tuple[float, float] | None = None
) -> IdleVoice:
    """Listen to one idle recording.

    Parameters
    ----------
    path : Path
    rev_min : float
        As dialled.
    machine : Machine
        Its gears and bearings tell where the speed can be read.
    span_s : (float, float), optional

    Raises
    ------
    RecordingError
        It cannot be heard, or is too short.
    """
    from chatter.runin.idle import hear_idle
    from chatter.runin.orders import expected_lines
    from chatter.runin.turning import spindle_heard

    idle = hear_idle(path, spindle_hz=rev_min / 60.0, span_s=span_s)
    orders = sorted({0.5 * (one.low + one.high) for one in expected_lines(machine)})
    turning = spindle_heard(idle.sound, rev_min / 60.0, orders, mains_hz=machine.mains_hz)
    loudest = sorted(idle.lines, key=lambda one: -one.above_floor_db)[:MOST_LINES]
    lines = sorted((one.frequency_hz, one.above_floor_db) for one in loudest)
    return IdleVoice(rev_min, turning.spindle_hz, turning.heard, tuple(lines))


@dataclass(frozen=True)
class _Heard:
    """One idle recording with when and how it was made."""

    entry: LogEntry
    number: int
    voice: IdleVoice


def voice_of(
    book: Book,
    machine: MachineRow,
    *,
    phone: str = "",
    position: str = "",
    keep: bool = True,
) -> MachineVoice | None:
    """The voice of a machine of the book; None without an idle recording that can be heard.

    Parameters
    ----------
    book : Book
    machine : MachineRow
    phone, position : str
        Of the cut that will be held against it: levels count only where both are the same.
    keep : bool
        Keep in the book what was heard for the first time; False for a book that is only read.

    Raises
    ------
    BookError
    """
    heard = []
    for row, entry in _idles(book, machine):
        voice = _known(book, row, entry, machine.machine, keep)
        if voice is not None:
            heard.append(_Heard(entry, row.number, voice))
    if not heard:
        return None
    steps = _steps(heard, phone, position)
    return MachineVoice(machine.name, _sorted_out(steps))


def _idles(book: Book, machine: MachineRow) -> list[tuple[RecordingRow, LogEntry]]:
    """Idle recordings of a machine whose speed is known, with each its entry of the log."""
    idles = []
    for row in book.list(RecordingRow, kind="idle", machine=machine):
        try:
            idles += [(row, entry) for entry in idle_entries(book, row, _listened(book, row))]
        except BookError:  # its file is gone; the others still count
            continue
    return idles


def _listened(book: Book, row: RecordingRow) -> float | None:
    """The speed of the job that an idle recording was listened to under."""
    listens = book.list(ListenRow, recording=row)
    return book.get(JobRow, listens[-1].job).job.cut.speed_rev_min if listens else None


def _known(
    book: Book, row: RecordingRow, entry: LogEntry, machine: Machine, keep: bool
) -> IdleVoice | None:
    """What is known of one recording at one speed; heard now when it was not yet."""
    for stored in book.list(VoiceRow, recording=row):
        if abs(stored.rev_min - float(entry.rev_min or 0.0)) < 1e-6:
            return IdleVoice.from_text(stored.voice_json)
    if entry.file is None or entry.rev_min is None:
        return None
    try:
        voice = hear_voice(entry.file, entry.rev_min, machine, entry.span_s)
    except ChatterError:  # too short or damaged: it says nothing of the machine
        return None
    if keep:
        book.add(
            VoiceRow(
                recording=row.uid,
                rev_min=voice.rev_min,
                made_by=made_by(),
                voice_json=voice.text,
            )
        )
    return voice


def _steps(heard: Sequence[_Heard], phone: str, position: str) -> list[VoiceStep]:
    """Recordings of one dialled speed put together, line by line."""
    by_speed: dict[float, list[_Heard]] = {}
    for recording in sorted(heard, key=lambda each: each.entry.day):
        by_speed.setdefault(recording.voice.rev_min, []).append(recording)
    return [_step(rev_min, of, phone, position) for rev_min, of in sorted(by_speed.items())]


def _step(rev_min: float, of: Sequence[_Heard], phone: str, position: str) -> VoiceStep:
    like = [recording for recording in of if _same(recording.entry, phone, position)]
    newest = next((recording for recording in reversed(of) if recording.voice.heard), of[-1]).voice
    lines: list[KnownLine] = []
    for recording in of:
        day = recording.entry.day.isoformat()
        voice = recording.voice
        scale = newest.spindle_hz / voice.spindle_hz if newest.heard and voice.heard else 1
        # another phone's levels count only while there are no own
        loud = not like or recording in like
        for hz, level in voice.lines:
            at = next((i for i, k in enumerate(lines) if _near(k.frequency_hz, hz, scale)), None)
            if at is None:
                lines.append(KnownLine(hz * scale, level, None, day))
                continue
            known = lines[at]
            most = max(known.above_floor_db, level) if loud else known.above_floor_db
            lines[at] = replace(known, above_floor_db=most, recordings=known.recordings + 1)
    return VoiceStep(
        rev_min=rev_min,
        spindle_hz=newest.spindle_hz,
        heard=newest.heard,
        lines=tuple(sorted(lines, key=lambda one: one.frequency_hz)),
        recordings=tuple(dict.fromkeys(one.number for one in of)),
        same_phone=bool(like) and len(like) == len(of),
    )


def _same(entry: LogEntry, phone: str, position: str) -> bool:
    return bool(phone) and entry.phone == phone and entry.place == position


def _near(known_hz: float, hz: float, scale: float) -> bool:
    reach = max(_SAME_HZ, _SAME * known_hz)
    return min(abs(known_hz - hz * scale), abs(known_hz - hz)) <= reach


def _sorted_out(steps: Sequence[VoiceStep]) -> tuple[VoiceStep, ...]:
    """Whether each line keeps its order or its frequency, where other steps tell.

    A line is said to turn with the spindle when every other step has one at its order and not
    all have one at its frequency, and the other way about; else it stays unknown.
    """
    told_apart = []
    for own in steps:
        others = [one for one in steps if abs(one.spindle_hz / own.spindle_hz - 1.0) > 0.03]
        lines = tuple(replace(line, turns=_turns(line, own, others)) for line in own.lines)
        told_apart.append(replace(own, lines=lines))
    return tuple(told_apart)


def _turns(line: KnownLine, own: VoiceStep, others: Sequence[VoiceStep]) -> bool | None:
    if not others:
        return None
    follows = sum(_has(one, line.frequency_hz * one.spindle_hz / own.spindle_hz) for one in others)
    stays = sum(_has(one, line.frequency_hz) for one in others)
    if follows == stays:
        return None
    return follows > stays


def _has(step: VoiceStep, hz: float) -> bool:
    reach = max(_SAME_HZ, _SAME * hz) * (1.0 if step.heard else 2.0)
    return any(abs(one.frequency_hz - hz) <= reach for one in step.lines)


def idle_for(book: Book, machine: MachineRow, rev_min: float) -> RecordingRow | None:
    """The newest idle recording of the book at a speed step, to hold a cut against.

    Raises BookError.
    """
    idles = [
        (entry.day, row.number, row)
        for row, entry in _idles(book, machine)
        if entry.span_s is None
        and entry.rev_min is not None
        and abs(entry.rev_min / rev_min - 1.0) < 0.03
    ]
    return max(idles, key=lambda one: one[:2])[2] if idles else None
