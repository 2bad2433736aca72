"""Draw layout: when is cut, what comes before, between and after."""

from __future__ import annotations

from dataclasses import dataclass, replace

from chatter.lab.simulate.chance import Rng, arc_of, log_uniform, uniform
from chatter.lab.simulate.ranges import Ranges, Regime
from chatter.lab.simulate.scene import Distractor, PassPlan

#: What happens in a shop before the cut is made.
EVENTS = ("speech", "hammering", "filing", "second_machine", "beeps", "radio", "hiss")


@dataclass(frozen=True)
class Layout:
    """The course of one recording."""

    name: str
    passes: tuple[PassPlan, ...]
    duration_s: float
    events: tuple[Distractor, ...] = ()
    spindle_from_s: float = 0.0
    spindle_to_s: float | None = None
    run_down_s: float = 1.8
    speed_steps: tuple[tuple[float, float], ...] = ()


def draw_layout(
    rng: Rng, ranges: Ranges, regime: Regime, kind: str, immersion: float, chip: float,
    rev_min: float,
) -> Layout:  # fmt: skip
    """Draw one pass or many, with or without idling, or a machine that cuts nothing.

    Nine turns at least are cut in each pass, or a verdict means little.
    """
    if kind in ("machine_only", "no_cutting"):
        return _idle(rng, ranges, kind)
    names = list(ranges.layouts)
    share = [ranges.layouts[name] for name in names]
    name = str(rng.choice(names, p=[one / sum(share) for one in share]))
    least = 9 * 60 / rev_min
    if name == "many" and least < 3:
        return _many(rng, ranges, _plan(rng, regime, immersion, chip, rev_min), least)
    plan = _plan(rng, regime, immersion, chip, rev_min)
    if name == "late":
        return _late(rng, ranges, plan)
    if name == "back_to_back":
        return _back_to_back(rng, ranges, plan, immersion, least)
    if name == "run_down" and least < 6:
        return _run_down(rng, plan, least)
    return _plain(rng, ranges, plan)


def _plan(rng: Rng, regime: Regime, immersion: float, chip: float, rev_min: float) -> PassPlan:
    """One pass from second 0."""
    least = max(regime.pass_s[0], 9 * 60 / rev_min)
    length = log_uniform(rng, (least, max(regime.pass_s[1], 1.2 * least)))
    ramp = min(0.25 * length, max(2 * 60 / rev_min, log_uniform(rng, (0.05, 1.5))))
    turning = regime.form == "single_point"
    return PassPlan(
        start_s=0.0,
        end_s=length,
        direction="turning" if turning else str(rng.choice(["conventional", "climb"])),
        arc_turns=arc_of(immersion),
        width_m=log_uniform(rng, regime.width_m),
        chip_load_m=chip,
        entry_s=ramp,
        exit_s=ramp * float(rng.uniform(0.3, 1.0)),
        depth_drift=float(rng.uniform(-0.5, 1.0)) if rng.random() < 0.25 else 0.0,
        rubbing_drift=float(rng.choice([0.0, rng.uniform(-0.8, 0.8)])),
    )


def _moved(plan: PassPlan, start_s: float) -> PassPlan:
    return replace(plan, start_s=start_s, end_s=start_s + plan.end_s - plan.start_s)


def _idle_s(rng: Rng, ranges: Ranges) -> float:
    return 0.0 if rng.random() < ranges.no_idle else log_uniform(rng, (0.6, 6.0))


def _plain(rng: Rng, ranges: Ranges, plan: PassPlan) -> Layout:
    """One pass, or some where they are short, idling before and after or cutting throughout."""
    length = plan.end_s
    count = int(rng.integers(2, 6)) if length < 6 and rng.random() < 0.5 else 1
    return _row(rng, ranges, plan, count)


def _many(rng: Rng, ranges: Ranges, plan: PassPlan, least: float) -> Layout:
    """Six to twenty short passes, a second or less between them."""
    length = log_uniform(rng, (max(0.7, least), max(3.0, 1.2 * least)))
    ramp = min(plan.entry_s, 0.15 * length)
    plan = replace(plan, end_s=length, entry_s=ramp, exit_s=0.7 * ramp)
    return _row(rng, ranges, plan, int(rng.integers(6, max(7, min(21, int(45 / length))))))


def _row(rng: Rng, ranges: Ranges, plan: PassPlan, count: int) -> Layout:
    idle = _idle_s(rng, ranges)
    gap = log_uniform(rng, ranges.gap_s)
    zigzag = count > 1 and rng.random() < 0.5 and plan.direction != "turning"
    back = _other_way(rng, plan)
    if count > 1:
        plan, back = (replace(one, depth_drift=0.0) for one in (plan, back))
    at = idle
    plans = []
    for index in range(count):
        one = _moved(back if zigzag and index % 2 else plan, at)
        if idle == 0.0 and index == 0 and rng.random() < 0.5:
            one = replace(one, entry_s=0.0)
        plans.append(one)
        at = one.end_s + gap
    name = "many" if count > 5 else "plain" if idle > 0 else "no_idle"
    return Layout(name, tuple(plans), at - gap + idle * float(rng.uniform(0.3, 1.0)))


def _other_way(rng: Rng, plan: PassPlan) -> PassPlan:
    """The way back: the other direction, seldom quite as deep."""
    if plan.direction == "turning":
        return plan
    other = "climb" if plan.direction == "conventional" else "conventional"
    return replace(plan, direction=other, width_m=plan.width_m * float(rng.uniform(0.7, 1.1)))


def _late(rng: Rng, ranges: Ranges, plan: PassPlan) -> Layout:
    """Other things first: talk, blows, other machines; the spindle may be started late."""
    before = log_uniform(rng, ranges.events_s)
    started = float(rng.uniform(0.3, 0.9)) * before if rng.random() < 0.6 else 0.0
    events = []
    at = float(rng.uniform(0.0, 1.0))
    while at < before - 0.5:
        end = min(before, at + log_uniform(rng, (0.5, 6.0)))
        events.append(Distractor(str(rng.choice(EVENTS)), uniform(rng, (-15.0, 3.0)), at, end))
        at = end + float(rng.exponential(1.5))
    after = _idle_s(rng, ranges)
    plan = _moved(plan, before)
    return Layout("late", (plan,), plan.end_s + after, tuple(events), started)


def _back_to_back(
    rng: Rng, ranges: Ranges, plan: PassPlan, immersion: float, least: float
) -> Layout:
    """Two cuts that touch: another depth, chip or direction without a rest between."""
    idle = _idle_s(rng, ranges)
    length = max(least, 0.6 * plan.end_s)
    step = min(0.3, 0.1 * length)
    first = replace(plan, end_s=length, depth_drift=0.0, exit_s=float(rng.uniform(0.0, step)))
    second = replace(
        first,
        width_m=plan.width_m * log_uniform(rng, (0.3, 1.0)),
        entry_s=float(rng.uniform(0.0, step)),
        exit_s=plan.exit_s,
    )
    if rng.random() < 0.4:
        second = _other_way(rng, second)
    if plan.direction != "turning" and rng.random() < 0.4:
        second = replace(second, arc_turns=arc_of(immersion * float(rng.uniform(0.4, 1.0))))
    if rng.random() < 0.5:
        first, second = (
            replace(one, entry_s=other.entry_s, exit_s=other.exit_s)
            for one, other in ((second, first), (first, second))
        )
    first = _moved(first, idle)
    second = _moved(second, first.end_s + float(rng.choice([0.0, rng.uniform(0.0, 0.1)])))
    return Layout(
        "back_to_back", (first, second), second.end_s + idle * float(rng.uniform(0.3, 1.0))
    )


def _run_down(rng: Rng, plan: PassPlan, least: float) -> Layout:
    """A short cut, then the spindle is switched off and runs down."""
    length = log_uniform(rng, (max(0.7, least), max(2.0, 1.5 * least)))
    ramp = 0.1 * length
    start = log_uniform(rng, (0.3, 5.0))
    plan = replace(plan, end_s=length, entry_s=ramp, exit_s=ramp, depth_drift=0.0)
    plan = _moved(plan, start)
    down = log_uniform(rng, (2.0, 12.0))
    stop = plan.end_s + log_uniform(rng, (0.1, 1.0))
    return Layout("run_down", (plan,), stop + down + 0.5, spindle_to_s=stop, run_down_s=down)


def _idle(rng: Rng, ranges: Ranges, kind: str) -> Layout:
    """Nothing is cut; a running machine may be put through its gears."""
    duration = log_uniform(rng, (5.0, 25.0))
    steps: tuple[tuple[float, float], ...] = ()
    if kind == "machine_only" and duration > 9 and rng.random() < 0.4:
        ratio = uniform(rng, ranges.gear_step)
        ways = rng.permutation([-2, -1, 1, 2])[: int(rng.integers(1, 3))]
        at = duration / (len(ways) + 1)
        steps = tuple((at * (i + 1), float(ratio ** int(k))) for i, k in enumerate(ways))
    return Layout("idle", (), duration, speed_steps=steps)
