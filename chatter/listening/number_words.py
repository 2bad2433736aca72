"""What is said where speed or tooth count do not fit or are not known, and what rests on them."""

from __future__ import annotations

from dataclasses import replace

from chatter.findings import Numbers
from chatter.job.cut import Job
from chatter.listening.judging import Opinion, judge
from chatter.listening.numbers import FOUND, GUESSED, HELD


def opinion_of(
    probabilities: dict[str, float],
    *,
    revolutions: float,
    turn_s: float,
    wrong: str | None,
    unfit: str | None,
    numbers: Numbers,
    compared: bool = True,
) -> Opinion:
    """The opinion on one pass, as far as the numbers carry it.

    That nothing cuts is said where they are guessed too, but as a weak hint only.
    """
    judged = judge(
        probabilities, revolutions=revolutions, turn_s=turn_s, contradiction=wrong, unfit=unfit,
        compared=compared,
    )  # fmt: skip
    if "guessed" in (numbers.speed, numbers.teeth):
        free = judge(
            probabilities, revolutions=revolutions, turn_s=turn_s, contradiction=None, unfit=unfit
        )
        if free.verdict == "machine_only":
            return replace(free, confidence=min(free.confidence, GUESSED))
    return _held(judged, numbers)


def _held(opinion: Opinion, numbers: Numbers) -> Opinion:
    """No verdict is confident where other numbers fit the sound better: with wrong ones a cut may
    even sound like the machine alone.  None is surer than the numbers that it rests on."""
    most = HELD if numbers.held else 1.0
    if numbers.speed == "found" and numbers.speeds:
        most = min(most, numbers.speeds[0].probability)
    if numbers.teeth == "found" and numbers.counts:
        most = min(most, numbers.counts[0].probability)
    return replace(opinion, confidence=min(opinion.confidence, most))


def guess_sentence(numbers: Numbers) -> str | None:
    """Which number to read off machine or cutter, where it was not stated and is not heard."""
    asked = []
    if numbers.speed == "guessed":
        likely = _likely(_speeds(numbers))
        asked.append(f"the spindle speed off the machine (--rpm){likely}")
    if numbers.teeth == "guessed":
        likely = _likely(_counts(numbers))
        asked.append(f"the number of teeth off the cutter (--teeth){likely}")
    if not asked:
        return None
    return f"The sound alone does not settle it. Read {'; and '.join(asked)}."


def _speeds(numbers: Numbers) -> str:
    """The likeliest speeds of the machine, "57 (0.91), 80 (0.06)"; "" where none are told."""
    return ", ".join(f"{one.rev_min:g} ({one.probability:.2f})" for one in numbers.speeds[:3])


def _counts(numbers: Numbers) -> str:
    """The likeliest counts of teeth, "48 (0.95), 47 (0.03)"; "" where none are told."""
    return ", ".join(f"{one.teeth} ({one.probability:.2f})" for one in numbers.counts[:3])


def _likely(ranked: str) -> str:
    return f"; likeliest by the sound: {ranked}" if ranked else ""


def doubt_sentence(job: Job, numbers: Numbers) -> str | None:
    """What to say where another speed or another count fits far better."""
    stated, teeth = job.cut.speed_rev_min, job.cutter.teeth
    if numbers.rev_min is not None and numbers.rev_min not in job.machine.speeds_rev_min:
        return _any_speed_sentence(job, numbers.rev_min)
    if numbers.rev_min is not None and numbers.count is not None:
        return (
            f"The sound does not fit {stated:g} rev/min with {teeth} teeth; "
            f"{numbers.rev_min:g} rev/min would fit, or {numbers.count} teeth: read the lever and "
            "count the teeth again."
        )
    if numbers.rev_min is not None:
        return (
            f"The sound fits {numbers.rev_min:g} rev/min, not {stated:g}: look where the lever "
            "stands."
        )
    if numbers.count is not None:
        return f"The sound fits {numbers.count} teeth, not {teeth}: count them again."
    return None


def _any_speed_sentence(job: Job, fits_rev_min: float) -> str:
    """What to say where a speed fits far better that nobody lists: it may be the teeth, too."""
    stated, teeth = job.cut.speed_rev_min, job.cutter.teeth
    would = teeth * fits_rev_min / stated
    return (
        f"The sound fits another speed or tooth count better than the stated ones: the teeth pass "
        f"at {teeth * fits_rev_min / 60.0:.1f} Hz, which {stated:g} rev/min and {teeth} teeth do "
        f"not give. Check the speed ({fits_rev_min:.0f} rev/min would fit) or the tooth count "
        f"(about {would:.0f} would fit)."
    )


def heard_sentences(job: Job, numbers: Numbers) -> tuple[str, ...]:
    """What the sound alone says of speed and teeth, where it says something worth knowing."""
    said = []
    speeds, counts = _speeds(numbers), _counts(numbers)
    if numbers.speed == "found":
        said.append(
            f"The speed was not stated: of the machine's own, the sound fits "
            f"{job.cut.speed_rev_min:g} rev/min ({speeds})."
        )
    elif numbers.speed == "stated" and numbers.held and numbers.speeds:
        said.append(f"Of the machine's speeds the sound alone fits, in this order: {speeds}.")
    if numbers.teeth == "found":
        said.append(
            f"The number of teeth was not stated: by the sound it is {job.cutter.teeth} ({counts})."
        )
    elif (
        numbers.teeth == "stated"
        and numbers.counts
        and (numbers.held or numbers.counts[0].probability >= FOUND)
    ):
        said.append(f"Teeth counted by ear, at {job.cut.speed_rev_min:g} rev/min: {counts}.")
    return tuple(said)
