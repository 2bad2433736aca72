"""The job against the advised ranges of cutting speed and chip load."""

from __future__ import annotations

from chatter.job import show
from chatter.job.cut import Job
from chatter.trade.cutting_data import chip_load_range, cutting_speed_range
from chatter.trade.engagement import (
    ARBOR_FORMS,
    cutting_speed_m_s,
    engagement,
    feed_m_s,
    rev_min_at,
)
from chatter.trade.rules import Value


def ceiling_rev_min(job: Job) -> float:
    """Highest spindle speed that may be recommended.

    The lower of the handbook's cutting speed and the maximum marked on the cutter; the
    present speed stands in for a handbook value that is not known.
    """
    bounds = [] if job.cutter.max_rev_min is None else [job.cutter.max_rev_min]
    advised = cutting_speed_range(job)
    if advised is not None and job.cutter.diameter_m is not None:
        bounds.append(rev_min_at(advised[1], job.cutter.diameter_m))
    else:
        # Without a handbook value nothing faster than the present speed is recommended.
        bounds.append(job.cut.speed_rev_min)
    return min(bounds)


def usable_steps(job: Job) -> tuple[float, ...]:
    """The machine's speeds that may be recommended (0.1 % over is rounding)."""
    ceiling = ceiling_rev_min(job)
    return tuple(s for s in job.machine.speeds_rev_min if s <= 1.001 * ceiling)


def teeth_in_cut(job: Job) -> float | None:
    """Teeth in the work at once for a cutter on an arbor; None for other forms, or unknown."""
    if job.cutter.form not in ARBOR_FORMS:
        return None
    contact = engagement(job.cutter, job.cut.depth_m, None)
    return None if contact is None else contact.teeth


def feed_target_m_s(job: Job, rev_min: float) -> float | None:
    """Slowest table feed that lifts the chip load well into its range; None when not known.

    One of the machine's own feeds when they are stated and one of them serves; otherwise the
    exact feed a quarter above the low end.
    """
    chips = chip_load_range(job)
    if chips is None:
        return None
    low, high = (feed_m_s(chip, job.cutter.teeth, rev_min) for chip in chips)
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
            load = job.cut.feed_m_s / feed_m_s(1.0, job.cutter.teeth, rev_min)
            known.update(chip_load_ratio=load / chips[0], chip_load_over=load / chips[1])
            words["chip_load"] = show.show_chip_load(load, system)
        target = feed_target_m_s(job, rev_min)
        known["feed_target"] = target
        if target is not None:
            words["feed_target"] = show.show_feed(target, system)
    advised = cutting_speed_range(job)
    if advised is not None and job.cutter.diameter_m is not None:
        speed = cutting_speed_m_s(rev_min, job.cutter.diameter_m)
        known["speed_ratio"] = speed / advised[1]
        words["cutting_speed"] = show.show_cutting_speed(speed, system)
        words["speed_high"] = show.show_cutting_speed(advised[1], system)
    words["ceiling"] = show.show_spindle_speed(ceiling_rev_min(job), 3)
    return known, words
