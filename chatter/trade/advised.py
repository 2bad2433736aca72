"""The job against the advised ranges of cutting speed and chip load."""

from __future__ import annotations

from chatter.job import show
from chatter.job.cut import Job
from chatter.trade.cutting_data import chip_load_range, cutting_speed_range, job_chip_row
from chatter.trade.engagement import (
    ARBOR_FORMS,
    cutting_speed_m_s,
    engagement,
    feed_m_s,
    rev_min_at,
)
from chatter.trade.rules import Value

#: More feed is offered up to this share of the end of the tables.
ROOM = 0.8
#: By how much more feed goes up where the machine's feeds are not stated.
A_THIRD = 4.0 / 3.0


def ceiling_rev_min(job: Job) -> float:
    """Highest spindle speed that may be recommended.

    The lower of the handbook's cutting speed and the maximum marked on the cutter; the
    present speed stands in for a handbook value that is not known.
    """
    bounds = [] if job.cutter.max_rev_min is None else [job.cutter.max_rev_min]
    advised, diameter_m = cutting_speed_range(job), job.cut_diameter_m
    if advised is not None and diameter_m is not None:
        bounds.append(rev_min_at(advised[1], diameter_m))
    else:
        # Without a handbook value nothing faster than the present speed is recommended.
        bounds.append(job.cut.speed_rev_min)
    return min(bounds)


def floor_rev_min(job: Job) -> float:
    """Lowest spindle speed that may be recommended: carbide chips below its range."""
    advised, diameter_m = cutting_speed_range(job), job.cut_diameter_m
    if job.cutter.material != "carbide" or advised is None or diameter_m is None:
        return 0.0
    return min(rev_min_at(advised[0], diameter_m), ceiling_rev_min(job))


def usable_steps(job: Job) -> tuple[float, ...]:
    """The machine's speeds that may be recommended (0.1 % over is rounding)."""
    floor, ceiling = floor_rev_min(job), ceiling_rev_min(job)
    return tuple(s for s in job.machine.speeds_rev_min if 0.999 * floor <= s <= 1.001 * ceiling)


def teeth_in_cut(job: Job) -> float | None:
    """Teeth in the work at once for a cutter on an arbor; None for other forms, or unknown."""
    if job.cutter.form not in ARBOR_FORMS:
        return None
    contact = engagement(job.cutter, job.cut.depth_m, job.cut.width_m)
    return None if contact is None else contact.teeth


def feed_target_m_s(job: Job, rev_min: float) -> float | None:
    """Slowest table feed that lifts the chip load well into its range; None when not known.

    One of the machine's own feeds when they are stated (None when none of them serves);
    otherwise the exact feed a quarter above the low end.
    """
    chips = chip_load_range(job)
    if chips is None:
        return None
    low, high = (feed_m_s(chip, job.cutter.teeth, rev_min) for chip in chips)
    if job.machine.feeds_m_s:
        return min((f for f in job.machine.feeds_m_s if low <= f <= high), default=None)
    return min(1.25 * low, high)


def feed_less_m_s(job: Job, rev_min: float) -> float | None:
    """Fastest table feed not above the start of the table; None when there is none."""
    row = job_chip_row(job)
    if row is None:
        return None
    low, start, high = (
        feed_m_s(chip, job.cutter.teeth, rev_min) for chip in (row.low_m, row.start_m, row.high_m)
    )
    own = job.machine.feeds_m_s
    if not own:
        return start
    careful = max((f for f in own if low <= f <= 1.001 * start), default=None)
    return careful or min((f for f in own if low <= f <= high), default=None)


def feed_more_m_s(job: Job, rev_min: float) -> float | None:
    """The next faster table feed that the chip still allows; None when there is none."""
    chips, now = chip_load_range(job), job.cut.feed_m_s
    if chips is None or now is None:
        return None
    most = feed_m_s(ROOM * chips[1], job.cutter.teeth, rev_min)
    own = job.machine.feeds_m_s or (A_THIRD * now,)
    return min((f for f in own if 1.02 * now < f <= most), default=None)


def feed_beside(job: Job, rev_min: float, system: str) -> str:
    """What to do with the table feed when the spindle is set to another speed."""
    now, chips = job.cut.feed_m_s, chip_load_range(job)
    if now is None or chips is None:
        return "change the table feed in the same proportion, so that the chip load stays"
    teeth = job.cutter.teeth
    low, high = (feed_m_s(chip, teeth, rev_min) for chip in chips)
    slower = rev_min < job.cut.speed_rev_min
    here = now / feed_m_s(1.0, teeth, job.cut.speed_rev_min)
    # A chip that is too thin, or too thick, is mended by the speed alone.
    if low <= now <= high and (here < chips[0] if slower else here > chips[1]):
        return "leave the table feed as it is"
    if not 0.999 * chips[0] <= here <= 1.001 * chips[1]:
        return _ANEW
    if slower and feed_more_m_s(job, job.cut.speed_rev_min) is not None:
        # More feed is a remedy of its own: the slower speed already thickens the chip.
        fits = now <= high
        return "leave the table feed as it is" if fits else _ANEW
    wanted = min(max(feed_m_s(here, teeth, rev_min), low), high)
    own = [f for f in job.machine.feeds_m_s if low <= f <= high]
    if job.machine.feeds_m_s and not own:
        return "take the machine's nearest table feed, so that the chip load stays"
    feed = min(own, key=lambda f: abs(f - wanted)) if own else wanted
    if abs(feed / now - 1.0) < 0.02:
        return "leave the table feed as it is"
    return f"set the table feed to {show.show_feed(feed, system)}, which keeps the chip load"


_ANEW = "choose the table feed anew, for the advised chip load"


def slow_for_chip(job: Job, rev_min: float) -> tuple[float, float] | None:
    """A slower speed and a feed of the machine at which the chip is thick enough.

    For a machine whose feeds are all too slow at the present speed.
    """
    for speed in sorted((s for s in usable_steps(job) if s < 0.97 * rev_min), reverse=True):
        feed = feed_target_m_s(job, speed)
        if feed is not None:
            return speed, feed
    return None


def advised_facts(job: Job, rev_min: float, system: str) -> tuple[dict[str, Value], dict[str, str]]:
    """Facts and words for :mod:`chatter.trade.situation`."""
    usable, ceiling = usable_steps(job), ceiling_rev_min(job)
    known: dict[str, Value] = {"usable_steps": len(usable) or None}
    words = {"step_list": ", ".join(f"{s:g}" for s in usable)}
    # A speed that is named is one the machine has.
    top = max(usable, default=ceiling) if job.machine.speeds_rev_min else ceiling
    words["ceiling"] = show.show_spindle_speed(top, 3)
    _chip_facts(job, rev_min, system, known, words)
    advised, diameter_m = cutting_speed_range(job), job.cut_diameter_m
    if advised is not None and diameter_m is not None:
        speed = cutting_speed_m_s(rev_min, diameter_m)
        known["speed_ratio"] = speed / advised[1]
        known["speed_low_ratio"] = speed / advised[0]
        words["cutting_speed"] = show.show_cutting_speed(speed, system)
        words["speed_low"] = show.show_cutting_speed(advised[0], system)
        words["speed_high"] = show.show_cutting_speed(advised[1], system)
    return known, words


def _chip_facts(
    job: Job, rev_min: float, system: str, known: dict[str, Value], words: dict[str, str]
) -> None:
    chips = chip_load_range(job)
    if chips is None:
        return
    words["chip_range"] = (
        f"{show.show_chip_load(chips[0], system)} to {show.show_chip_load(chips[1], system)}"
    )
    if job.cut.feed_m_s is None:
        return
    load = job.cut.feed_m_s / feed_m_s(1.0, job.cutter.teeth, rev_min)
    known.update(chip_load_ratio=load / chips[0], chip_load_over=load / chips[1])
    words["chip_load"] = show.show_chip_load(load, system)
    for name, feed in (
        ("feed_target", feed_target_m_s(job, rev_min)),
        ("feed_less", feed_less_m_s(job, rev_min)),
        ("feed_more", feed_more_m_s(job, rev_min)),
    ):
        known[name] = feed
        words[name] = "" if feed is None else show.show_feed(feed, system)
    pair = slow_for_chip(job, rev_min)
    if pair is not None:
        known["chip_speed"] = pair[0]
        words["chip_speed"] = show.show_spindle_speed(pair[0])
        words["chip_feed"] = show.show_feed(pair[1], system)
