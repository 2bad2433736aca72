"""Speed or tooth count that were not stated, found by the sound.

What is not stated is sought among the speeds of the machine, or among counts of teeth.  Where the
sound does not tell, the likeliest is guessed, so that the rest can be measured; no verdict that
needs the number is given on a guess.
"""

from __future__ import annotations

from dataclasses import dataclass

from chatter.errors import JobError
from chatter.findings import Numbers
from chatter.job.build import Statement, job_of
from chatter.job.cut import Job
from chatter.listening.measured import stated_span
from chatter.listening.numbers import FOUND, find_both, find_speed, find_teeth
from chatter.listening.rates import Rates, measure_rates
from chatter.listening.track import Track
from chatter.sound.intake import Sound

#: The numbers that may be left out.
_NUMBERS = ("cut.speed", "cutter.teeth")
#: Where the sound holds nothing at all, the rest is measured as if it were so many.
_ANY_TEETH = 20


@dataclass(frozen=True)
class FoundJob:
    """A whole job, and where its numbers come from."""

    job: Job
    numbers: Numbers | None  # None: both were stated


def sought_numbers(values: Statement) -> tuple[str, ...]:
    """Names of the numbers that a read statement leaves to the sound."""
    return tuple(key for key in _NUMBERS if values.get(key) is None)


def find_job(sound: Sound, values: Statement) -> FoundJob:
    """The job of a read statement in which speed, tooth count or both may be missing.

    Parameters
    ----------
    sound : Sound
        The recording, as ``chatter.listening.front.taken_in`` yields it.
    values : dict
        As ``chatter.job.build.read_statement`` gives them.

    Raises
    ------
    JobError
        No speed is stated and none are listed to choose from, or the rest cannot be.
    """
    whole = supposed_job(values)
    if not sought_numbers(values):
        return FoundJob(whole, None)
    speed, teeth = values.get("cut.speed"), values.get("cutter.teeth")
    listed = tuple(values.get("machine.speeds") or ())
    rates = _rates(sound, whole)
    numbers, speed, teeth = _sought(rates, speed, teeth, listed)
    job = job_of({**values, "cut.speed": speed, "cutter.teeth": teeth})
    return FoundJob(job, numbers)


def supposed_job(values: Statement) -> Job:
    """The job of a read statement; a missing speed is the first of the machine's, and a missing
    count one tooth, until the sound is asked.  What cannot be is best refused by it before a
    recording is taken in.

    Raises
    ------
    JobError
        No speed is stated and none are listed to choose from, or the rest cannot be.
    """
    speed, listed = values.get("cut.speed"), tuple(values.get("machine.speeds") or ())
    if speed is None and not listed:
        raise JobError(
            "The spindle speed is missing: read it off the machine and state it, for example "
            "--rpm 57, or state all speeds of the machine, --speeds '40, 57, 80'."
        )
    teeth = values.get("cutter.teeth")
    return job_of(
        {
            **values,
            "cut.speed": listed[0] if speed is None else speed,
            "cutter.teeth": 1 if teeth is None else teeth,
        }
    )


def _sought(
    rates: Rates, speed: float | None, teeth: int | None, listed: tuple[float, ...]
) -> tuple[Numbers, float, int]:
    if speed is not None:
        counts = find_teeth(rates, speed)
        count = counts[0].teeth if counts else _ANY_TEETH
        sure = bool(counts) and counts[0].probability >= FOUND
        return Numbers(teeth="found" if sure else "guessed", counts=counts), speed, count
    middle = listed[len(listed) // 2]
    if teeth is not None:
        speeds = find_speed(rates, teeth, listed)
        sure = len(listed) == 1 or (bool(speeds) and speeds[0].probability >= FOUND)
        best = speeds[0].rev_min if speeds else middle
        return Numbers("found" if sure else "guessed", speeds=speeds), best, teeth
    speeds, counts = find_both(rates, listed)
    best = speeds[0].rev_min if speeds else middle
    count = counts[0].teeth if counts else _ANY_TEETH
    return Numbers("guessed", "guessed", speeds=speeds, counts=counts), best, count


def _rates(sound: Sound, job: Job) -> Rates:
    assert sound.frames is not None, "it was taken in with them"
    track = Track.of(sound.spool)
    return measure_rates(track, sound.frames, stated_span(track, job))
