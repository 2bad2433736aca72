"""Plan a cut: advised speeds and chip loads, the machine's own steps, a careful first choice."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from chatter.errors import JobError
from chatter.job import show
from chatter.job.build import check_together, part_of
from chatter.job.cut import Cut, Job, cut_diameter_m
from chatter.job.cutter import ONE_EDGE, Cutter
from chatter.job.machine import Machine
from chatter.planning import words
from chatter.planning.band import band_problems
from chatter.planning.checks import cut_problems, setting_problems
from chatter.planning.passes import Passes, divided, passes
from chatter.planning.setting import Setting, Wish, cut_width_m, setting
from chatter.planning.steps import (
    FIRST,
    aim_rev_min,
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
from chatter.trade.engagement import FULL_FORMS, Engagement, engagement, feed_m_s, rev_min_at

#: More passes than this for a small motor: another machine.
_MOST_PASSES = 24


@dataclass(frozen=True)
class Plan:
    """What the tables, the geometry and the machine's steps say about a cut."""

    cutter: Cutter
    machine: Machine
    wish: Wish
    speeds: data.SpeedRow | None
    chips: data.ChipRow | None
    rev_min_range: tuple[float, float] | None  # exact, for the advised cutting speeds
    rev_min_target: float | None  # exact speed aimed at
    passes: Passes  # the settings hold for one pass of this depth
    contact: Engagement | None  # of one pass
    settings: tuple[Setting, ...]  # ascending in speed, then feed
    first: Setting | None
    step_up: tuple[str, ...]
    warnings: tuple[str, ...]
    missing: tuple[str, ...]
    cautions: tuple[str, ...]
    sources: tuple[str, ...]


def plan_stated(values: Mapping[str, Any], system: str = "metric") -> Plan:
    """The plan for a read statement (``job.cards.statement_from``).

    Raises
    ------
    JobError
        The tooth count is missing, or values contradict each other.
    """
    values = dict(values)
    if values.get("cutter.form") in (*ONE_EDGE, "band_saw"):
        values.setdefault("cutter.teeth", 1)
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
        work_diameter_m=values.get("cut.work_diameter"),
        overhang_m=values.get("cut.overhang"),
        blade_speed_m_s=values.get("cut.blade_speed"),
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
        The cut, as far as it is known.  The width of a saw's cut is taken as the saw's own.
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
    if cutter.form == "slitting_saw" and cutter.width_m is None and wish.width_m is not None:
        cutter = replace(cutter, width_m=wish.width_m)
    speeds = data.speed_row(wish.material, cutter.material, cutter.form)
    if cutter.form == "band_saw":
        return _band_plan(cutter, wish, machine, speeds, system)
    chips = data.cutter_chip_row(cutter, wish.material)
    span = target = None
    diameter_m = cut_diameter_m(cutter, wish.work_diameter_m)
    if speeds is not None and diameter_m is not None:
        span = (rev_min_at(speeds.low_m_s, diameter_m), rev_min_at(speeds.high_m_s, diameter_m))
        target = aim_rev_min(cutter, speeds, diameter_m, wish.overhang_m)
    ceiling = None if span is None else capped(span[1], cutter)

    def work_out(at: Wish) -> Callable[[float, float | None], Setting]:
        contact = engagement(cutter, at.depth_m, cut_width_m(cutter, at))

        def one(rev_min: float, feed: float | None) -> Setting:
            own = rev_min in machine.speeds_rev_min and feed in machine.feeds_m_s
            unchecked = setting(
                cutter,
                at,
                contact,
                rev_min=rev_min,
                feed_m_s=feed,
                on_machine=own,
                motor_power_w=machine.motor_power_w,
            )
            problems = setting_problems(unchecked, cutter, speeds, chips, system)
            before = observed.trouble(at.observed, rev_min, at.depth_m, system)
            return replace(unchecked, problems=problems if before is None else (*problems, before))

        return one

    def all_settings(at: Wish) -> list[Setting]:
        return [
            work_out(at)(rev_min, feed)
            for rev_min in speed_steps(machine, cutter, span, target)
            for feed in feed_steps(machine, cutter, chips, rev_min)
        ]

    # A motor that is too small gets less depth at the right chip, never a thinner chip.
    depth = passes(cutter, wish, chips)
    unmotored = [replace(each, motor_share=None) for each in all_settings(_at(wish, depth))]
    chosen = first_choice(_without_motor(unmotored), target, ceiling, chips)
    if chosen is not None and wish.depth_m is not None:
        for count in range(depth.count, _MOST_PASSES + 1):
            tried = divided(wish.depth_m, wish.depth_m / count, depth.limits)
            share = work_out(_at(wish, tried))(chosen.rev_min, chosen.feed_m_s).motor_share
            if share is None or share <= 1.0:
                depth = tried
                break
    now = _at(wish, depth)
    contact = engagement(cutter, now.depth_m, cut_width_m(cutter, now))
    settings = all_settings(now)
    first = first_choice(settings, target, ceiling, chips)
    settings = worth_showing(labelled(settings, first), chips)
    if wish.speed_rev_min is not None:
        settings.append(_as_stated(work_out(wish), cutter, wish, chips))
    settings = sorted(settings, key=lambda each: (each.rev_min, each.feed_m_s or 0.0))
    first = next((each for each in settings if each.label == FIRST), None)
    warnings = [*cut_problems(cutter, machine, wish, contact, system)]
    if depth.count > 1:
        warnings.insert(0, words.in_passes(wish, depth, passes(cutter, wish, chips), system))
    unfit = observed.clash(wish.observed, system)
    warnings += [] if unfit is None else [unfit]
    warnings += [
        f"As stated: {p}"
        for each in settings
        if each.label.endswith("as stated")
        for p in each.problems
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
        passes=depth,
        contact=contact,
        settings=tuple(settings),
        first=first,
        step_up=words.step_up(settings, first, chips, now, cutter, system),
        warnings=tuple(dict.fromkeys(warnings)),
        missing=words.unstated_words(cutter, wish, machine),
        cautions=cautions(_job(cutter, wish, machine, first), "plan"),
        sources=words.sources(speeds, chips, data.energy_row(wish.material), settings),
    )


def _at(wish: Wish, depth: Passes) -> Wish:
    """The wish for one pass."""
    return replace(wish, depth_m=depth.depth_m)


def _without_motor(settings: list[Setting]) -> list[Setting]:
    """The same settings without what is said of the motor."""
    return [
        replace(one, problems=tuple(p for p in one.problems if "of the motor" not in p))
        for one in settings
    ]


def _band_plan(
    cutter: Cutter, wish: Wish, machine: Machine, speeds: data.SpeedRow | None, system: str
) -> Plan:
    """A band saw's: no spindle speed to choose, so no settings."""
    return Plan(
        cutter=cutter,
        machine=machine,
        wish=wish,
        speeds=speeds,
        chips=None,
        rev_min_range=None,
        rev_min_target=None,
        passes=Passes(wish.depth_m, 1, ()),
        contact=None,
        settings=(),
        first=None,
        step_up=(),
        warnings=band_problems(cutter, wish, speeds, system),
        missing=words.band_missing(cutter, wish),
        cautions=cautions(_job(cutter, wish, machine, None), "plan"),
        sources=words.sources(speeds, None, None, []),
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


def _job(cutter: Cutter, wish: Wish, machine: Machine, first: Setting | None) -> Job:
    rev_min = first.rev_min if first is not None else (wish.speed_rev_min or 1.0)
    cut = Cut(rev_min, material=wish.material, depth_m=wish.depth_m, direction=wish.direction)
    return Job(cutter, cut, machine)


title_of, advice_lines = words.title_of, words.advice_lines


def counts_turns(cutter: Cutter) -> bool:
    """Whether the trade counts this cutter's feed in a turn, not in a tooth."""
    return cutter.form in FULL_FORMS
