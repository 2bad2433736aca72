"""Whether a recording can be of any use, before it goes into the log."""

from __future__ import annotations

from chatter.errors import JobError, RecordingError
from chatter.runin.entries import Entry
from chatter.runin.idle import SHORTEST_S
from chatter.sound.fitness import judge_fitness
from chatter.sound.intake import take_in


def check_take(entry: Entry) -> None:
    """Refuse what could never be used: no sound, next to nothing in it, or too short.

    It is said on the day of the recording, when another can still be made.

    Parameters
    ----------
    entry : Entry
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
