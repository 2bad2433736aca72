"""Cuts that were made before with this set-up, and what they say of the next one."""

from __future__ import annotations

from collections.abc import Sequence

from chatter.job import show
from chatter.job.cut import Cut, Observed
from chatter.trade.calibration import ObservedCut

#: Speeds this near each other are the same step of the machine.
SAME_SPEED = 0.03


def observations(cut: Cut) -> tuple[ObservedCut, ...]:
    """The earlier cuts of a job, as the stability chart takes them."""
    return tuple(ObservedCut(o.speed_rev_min, o.depth_m, o.chatters) for o in cut.observed)


def clash(observed: Sequence[Observed], system: str = "metric") -> str | None:
    """Name a shallower cut that chattered beside a deeper one, at the same speed, that did not.

    No theory is needed for this: at one speed and with one set-up, less depth is never worse
    (up to rare islands of stability, which no shop would plan on).
    """
    for bad in (o for o in observed if o.chatters):
        for good in (o for o in observed if not o.chatters):
            apart = abs(good.speed_rev_min / bad.speed_rev_min - 1.0)
            if apart > SAME_SPEED or good.depth_m < bad.depth_m:
                continue
            speed = show.show_spindle_speed(bad.speed_rev_min)
            return (
                f"Two of the stated cuts do not fit together: {_depth(bad, system)} at {speed} is "
                f"said to have chattered, and {_depth(good, system)} not. Something differed "
                "between them (support, sharpness, material): leave out the one made with another "
                "set-up."
            )
    return None


def trouble(
    observed: Sequence[Observed], rev_min: float, depth_m: float | None, system: str = "metric"
) -> str | None:
    """Say that this depth, or less, chattered at this speed before; None when it did not."""
    bad, good = _at(observed, rev_min)
    if bad is None or depth_m is None or depth_m < bad.depth_m:
        return None
    less = "take less depth or another speed"
    if good is not None and good.depth_m < bad.depth_m:
        less = f"{_depth(good, system)} was quiet"
    return f"{_depth(bad, system)} chattered at this speed before: {less}."


def comfort(
    observed: Sequence[Observed], rev_min: float, depth_m: float | None, system: str = "metric"
) -> str | None:
    """Say what an earlier quiet cut at this speed means for a depth; None when it says nothing."""
    bad, good = _at(observed, rev_min)
    if good is None or depth_m is None or (bad is not None and depth_m >= bad.depth_m):
        return None
    at, depth = show.show_spindle_speed(rev_min, 3), show.show_length(depth_m, system, 3)
    if depth_m <= good.depth_m:
        return f"{_depth(good, system)} was quiet at {at} before: {depth} should be too."
    if bad is None:
        return f"{_depth(good, system)} was quiet at {at} before; {depth} is deeper, so listen."
    return (
        f"At {at} {_depth(good, system)} was quiet and {_depth(bad, system)} chattered: {depth} "
        "lies between, so listen."
    )


def _at(observed: Sequence[Observed], rev_min: float) -> tuple[Observed | None, Observed | None]:
    """The shallowest cut that chattered and the deepest that did not, at a speed."""
    near = [o for o in observed if abs(o.speed_rev_min / rev_min - 1.0) <= SAME_SPEED]
    bad = min((o for o in near if o.chatters), key=lambda o: o.depth_m, default=None)
    good = max((o for o in near if not o.chatters), key=lambda o: o.depth_m, default=None)
    return bad, good


def _depth(observed: Observed, system: str) -> str:
    return show.show_length(observed.depth_m, system, 3)
