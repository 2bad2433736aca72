"""The machine's steps round an advised setting, and which of them to take first."""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from dataclasses import replace
from itertools import pairwise

from chatter.job.cutter import Cutter
from chatter.job.machine import Machine
from chatter.planning.checks import SLOW
from chatter.planning.setting import Setting
from chatter.trade.cutting_data import ChipRow, SpeedRow
from chatter.trade.engagement import feed_m_s, rev_min_at

#: What the settings are called that follow the first choice.
FIRST, MORE_FEED, MORE_SPEED = "first choice", "then: more feed", "then: more speed"

#: A step this far above the speed aimed at is still at it, below the table's end: published
#: starting values differ by more than that from each other.
NEAR = 1.2
#: Likewise for a step of feed above the starting chip load.
NEAR_CHIP = 1.1
#: Saws thinner than this are aimed at between the low end and the start.
THIN_SAW_M = 1.6e-3
#: A boring bar that hangs out further than this many diameters is aimed lower.
LONG_BAR = 4.0


def capped(rev_min: float, cutter: Cutter) -> float:
    """A spindle speed, held to what is marked on the cutter."""
    return rev_min if cutter.max_rev_min is None else min(rev_min, cutter.max_rev_min)


def aim_rev_min(
    cutter: Cutter, speeds: SpeedRow, diameter_m: float, overhang_m: float | None = None
) -> float:
    """The exact spindle speed to aim at: the table's start, less for what is limber."""
    speed = speeds.start_m_s
    thin = cutter.form == "slitting_saw" and (cutter.width_m or 0.0) < THIN_SAW_M
    bar_m = cutter.diameter_m if cutter.form == "boring_bar" else None
    limber = overhang_m is not None and bar_m is not None and overhang_m > LONG_BAR * bar_m
    if (thin or limber) and cutter.material != "carbide":
        speed = math.sqrt(speed * speeds.low_m_s)
    return capped(rev_min_at(speed, diameter_m), cutter)


def speed_steps(
    machine: Machine,
    cutter: Cutter,
    span: tuple[float, float] | None,
    target: float | None,
) -> tuple[float, ...]:
    """The machine's steps from the one below the advised range to the one above it.

    Without steps: the exact speeds.  Without an advised range: all steps.
    """
    steps = machine.speeds_rev_min
    if span is None or target is None:
        return steps
    if not steps:
        return tuple(dict.fromkeys((target, max(target, capped(span[1], cutter)))))
    below = max(0, bisect_right(steps, min(span[0], target)) - 1)
    above = bisect_right(steps, max(span[1], target)) + 1
    return steps[below:above]


def feed_steps(
    machine: Machine, cutter: Cutter, chips: ChipRow | None, rev_min: float
) -> tuple[float | None, ...]:
    """The machine's feeds from the rubbing limit to one step past the starting chip load.

    At least the steps either side of the start; without steps, the exact feeds.
    """
    if chips is None:
        return (None,)
    low, exact = (
        feed_m_s(chip_m, cutter.teeth, rev_min) for chip_m in (chips.low_m, chips.start_m)
    )
    steps = machine.feeds_m_s
    if not steps:
        return tuple(dict.fromkeys((low, exact)))
    above = bisect_right(steps, exact * (1 + 1e-9))
    below = min(bisect_left(steps, low * (1 - 1e-9)), above - 1)
    return steps[max(0, below) : above + 1]


def first_choice(
    settings: list[Setting],
    target: float | None,
    ceiling: float | None,
    chips: ChipRow | None,
) -> Setting | None:
    """The setting nearest target speed and below starting chip load that has no problem.

    Up to ``NEAR`` times the target counts as at it.  If every setting has a problem, the one
    with the fewest; slower and lighter settings first.  Nothing is chosen without an advised
    speed, and never anything faster than ``ceiling`` [rev/min], the lower of the tabled
    range's end and the cutter's marking.
    """
    if target is None or ceiling is None:
        return None
    settings = [setting for setting in settings if setting.rev_min <= ceiling * 1.001]

    def badness(setting: Setting) -> tuple[float, ...]:
        over = setting.rev_min > target * NEAR
        chip = setting.chip_load_m
        heavy = chips is not None and chip is not None and chip > chips.start_m * NEAR_CHIP
        off = 0.0 if chip is None or chips is None else abs(chip - chips.start_m)
        severe = sum(SLOW not in problem for problem in setting.problems)
        overload = max(0.0, (setting.motor_share or 0.0) - 1.0)
        apart = abs(math.log(setting.rev_min / target))
        return severe, overload, over, heavy, len(setting.problems), apart, off

    return min(settings, key=badness, default=None)


def labelled(settings: list[Setting], first: Setting | None) -> list[Setting]:
    """The same with "first choice", and "next step up" in feed and in speed."""
    if first is None:
        return settings
    marks = {_key(first): FIRST}
    feeds = [one for one in settings if one.rev_min == first.rev_min and not one.problems]
    for here, above in pairwise(feeds):
        if _key(here) == _key(first):
            marks[_key(above)] = MORE_FEED
    faster = [one for one in settings if one.rev_min > first.rev_min and not one.problems]
    if faster:
        near = [one for one in faster if one.rev_min == faster[0].rev_min]
        chip = first.chip_load_m or 0.0
        marks.setdefault(
            _key(min(near, key=lambda one: abs((one.chip_load_m or 0.0) - chip))),
            MORE_SPEED,
        )
    return [replace(one, label=marks.get(_key(one), "")) for one in settings]


def worth_showing(settings: list[Setting], chips: ChipRow | None) -> list[Setting]:
    """Per speed: what carries a label, and the feeds either side of the starting chip load."""
    kept = []
    for rev_min in dict.fromkeys(one.rev_min for one in settings):
        group = [one for one in settings if one.rev_min == rev_min]
        light = [
            one
            for one in group
            if chips is None or one.chip_load_m is None or one.chip_load_m <= chips.start_m * 1.001
        ]
        near = group[max(0, len(light) - 1) : len(light) + 1]
        kept += [one for one in group if one.label or one in near]
    return kept


def _key(setting: Setting) -> tuple[float, float | None]:
    return setting.rev_min, setting.feed_m_s
