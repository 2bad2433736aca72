"""Pace: at which speed each take turned: as heard, as heard in another take, or as it swells."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from chatter.comparing.heard import Listened
from chatter.findings import Pass
from chatter.sound.period import hear_swelling

#: A pass is cut short by this share of a turn at both ends, and by no more than this of itself.
_TRIM_TURNS, _TRIM_SHARE = 0.5, 0.1
#: Stated speeds nearer than this are the same gear.
_SAME = 1e-3
#: A period is the turn when it swells so many times more than others: where the teeth told the
#: speed as well, 95 % of such periods were within 2 % of it.
_STANDS_OUT = 1.3
#: Teeth and swelling contradict each other beyond this.  With the swelling this much greater than
#: at other periods it is the teeth that were miscounted: they are counted by hand.
_CONTRADICTS, _BEYOND_DOUBT = 0.025, 3.0

Course = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Speed:
    """Spindle speed of one take.

    Attributes
    ----------
    rev_min : float
    source : str
        "heard", "other take" or "swelling".
    parts_teeth : bool
        It is known well enough to part one tooth from the next.
    courses : dict
        Start of a pass [s] -> its course of (time [s], spindle frequency [Hz]), where known.
    """

    rev_min: float
    source: str
    parts_teeth: bool
    courses: dict[float, Course] = field(default_factory=dict)

    def course(self, one_pass: Pass) -> Course:
        """Spindle frequency over a pass."""
        return self.courses.get(one_pass.start_s) or ((one_pass.start_s, self.rev_min / 60.0),)


def speeds(takes: Sequence[Listened], *, fastest_hz: float) -> list[Speed | None]:
    """Speed of each take; None where it is not known.

    A speed heard by the teeth comes first, in the take itself or in others that state the same;
    then the period at which the take itself swells beyond doubt; then that of the others; then a
    fainter one of its own, which may lie a per cent or two beside the turn.

    Parameters
    ----------
    takes : sequence of Listened
    fastest_hz : float [Hz]
        Fastest tooth passing among the takes.
    """
    swells = [_swelling(take, fastest_hz) for take in takes]
    known = [_heard(take, swell) for take, swell in zip(takes, swells, strict=True)]
    known = [
        speed or _elsewhere(take, takes, known) for take, speed in zip(takes, known, strict=True)
    ]
    for least in (_BEYOND_DOUBT, _STANDS_OUT):
        own = [swell[0] if swell and swell[1] > least else None for swell in swells]
        known = [speed or mine for speed, mine in zip(known, own, strict=True)]
        known = [
            speed or _elsewhere(take, takes, known)
            for take, speed in zip(takes, known, strict=True)
        ]
    return known


def trimmed(one_pass: Pass, stated_hz: float, rate_hz: int) -> tuple[int, int]:
    """First and last sample of a pass without its entry and exit."""
    trim = min(_TRIM_TURNS / stated_hz, _TRIM_SHARE * (one_pass.end_s - one_pass.start_s))
    return int((one_pass.start_s + trim) * rate_hz), int((one_pass.end_s - trim) * rate_hz)


def _heard(take: Listened, swell: tuple[Speed, float] | None) -> Speed | None:
    """The speed the teeth told, unless the swelling contradicts them beyond doubt."""
    if take.speed_rev_min is None:
        return None
    if swell is not None:
        speed, times_others = swell
        off = abs(take.speed_rev_min / speed.rev_min - 1.0)
        if off > _CONTRADICTS and times_others > _BEYOND_DOUBT:
            return speed
    courses = {}
    for one_pass in take.passes:
        if one_pass.spindle.heard:
            course = tuple((float(t), float(f) / 60.0) for t, f in one_pass.spindle.course)
            courses[one_pass.start_s] = course or (
                (one_pass.start_s, one_pass.spindle.rev_min / 60.0),
            )
    return Speed(take.speed_rev_min, "heard", True, courses)


def _elsewhere(
    take: Listened, every: Sequence[Listened], of_takes: Sequence[Speed | None]
) -> Speed | None:
    """Median over the other takes that state the same speed."""
    stated = take.job.cut.speed_rev_min
    known = [
        speed
        for other, speed in zip(every, of_takes, strict=True)
        if other is not take
        and speed is not None
        and abs(other.job.cut.speed_rev_min / stated - 1.0) < _SAME
    ]
    if not known:
        return None
    rev_min = float(np.median([speed.rev_min for speed in known]))
    return Speed(rev_min, "other take", all(speed.parts_teeth for speed in known))


def _swelling(take: Listened, fastest_hz: float) -> tuple[Speed, float] | None:
    """The speed at which the passes of a take swell, and how many times more than at others."""
    if take.unfit is not None or not take.passes:
        return None
    stated_hz = take.job.cut.speed_rev_min / 60.0
    swellings = {}
    track = take.spool
    for one_pass in take.passes:
        start, stop = trimmed(one_pass, stated_hz, track.rate_hz)
        swelling = hear_swelling(
            track.read, start, stop, track.rate_hz, stated_hz=stated_hz, fastest_hz=fastest_hz
        )
        if swelling is not None and swelling.times_others > _STANDS_OUT:
            swellings[one_pass.start_s] = swelling
    if not swellings:
        return None
    hz = np.median([f for swelling in swellings.values() for _, f in swelling.course])
    courses = {start_s: swelling.course for start_s, swelling in swellings.items()}
    best = max(swelling.times_others for swelling in swellings.values())
    return Speed(60.0 * float(hz), "swelling", False, courses), best
