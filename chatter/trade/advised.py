"""The job against the advised ranges of cutting speed and chip load."""

from __future__ import annotations

import math

from chatter.job import show
from chatter.job.cut import Job
from chatter.trade.cutting_data import chip_load_range, cutting_speed_range
from chatter.trade.rules import Value


def ceiling_rev_min(job: Job) -> float:
    """Highest spindle speed that may be recommended.

    The lower of the handbook's cutting speed and the maximum marked on the cutter; the
    present speed stands in for a handbook value that is not known.
    """
    bounds = [] if job.cutter.max_rev_min is None else [job.cutter.max_rev_min]
    advised = cutting_speed_range(job)
    if advised is not None and job.cutter.diameter_m is not None:
        bounds.append(60.0 * advised[1] / (math.pi * job.cutter.diameter_m))
    else:
        # Without a handbook value nothing faster than the present speed is recommended.
        bounds.append(job.cut.speed_rev_min)
    return min(bounds)


def usable_steps(job: Job) -> tuple[float, ...]:
    """The machine's speeds that may be recommended (0.1 % over is rounding)."""
    ceiling = ceiling_rev_min(job)
    return tuple(s for s in job.machine.speeds_rev_min if s <= 1.001 * ceiling)


def teeth_in_cut(job: Job) -> float | None:
    """Teeth in the work at once for a disc cutter of known size: N acos(1 - 2 a/D) / 2 pi."""
    depth, diameter = job.cut.depth_m, job.cutter.diameter_m
    if job.cutter.form in ("end_mill", "face_mill", "single_point", None):
        return None
    if depth is None or diameter is None or not 0.0 < depth <= diameter:
        return None
    return job.cutter.teeth * math.acos(1.0 - 2.0 * depth / diameter) / (2.0 * math.pi)


def feed_target_m_s(job: Job, rev_min: float) -> float | None:
    """Slowest table feed that lifts the chip load well into its range; None when not known.

    One of the machine's own feeds when they are stated and one of them serves; otherwise the
    exact feed a quarter above the low end.
    """
    chips = chip_load_range(job)
    if chips is None:
        return None
    per_second = job.cutter.teeth * rev_min / 60.0
    low, high = chips[0] * per_second, chips[1] * per_second
    own = [f for f in job.machine.feeds_m_s if low <= f <= high]
    return min(own) if own else min(1.25 * low, high)


def facts(job: Job, rev_min: float, system: str) -> tuple[dict[str, Value], dict[str, str]]:
    """Facts and words for :mod:`chatter.trade.situation`."""
    known: dict[str, Value] = {"usable_steps": len(usable_steps(job)) or None}
    words = {"step_list": ", ".join(f"{s:g}" for s in usable_steps(job))}
    chips = chip_load_range(job)
    if chips is not None:
        words["chip_range"] = (
            f"{show.show_chip_load(chips[0], system)} to {show.show_chip_load(chips[1], system)}"
        )
        if job.cut.feed_m_s is not None:
            load = job.cut.feed_m_s * 60.0 / (rev_min * job.cutter.teeth)
            known.update(chip_load_ratio=load / chips[0], chip_load_over=load / chips[1])
            words["chip_load"] = show.show_chip_load(load, system)
        target = feed_target_m_s(job, rev_min)
        known["feed_target"] = target
        if target is not None:
            words["feed_target"] = show.show_feed(target, system)
    advised = cutting_speed_range(job)
    if advised is not None and job.cutter.diameter_m is not None:
        speed = math.pi * job.cutter.diameter_m * rev_min / 60.0
        known["speed_ratio"] = speed / advised[1]
        words["cutting_speed"] = show.show_cutting_speed(speed, system)
        words["speed_high"] = show.show_cutting_speed(advised[1], system)
    words["ceiling"] = show.show_spindle_speed(ceiling_rev_min(job), 3)
    return known, words
