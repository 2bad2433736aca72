"""Plan a cut: advised speeds and chip loads, the machine's own steps, a careful first choice."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from chatter.errors import JobError
from chatter.job import show
from chatter.job.build import check_together, part_of
from chatter.job.cut import Cut, Job
from chatter.job.cutter import Cutter
from chatter.job.machine import Machine
from chatter.job.words import material_name
from chatter.planning.checks import SLOW, cut_problems, setting_problems
from chatter.planning.setting import Setting, Wish, cut_width_m, setting
from chatter.planning.steps import (
    FIRST,
    MORE_FEED,
    MORE_SPEED,
    capped,
    feed_steps,
    first_choice,
    labelled,
    speed_steps,
    worth_showing,
)
from chatter.trade import cutting_data as data
from chatter.trade import observed
from chatter.trade.cautions import cautions
from chatter.trade.engagement import (
    DISC_FORMS,
    Engagement,
    engagement,
    feed_m_s,
    rev_min_at,
)


@dataclass(frozen=True)
class Plan:
    """What the tables, the geometry and the machine's steps say about a cut."""

    cutter: Cutter
    machine: Machine
    wish: Wish
    speeds: data.SpeedRow | None
    chips: data.ChipRow | None
    rev_min_range: tuple[float, float] | None  # exact, for the advised cutting speeds
    rev_min_target: float | None  # exact speed aimed at, at the careful end
    contact: Engagement | None
    settings: tuple[Setting, ...]  # ascending in speed, then feed
    first: Setting | None
    step_up: tuple[str, ...]
    warnings: tuple[str, ...]
    missing: tuple[str, ...]
    cautions: tuple[str, ...]
    sources: tuple[str, ...]


def plan_stated(values: Mapping[str, object], system: str = "metric") -> Plan:
    """The plan for a read statement (``job.cards.statement_from``).

    Raises
    ------
    JobError
        The tooth count is missing, or values contradict each other.
    """
    values = dict(values)
    check_together(values)
    if "cutter.teeth" not in values:
        raise JobError("The number of teeth is missing: state it, for example --teeth 48.")
    wish = Wish(
        material=values.get("cut.material"),
        depth_m=values.get("cut.depth"),
        width_m=values.get("cut.width"),
        length_m=values.get("cut.length"),
        direction=values.get("cut.direction"),
        speed_rev_min=values.get("cut.speed"),
        feed_m_s=values.get("cut.feed"),
        chip_load_m=values.get("cut.chip_load"),
        observed=values.get("cut.observed", ()),
    )
    return plan(part_of(values, "cutter"), wish, part_of(values, "machine"), system)


def plan(
    cutter: Cutter, wish: Wish, machine: Machine | None = None, system: str = "metric"
) -> Plan:
    """Plan a cut.

    Parameters
    ----------
    cutter : Cutter
        At least the teeth; with diameter and form the plan is complete.
    wish : Wish
        The cut, as far as it is known.
    machine : Machine, optional
        Its steps of speed and feed, motor and backlash.
    system : str
        "inch" or "metric", for the sentences.

    Returns
    -------
    Plan
        What is not known is None there and named in ``missing``.
    """
    machine = machine or Machine()
    if cutter.form == "slitting_saw" and cutter.width_m is None:
        cutter = replace(cutter, width_m=wish.width_m)  # a saw is as wide as its slot
    speeds = data.speed_row(wish.material, cutter.material)
    chips = data.chip_row(cutter.form, wish.material, cutter.width_m, cutter.diameter_m)
    contact = engagement(cutter, wish.depth_m, cut_width_m(cutter, wish))
    span = target = None
    if speeds is not None and cutter.diameter_m is not None:
        low, high = (rev_min_at(v, cutter.diameter_m) for v in (speeds.low_m_s, speeds.high_m_s))
        target = capped(low if cutter.form in DISC_FORMS else (low * high) ** 0.5, cutter)
        span = (low, high)

    def work_out(rev_min: float, feed: float | None) -> Setting:
        own = rev_min in machine.speeds_rev_min and feed in machine.feeds_m_s
        made = setting(
            cutter,
            wish,
            contact,
            rev_min=rev_min,
            feed_m_s=feed,
            on_machine=own,
            motor_power_w=machine.motor_power_w,
        )
        problems = setting_problems(made, cutter, speeds, chips, system)
        before = observed.trouble(wish.observed, rev_min, wish.depth_m, system)
        return replace(made, problems=problems if before is None else (*problems, before))

    settings = [
        work_out(rev_min, feed)
        for rev_min in speed_steps(machine, cutter, span, target)
        for feed in feed_steps(machine, cutter, chips, rev_min)
    ]
    ceiling = None if span is None else capped(span[1], cutter)
    first = first_choice(settings, target, ceiling, chips)
    settings = worth_showing(labelled(settings, first), chips)
    if wish.speed_rev_min is not None:
        settings.append(_as_stated(work_out, cutter, wish, chips))
    settings = sorted(settings, key=lambda one: (one.rev_min, one.feed_m_s or 0.0))
    first = next((one for one in settings if one.label == FIRST), None)
    warnings = [*cut_problems(cutter, machine, wish, contact, system)]
    unfit = observed.clash(wish.observed, system)
    warnings += [] if unfit is None else [unfit]
    warnings += [
        f"As stated: {p}"
        for one in settings
        if one.label.endswith("as stated")
        for p in one.problems
    ]
    if ceiling is not None and settings and first is None:
        warnings.append(
            f"The slowest of the machine's speeds is above {show.show_spindle_speed(ceiling, 3)}, "
            "the fastest advised for this cutter: take a smaller one or a slower machine."
        )
    if first is not None:
        warnings += [f"First choice: {problem}" for problem in first.problems]
    return Plan(
        cutter=cutter,
        machine=machine,
        wish=wish,
        speeds=speeds,
        chips=chips,
        rev_min_range=span,
        rev_min_target=target,
        contact=contact,
        settings=tuple(settings),
        first=first,
        step_up=_step_up(settings, first, chips, wish, system),
        warnings=tuple(warnings),
        missing=_missing(cutter, wish, machine),
        cautions=cautions(_job(cutter, wish, machine, first), "plan"),
        sources=_sources(speeds, chips, data.energy_row(wish.material), settings),
    )


def _as_stated(
    work_out: Callable[[float, float | None], Setting],
    cutter: Cutter,
    wish: Wish,
    chips: data.ChipRow | None,
) -> Setting:
    """The setting that was asked about; a feed that was not stated is the starting one."""
    rev_min = wish.speed_rev_min or 1.0
    feed, label = wish.feed_m_s, "as stated"
    if feed is None and wish.chip_load_m is not None:
        feed = feed_m_s(wish.chip_load_m, cutter.teeth, rev_min)
    if feed is None:
        label = "speed as stated"
        feed = None if chips is None else feed_m_s(chips.start_m, cutter.teeth, rev_min)
    return replace(work_out(rev_min, feed), label=label)


def _step_up(
    settings: list[Setting],
    first: Setting | None,
    chips: data.ChipRow | None,
    wish: Wish,
    system: str,
) -> tuple[str, ...]:
    """How to go on from the first choice."""
    if first is None:
        return ()
    said = ["Take the first cut at the first choice, record it, and look at the chips."]
    if any(SLOW not in problem for problem in first.problems):
        said[0] = (
            "No setting is free of problems, and the first choice is only the least bad: take "
            "another cutter, depth or gear before cutting."
        )
    before = observed.comfort(wish.observed, first.rev_min, wish.depth_m, system)
    said += [] if before is None else [before]
    for one in settings:
        if one.label == MORE_FEED:
            said.append(
                f"If it runs quietly, raise the feed to {show.show_feed(one.feed_m_s, system)} "
                f"({show.show_chip_load(one.chip_load_m, system)})."
            )
        if one.label == MORE_SPEED:
            said.append(
                f"Only then raise the speed to {show.show_spindle_speed(one.rev_min)} "
                f"({show.show_cutting_speed(one.cutting_speed_m_s, system)}) and listen again."
            )
    if chips is not None:
        said.append(
            f"Stay below {show.show_chip_load(chips.high_m, system)}, and go back a step as soon "
            "as it chatters, smokes or the chips change colour."
        )
    return tuple(said)


def _missing(cutter: Cutter, wish: Wish, machine: Machine) -> tuple[str, ...]:
    """What was not stated, and what it would give."""
    needs = (
        (wish.material, "work material: no cutting speed, chip load or power without it"),
        (cutter.diameter_m, "cutter diameter: no spindle speed without it"),
        (cutter.form, "cutter form: no chip load without it"),
        (cutter.material, "cutter material: high-speed steel is assumed"),
        (wish.depth_m, "depth of cut: no teeth in the cut, chip thickness or power without it"),
        (cut_width_m(cutter, wish), "width of cut: no power without it"),
        (wish.length_m, "length of cut: no cutting time without it"),
        (machine.speeds_rev_min, "the machine's speeds: exact speeds are shown instead"),
        (machine.feeds_m_s, "the machine's feeds: exact feeds are shown instead"),
        (machine.motor_power_w, "motor power: no comparison with the power of the cut"),
    )
    saw = cutter.form == "slitting_saw" and cutter.width_m is None
    return (
        *(sentence for value, sentence in needs if value in (None, ())),
        *(("saw width: the chip load of the thinnest saws is used",) if saw else ()),
    )


def _job(cutter: Cutter, wish: Wish, machine: Machine, first: Setting | None) -> Job:
    rev_min = first.rev_min if first is not None else (wish.speed_rev_min or 1.0)
    cut = Cut(rev_min, material=wish.material, depth_m=wish.depth_m, direction=wish.direction)
    return Job(cutter, cut, machine)


def _sources(
    speeds: data.SpeedRow | None,
    chips: data.ChipRow | None,
    energy: data.EnergyRow | None,
    settings: list[Setting],
) -> tuple[str, ...]:
    """One line per table row that was used."""
    if not any(one.power_w for one in settings):
        energy = None
    rows = (("cutting speed", speeds), ("chip load", chips), ("power", energy))
    return tuple(
        f"{what} ({row.status}): {'; '.join(data.source_titles(row.sources))}."
        for what, row in rows
        if row is not None
    )


_TOOLS = {"carbide": "carbide", "carbon_steel": "carbon steel"}


def title_of(plan: Plan) -> str:
    """What is cut, and with what: "Grey cast iron, high-speed steel cutter"."""
    tool = _TOOLS.get(plan.cutter.material or "", "high-speed steel")
    return f"{material_name(plan.wish.material).capitalize()}, {tool} cutter"


def advice_lines(plan: Plan, units: str) -> list[str]:
    """Cutting speed, starting speed, chip load and teeth in the cut, as far as they are known.

    Parameters
    ----------
    plan : Plan
    units : str
        "metric" or "inch".

    Returns
    -------
    list of str
        Without full stops.
    """
    lines = []
    if plan.speeds is not None:
        ends = (plan.speeds.low_m_s, plan.speeds.high_m_s)
        line = _range("Advised cutting speed", (show.show_cutting_speed(e, units) for e in ends))
        if plan.rev_min_range is not None:
            line += _range(
                ", which is", (show.show_spindle_speed(e, 3) for e in plan.rev_min_range)
            )
        lines.append(line)
    if plan.rev_min_target is not None:
        lines.append(f"Careful starting speed {show.show_spindle_speed(plan.rev_min_target, 3)}")
    if plan.chips is not None:
        low, start, high = (
            show.show_chip_load(value, units)
            for value in (plan.chips.low_m, plan.chips.start_m, plan.chips.high_m)
        )
        lines.append(f"Chip load: start at {start}; rubs below {low}, overloads above {high}")
    if plan.contact is not None:
        lines.append(f"Teeth in the cut at once: {plan.contact.teeth:.1f}")
    return lines


def _range(words: str, ends) -> str:
    return f"{words} {' to '.join(ends)}"
