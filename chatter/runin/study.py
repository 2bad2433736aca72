"""The front door of the run-in: a machine and its log in, what is known of it out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from chatter.errors import ChatterError
from chatter.job.machine import Machine
from chatter.runin.entries import LogEntry, by_speed, sorted_entries
from chatter.runin.idle import IdleSound, hear_idle
from chatter.runin.items import FollowedItem, items_of, speed_orders
from chatter.runin.likeness import question
from chatter.runin.measuring import measure_items, strong_harmonics
from chatter.runin.parts import PartVerdict, judge_parts
from chatter.runin.plan import PlanStep, guided_list
from chatter.runin.series import BASELINE_DATES, Recorded
from chatter.runin.state import marks_since
from chatter.runin.survey import Survey, SurveyedSpeed, survey
from chatter.runin.tightness import Hint, JudgedCut, hints
from chatter.runin.trends import Trend, trends
from chatter.runin.turning import IdleSpeed, spindle_heard

Hear = Callable[[LogEntry], IdleSound]
HearCut = Callable[[LogEntry], JudgedCut]
Progress = Callable[[float, str], None]

#: A line of the survey that no card names is followed when it stands out this far [dB].
_FOLLOWED_DB = 12.0


@dataclass(frozen=True)
class Skipped:
    """A line of the log that could not be used, and why."""

    entry: LogEntry
    reason: str


@dataclass(frozen=True)
class RunIn:
    """Everything known of a machine that is run in.

    Attributes
    ----------
    machine : Machine
    entries : tuple of LogEntry
        The log, in the order of time.
    survey : Survey or None
        None with fewer than three speeds.
    items : tuple of FollowedItem
        What is followed.
    trends : tuple of Trend
    parts : tuple of PartVerdict
        The same, a verdict a part, the worst first.
    cuts : tuple of JudgedCut
    hints : tuple of Hint
    steps : tuple of PlanStep
        The guided list.
    skipped : tuple of Skipped
    simulated : bool
    questions : tuple of Skipped
        Recordings that do not sound like this machine idling at this speed, and what is asked
        of them; they are used all the same.
    """

    machine: Machine
    entries: tuple[LogEntry, ...]
    survey: Survey | None
    items: tuple[FollowedItem, ...]
    trends: tuple[Trend, ...]
    parts: tuple[PartVerdict, ...]
    cuts: tuple[JudgedCut, ...]
    hints: tuple[Hint, ...]
    steps: tuple[PlanStep, ...]
    skipped: tuple[Skipped, ...] = ()
    simulated: bool = False
    questions: tuple[Skipped, ...] = ()


def study(
    machine: Machine,
    entries: Sequence[LogEntry],
    *,
    hear: Hear | None = None,
    hear_cut: HearCut | None = None,
    progress: Progress | None = None,
    simulated: bool = False,
) -> RunIn:
    """Hear every recording of the log and say what changed.

    Parameters
    ----------
    machine : Machine
    entries : sequence of LogEntry
    hear : callable, optional
        Instead of reading the entry's file.
    hear_cut : callable, optional
        What a cut was judged as; without it cuts are left out.
    progress : callable, optional
    simulated : bool
        Label everything as simulated.
    """
    log = sorted_entries(tuple(entries))
    listen = hear or _from_file
    skipped: list[Skipped] = []
    sounds: dict[int, IdleSound] = {}
    cuts: list[JudgedCut] = []
    for at, entry in enumerate(log):
        if progress is not None:
            progress(at / max(1, len(log)), entry.file.name if entry.file else entry.kind)
        try:
            if entry.kind == "idle":
                sounds[at] = _heard(entry, listen)
            elif entry.kind == "cut" and hear_cut is not None:
                cuts.append(hear_cut(entry))
        except ChatterError as wrong:
            skipped.append(Skipped(entry, str(wrong)))
    idle = [(log[at], sound) for at, sound in sounds.items()]
    surveyed = survey_of(machine, idle)
    items = items_of(machine, followed(surveyed))
    recorded = measure_recordings(machine, items, idle)
    asked = questions(machine, idle)
    trended = _unless_asked(trends(recorded, items), idle, asked)
    return RunIn(
        machine,
        log,
        surveyed,
        items,
        trended,
        _beside_the_log(judge_parts(trended), log),
        tuple(cuts),
        hints(cuts, log),
        guided_list(machine, log),
        tuple(skipped),
        simulated,
        asked,
    )


def questions(machine: Machine, idle: Sequence[tuple[LogEntry, IdleSound]]) -> tuple[Skipped, ...]:
    """Recordings that do not sound like those before them, or like no idling at all.

    A machine that was changed for good, by a new belt, is asked of until there are two dates of
    its new voice; from then on that is what others are held against.
    """
    asked: list[Skipped] = []
    before: list[tuple[float, IdleSound]] = []
    new: list[tuple[float, IdleSound]] = []
    for entry, sound in idle:
        speed = entry.rev_min or 0.0
        why = question(sound, speed, before, machine.mains_hz)
        if why is not None:
            alike = [one for one in new if one[0] == speed]
            if len(alike) >= 2 and question(sound, speed, alike, machine.mains_hz) is None:
                why, before = None, [one for one in before if one[0] != speed] + alike
        if why is not None:
            asked.append(Skipped(entry, why))
        first = all(known != speed for known, _ in before)
        (before if why is None or first else new).append((speed, sound))
    return tuple(asked)


def _beside_the_log(
    parts: Sequence[PartVerdict], log: Sequence[LogEntry]
) -> tuple[PartVerdict, ...]:
    """What got worse, with what the log tells of oil, warmth and work on the machine."""
    parts_beside = []
    for part in parts:
        since = min((one.since for one in part.trends if one.since), default=None)
        remark = marks_since(log, since) if part.verdict == "worse" else ""
        parts_beside.append(replace(part, sentence=part.sentence + remark) if remark else part)
    return tuple(parts_beside)


def _unless_asked(
    judged: Sequence[Trend],
    idle: Sequence[tuple[LogEntry, IdleSound]],
    asked: Sequence[Skipped],
) -> tuple[Trend, ...]:
    """Nothing is called the same or better by a date that may be another machine's.

    "Worse" stays: what is dangerous if true is said even where it is asked.
    """
    latest = max((entry.day for entry, _ in idle), default=None)
    why = next((trend.reason for trend in asked if trend.entry.day == latest), None)
    if why is None:
        return tuple(judged)
    return tuple(
        replace(trend, verdict="cannot_tell", since=None, reason=f"of {latest}: {why}")
        if trend.verdict in ("same", "better")
        else trend
        for trend in judged
    )


def _heard(entry: LogEntry, listen: Hear) -> IdleSound:
    from chatter.errors import JobError

    if entry.rev_min is None:
        raise JobError(
            f"The idle recording of {entry.day.isoformat()} has no spindle speed: state it."
        )
    return listen(entry)


def _from_file(entry: LogEntry) -> IdleSound:
    from chatter.errors import JobError

    if entry.file is None:
        raise JobError(f"The idle entry of {entry.day.isoformat()} names no recording: add one.")
    return hear_idle(entry.file, spindle_hz=entry.spindle_hz, span_s=entry.span_s)


def survey_of(machine: Machine, idle: Sequence[tuple[LogEntry, IdleSound]]) -> Survey | None:
    """The survey from the first recording of each speed; None with fewer than three."""
    sounds = {id(entry): sound for entry, sound in idle}
    first = [own[0] for own in by_speed(tuple(entry for entry, _ in idle)).values()]
    if len(first) < 3:
        return None
    orders = speed_orders(machine, ())
    heard = []
    for entry in first:
        sound = sounds[id(entry)]
        turning = spindle_heard(sound.sound, entry.spindle_hz, orders, mains_hz=machine.mains_hz)
        heard.append(SurveyedSpeed(entry.rev_min or 0.0, sound, turning))
    return survey(heard, machine)


def followed(surveyed: Survey | None) -> tuple:
    """Rays that the card does not name, strong enough to be followed from date to date."""
    if surveyed is None:
        return ()
    kept = []
    for named in surveyed.rays:
        levels = sorted(float(surveyed.speeds[i].level_db[j]) for i, j in named.ray.members)
        strong = levels[len(levels) // 2] >= _FOLLOWED_DB
        if strong and named.part in ("", "motor"):
            kept.append(named.ray)
    return tuple(kept)


def measure_recordings(
    machine: Machine, items: Sequence[FollowedItem], idle: Sequence[tuple[LogEntry, IdleSound]]
) -> list[Recorded]:
    """Everything followed, in every recording."""
    orders = speed_orders(machine, items)
    turnings = [
        spindle_heard(sound.sound, entry.spindle_hz, orders, mains_hz=machine.mains_hz)
        for entry, sound in idle
    ]
    heard = [(e, sound, turn) for (e, sound), turn in zip(idle, turnings, strict=True)]
    measured: dict[int, Recorded] = {}
    for speed in {entry.rev_min for entry, _ in idle}:
        own = [(at, one) for at, one in enumerate(heard) if one[0].rev_min == speed]
        heard_hz = [turn.spindle_hz for _, (_, _, turn) in own if turn.heard]
        usual = float(np.median(heard_hz)) if heard_hz else own[0][1][0].spindle_hz
        if heard_hz:
            own = [(at, _again(one, orders, machine, usual)) for at, one in own]
        first = sorted({entry.day for _, (entry, _, _) in own})[:BASELINE_DATES]
        base = [(sound, turn) for _, (entry, sound, turn) in own if entry.day in first]
        harmonics = strong_harmonics(base, machine)
        for at, (entry, sound, turn) in own:
            values = measure_items(sound, turn, machine, items, usual_hz=usual, harmonics=harmonics)
            measured[at] = Recorded(entry, values)
    return [measured[at] for at in range(len(idle))]


def _again(
    recording: tuple[LogEntry, IdleSound, IdleSpeed],
    orders: Sequence[float],
    machine: Machine,
    usual_hz: float,
) -> tuple[LogEntry, IdleSound, IdleSpeed]:
    """Look again for a speed that was not heard, near that of the same gear step elsewhere."""
    entry, sound, turning = recording
    if turning.heard:
        return recording
    heard = spindle_heard(
        sound.sound, entry.spindle_hz, orders, mains_hz=machine.mains_hz, usual_hz=usual_hz
    )
    return (entry, sound, heard)
