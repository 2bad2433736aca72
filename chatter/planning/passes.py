"""How deep one pass may go, and how many it takes: a number with its reasons."""

from __future__ import annotations

import math
from dataclasses import dataclass

from chatter.job import show
from chatter.job.cutter import Cutter
from chatter.planning.setting import Wish, cut_width_m
from chatter.trade.cutting_data import ChipRow, metal_class
from chatter.trade.engagement import DISC_FORMS
from chatter.trade.saws import Limit, curl, depth_limits, most_teeth

#: Depth of an end mill over its diameter: in a full slot, and with a quarter of it or less in
#: the work; a tough metal takes seven tenths of it (common practice, no source).
SLOT_DEPTHS, SIDE_DEPTHS, TOUGH = 0.5, 1.5, 0.7
#: A fly cutter's light cut (common practice, no source).
FLY_DEPTH_M = 1.5e-3
#: Reasons that bound the cutter itself; the others bound one pass.
_HAIR = 1.0 + 1e-6


@dataclass(frozen=True)
class Passes:
    """Depth of one pass, how many, and what bounds it."""

    depth_m: float | None  # of one pass; None when no depth of cut is stated
    count: int
    limits: tuple[Limit, ...]  # the tightest first

    @property
    def most_m(self) -> float | None:
        """The deepest one pass may be; None when nothing bounds it."""
        return self.limits[0].depth_m if self.limits else None


def passes(cutter: Cutter, wish: Wish, chips: ChipRow | None) -> Passes:
    """Depth per pass of a wish; one pass when nothing bounds it."""
    chip_m = None if chips is None else chips.start_m
    limits = depth_limits(cutter, wish.material, chip_m) or _axial(cutter, wish)
    # Collars bound the whole slot: more passes do not get the cutter any deeper.
    bounds = [one.depth_m for one in limits if one.name != "collars"]
    return divided(wish.depth_m, min(bounds, default=None), limits)


def divided(depth_m: float | None, most_m: float | None, limits: tuple[Limit, ...]) -> Passes:
    """A depth in as few equal passes as the greatest one allows."""
    if depth_m is None or most_m is None or depth_m <= most_m * _HAIR:
        return Passes(depth_m, 1, limits)
    count = math.ceil(depth_m / (most_m * _HAIR))
    return Passes(depth_m / count, count, limits)


def _axial(cutter: Cutter, wish: Wish) -> tuple[Limit, ...]:
    """Depth along the axis of an end mill or fly cutter."""
    if cutter.form == "fly_cutter":
        return (Limit(FLY_DEPTH_M, "fly"),)
    if cutter.form != "end_mill" or cutter.diameter_m is None:
        return ()
    width_m = cut_width_m(cutter, wish) or cutter.diameter_m
    share = max(0.05, min(1.0, width_m / cutter.diameter_m))
    times = min(SIDE_DEPTHS, max(SLOT_DEPTHS, SLOT_DEPTHS / share))
    if metal_class(wish.material) == "tough":
        times *= TOUGH
    return (Limit(times * cutter.diameter_m, "axial"),)


def pass_lines(cutter: Cutter, wish: Wish, plan: Passes, units: str) -> list[str]:
    """Depth per pass as a number, and each thing that bounds it; without full stops."""
    if plan.most_m is None:
        return []
    unbound = [one for one in plan.limits if one.name != "collars"]
    if not unbound:
        return []
    lines = [f"One pass may be {_length(unbound[0].depth_m, units)} deep"]
    if wish.depth_m is not None:
        many = "one pass" if plan.count == 1 else f"{plan.count} passes"
        each = "" if plan.count == 1 else f" of {_length(plan.depth_m or 0.0, units)}"
        lines[0] += f"; {_length(wish.depth_m, units)} takes {many}{each}"
    if cutter.form in DISC_FORMS:
        lines.append(
            "What bounds it: "
            + "; ".join(
                f"{_WHY[one.name].format(**_words(cutter, wish))}, {_length(one.depth_m, units)}"
                for one in plan.limits
                # far away from being reached
                if one.depth_m <= 0.5 * (cutter.diameter_m or math.inf)
            )
        )
    return lines


_WHY = {
    "teeth": "{teeth:.0f} teeth in the slot at once",
    "gullet": "gullets that hold a chip of {curl:.0f} times its metal",
    "width": "a few times its width, lest it wander",
    "stiffness": "the push of the feed against a thin plate",
    "collars": "collars clear of the work",
}


def _words(cutter: Cutter, wish: Wish) -> dict[str, float]:
    return {"teeth": most_teeth(cutter), "curl": curl(wish.material)}


def _length(value_m: float, units: str) -> str:
    return show.show_length(value_m, units, 2)
