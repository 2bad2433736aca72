"""The guided list for a newly bought machine: what to record, what is done, what is next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from chatter.job.machine import Machine
from chatter.runin.entries import LogEntry
from chatter.runin.series import BASELINE_DATES

#: Running hours at which the same recordings are made again.  The first ones set the
#: machine's own limits and lie close together.  Common practice, no source.
VISIT_HOURS = (0.0, 1.0, 2.0, 4.0, 8.0, 12.0, 20.0, 30.0, 45.0, 60.0, 80.0, 120.0)
#: Running hours at which all speeds are heard again.
SURVEY_HOURS = (0.0, 60.0)
IDLE_S = 15


@dataclass(frozen=True)
class PlanStep:
    """One thing to do.

    Attributes
    ----------
    what : str
        Imperative, with quantities.
    why : str
    hours : float
        Running hours at which it is due.
    done : int
        How many of the wanted recordings are there.
    wanted : int
    missing : str
        What is still wanted, in words; "" when done.
    """

    what: str
    why: str
    hours: float
    done: int
    wanted: int
    missing: str

    @property
    def is_done(self) -> bool:
        """Everything is there."""
        return self.done >= self.wanted


def repeat_speeds(machine: Machine) -> tuple[float, ...]:
    """The speeds to repeat: one in the upper half, one near the middle.

    Fast enough for many turns in a short recording, and not the last gear step, where belts
    and fans drown the rest.
    """
    speeds = machine.speeds_rev_min
    if len(speeds) < 3:
        return speeds[-1:]
    return tuple(sorted({speeds[len(speeds) // 2 - 1], speeds[-2]}))


def guided_list(machine: Machine, entries: Sequence[LogEntry]) -> tuple[PlanStep, ...]:
    """All steps in order, with what the log holds of each.

    Parameters
    ----------
    machine : Machine
        Its list of speeds makes the list; without one a single speed of your own choice.
    entries : sequence of LogEntry
        The log so far, in any order.
    """
    idle = [one for one in entries if one.kind == "idle"]
    steps = [*_before_power(entries), _survey(machine, idle, 0.0, again=False)]
    cuts = [one for one in entries if one.kind == "cut"]
    surfaces = [one for one in entries if one.kind == "surface"]
    for hours in VISIT_HOURS:
        if hours in SURVEY_HOURS and hours > 0:
            steps.append(_survey(machine, idle, hours, again=True))
        steps.append(_visit(machine, idle, VISIT_HOURS.index(hours)))
        if hours == 0.0:
            steps.append(_cuts(cuts))
            steps.append(_look(surfaces))
    return tuple(steps)


def next_step(steps: Sequence[PlanStep]) -> PlanStep | None:
    """The first that is not done; None when all are."""
    return next((step for step in steps if not step.is_done), None)


#: What is done before the motor is first switched on, and at its first turns; why.  Common
#: practice, no source: the machine's manual and its plates come first.
BEFORE_POWER = (
    (
        "Before first power, switch locked out: fill oil in head, gearbox and knee to their sight "
        "glasses, fill and work the way oilers, clean the ways; turn the spindle by hand through "
        "every gear, with belt cover and guards on again afterwards",
        "A dry gearbox or a seized oiler is ruined in a minute; a hand feels what a motor hides",
    ),
    (
        "First power, lowest gear, nothing on the arbor, hands and sleeves clear: look at the "
        "direction of rotation at once; stop; then a quarter of an hour, and with the spindle "
        "stopped feel the bearings front and rear",
        "A motor wired the wrong way round turns an oil pump backwards",
    ),
    (
        "Next gear up only while the bearings stay cool to the hand (below about 45 C), a quarter "
        "of an hour each; hot, stop and look at oil and preload",
        "Preload and grease of an old spindle are not known until it has run",
    ),
)


def _before_power(entries: Sequence[LogEntry]) -> list[PlanStep]:
    """Done when anything is in the log: by then the machine has run."""
    said = sum(1 for one in entries if one.kind == "state")
    ran = any(one.kind in ("idle", "cut") for one in entries)
    steps = []
    for at, (what, why) in enumerate(BEFORE_POWER):
        done = int(ran or said > at)
        left = "" if done else "its --state, such as 'oil level=full' or 'front bearing=24 C'"
        steps.append(PlanStep(what, why, 0.0, done, 1, left))
    return steps


def _survey(machine: Machine, idle: Sequence[LogEntry], hours: float, *, again: bool) -> PlanStep:
    speeds = machine.speeds_rev_min
    when = 0.75 * hours
    own = [one for one in idle if not again or (one.hours is not None and one.hours >= when)]
    if not speeds:
        seen = {one.rev_min for one in own if one.rev_min}
        return PlanStep(
            f"Record idling at each gear step, {IDLE_S} s each; state the speeds on the card",
            "Lines that turn with the spindle are told from those that stay",
            hours, min(len(seen), 3), 3, "at least three speeds" if len(seen) < 3 else "",
        )  # fmt: skip
    recorded = [s for s in speeds if any(_at(one, s) for one in own)]
    missing = [f"{s:g}" for s in speeds if s not in recorded]
    listed = ", ".join(f"{s:g}" for s in speeds)
    what = (
        f"Record idling at every speed once more ({listed} rev/min), {IDLE_S} s each"
        if again
        else f"Warm the machine up for a quarter of an hour, then record idling at every speed "
        f"({listed} rev/min), {IDLE_S} s each, phone on a stand half a metre away"
    )
    why = (
        "What turns with the spindle and what stays, once the oil has been through everything"
        if again
        else "What turns with the spindle belongs to shafts, gears and bearings; what stays "
        "belongs to motor, mains and structure"
    )
    left = f"idling at {', '.join(missing)} rev/min" if missing else ""
    return PlanStep(what, why, hours, len(recorded), len(speeds), left)


def _visit(machine: Machine, idle: Sequence[LogEntry], index: int) -> PlanStep:
    """The index-th date on which the repeat speeds are recorded."""
    speeds = repeat_speeds(machine)
    if not speeds:
        used = sorted({one.rev_min for one in idle if one.rev_min})
        speeds = tuple(used[-1:])
    done = 0
    missing = []
    for speed in speeds:
        days = sorted({one.day for one in idle if _at(one, speed)})
        if len(days) > index:
            done += 1
        else:
            missing.append(f"{speed:g}")
    listed = " and ".join(f"{s:g}" for s in speeds) or "one"
    hours = VISIT_HOURS[index]
    if index == 0:
        what = (
            f"On the first day: idling at {listed} rev/min, {IDLE_S} s each. These are repeated on "
            "every date, with the same phone at the same place, the machine warmed up alike"
        )
    else:
        what = f"At about {hours:g} running hours: idling at {listed} rev/min"
    why = (
        f"Date {index + 1} of the {BASELINE_DATES} that set the machine's own limits"
        if index < BASELINE_DATES
        else "Held against the machine's own limits"
    )
    left = f"idling at {' and '.join(missing)} rev/min on another day" if missing else ""
    if not speeds:
        return PlanStep(what, why, hours, 0, 1, "idling at one speed you can always set again")
    return PlanStep(what, why, hours, done, len(speeds), left)


def _cuts(cuts: Sequence[LogEntry]) -> PlanStep:
    done = min(3, len(cuts))
    return PlanStep(
        "Make three light first cuts in a known piece, with two cutters, and record each with "
        "its job card",
        "The tooth map tells a cutter that runs out from an arbor that does; light first cuts "
        "load nothing that is not yet known to be sound",
        1.0, done, 3, f"{3 - done} more" if done < 3 else "",
    )  # fmt: skip


def _look(surfaces: Sequence[LogEntry]) -> PlanStep:
    done = min(1, len(surfaces))
    return PlanStep(
        "Look at both faces of the first cuts under a low light and write down what they show: "
        "cross-hatch, drag marks on one side, burr",
        "It says whether the axis stands square to the table",
        1.0, done, 1, "" if done else "one surface note",
    )  # fmt: skip


def _at(entry: LogEntry, speed: float) -> bool:
    return entry.rev_min is not None and abs(entry.rev_min / speed - 1.0) < 0.005
