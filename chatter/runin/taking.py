"""Whether a recording can be of any use, before it goes into the log."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from chatter.errors import ChatterError, JobError, RecordingError
from chatter.job.machine import Machine
from chatter.runin.entries import LogEntry, sorted_entries
from chatter.runin.idle import SHORTEST_S, IdleSound, hear_idle
from chatter.runin.likeness import question
from chatter.sound.fitness import judge_fitness
from chatter.sound.intake import take_in

Hear = Callable[[LogEntry], IdleSound]

#: Of so many recordings before is it asked whether the new one sounds like them, the latest
#: first: at its own speed, and one at each other speed.
_SAME_SPEED, _OTHER_SPEEDS = 4, 4
_ANYWAY = "If it is right as it is, add it with --anyway."


def check_take(entry: LogEntry) -> None:
    """Refuse what could never be used: no sound, next to nothing in it, or too short.

    It is said on the day of the recording, when another can still be made.

    Parameters
    ----------
    entry : LogEntry
        One without a recording is left alone.

    Raises
    ------
    RecordingError
        The file cannot be heard, or holds too little.
    JobError
        The stretch lies outside the recording.
    """
    if entry.file is None:
        return
    sound = take_in(entry.file)
    try:
        length = sound.spool.duration_s
        faults = [each for each in judge_fitness(sound).complaints if each.fatal]
    finally:
        sound.spool.close()
    start, stop = entry.span_s or (0.0, length)
    if start >= length:
        raise JobError(
            f"The time span {start:g}-{stop:g} s lies outside the recording, which is "
            f"{length:.1f} s long: state a span inside it."
        )
    heard = min(stop, length) - start
    if entry.kind == "idle" and heard < SHORTEST_S:
        raise RecordingError(
            f"{entry.file.name} gives {heard:.1f} s of idling to hear: record at least "
            f"{SHORTEST_S:g} s at each speed, better 15 s."
        )
    if faults:
        raise RecordingError(f"{entry.file.name}: {faults[0].sentence} {faults[0].advice}")


def check_likeness(
    entry: LogEntry, machine: Machine, before: Sequence[LogEntry], *, hear: Hear | None = None
) -> None:
    """Ask whether a recording of idling sounds like this machine at this speed.

    Parameters
    ----------
    entry : LogEntry
        What is no idling is left alone.
    machine : Machine
    before : sequence of LogEntry
        The log so far; what cannot be heard in it is passed over.
    hear : callable, optional
        Instead of reading the entry's file.

    Raises
    ------
    JobError
        The question, and how to add the recording all the same.
    """
    if entry.kind != "idle" or entry.file is None or entry.rev_min is None:
        return
    listen = hear or _from_file
    sound = listen(entry)
    known = []
    for earlier in _asked(entry, before):
        try:
            known.append((earlier.rev_min or 0.0, listen(earlier)))
        except ChatterError:
            continue
    why = question(sound, entry.rev_min, known, machine.mains_hz)
    if why is not None:
        raise JobError(f"{entry.file.name}: {why} {_ANYWAY}")


def _from_file(entry: LogEntry) -> IdleSound:
    if entry.file is None:
        raise JobError(f"The idle entry of {entry.day.isoformat()} names no recording: add one.")
    return hear_idle(entry.file, spindle_hz=entry.spindle_hz, span_s=entry.span_s)


def _asked(entry: LogEntry, before: Sequence[LogEntry]) -> list[LogEntry]:
    """The latest few recordings at the same speed and one at each other, in the order of time."""
    idle = [one for one in sorted_entries(tuple(before)) if one.kind == "idle" and one.rev_min]
    own = [one for one in idle if one.rev_min == entry.rev_min][-_SAME_SPEED:]
    others = {one.rev_min: one for one in idle if one.rev_min != entry.rev_min}
    return [*list(others.values())[-_OTHER_SPEEDS:], *own]
