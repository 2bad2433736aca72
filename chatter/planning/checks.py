"""What is wrong with a planned cut, each thing in one sentence with its numbers."""

from __future__ import annotations

from chatter.job import show
from chatter.job.cutter import Cutter
from chatter.job.machine import Machine
from chatter.planning.setting import Setting, Wish
from chatter.trade.cutting_data import ChipRow, SpeedRow
from chatter.trade.engagement import ARBOR_FORMS, DISC_FORMS, Engagement

#: Room to keep between collars and work (common practice, no source).
CLEARANCE_M = 3e-3
#: More than this many teeth in a slot carry their chips a long way (common practice, no source).
CROWDED_TEETH = 6.0
#: Staggered teeth for slots deeper than about a quarter inch (common practice, no source).
DEEP_SLOT_M = 6.35e-3
#: Chip loads are tabled as feed per tooth for usual depths; a chip thinned below half of the
#: rubbing limit is about as thin as a good edge is round (common practice, no source).
THINNEST = 0.5
#: How a complaint that is no reason to avoid a setting ends.
SLOW = "safe, but slow"
#: Rounding between inch and metric steps is not worth a warning.
_HAIR = 1e-3


def setting_problems(
    one: Setting, cutter: Cutter, speeds: SpeedRow | None, chips: ChipRow | None, system: str
) -> tuple[str, ...]:
    """What speaks against a setting; empty when nothing does."""
    said = []
    chip_m, speed = one.chip_load_m, one.cutting_speed_m_s
    if cutter.max_rev_min is not None and one.rev_min > cutter.max_rev_min * (1 + _HAIR):
        said.append(
            f"{show.show_spindle_speed(one.rev_min)} is above the speed marked on the cutter, "
            f"{show.show_spindle_speed(cutter.max_rev_min)}: do not run it."
        )
    if speeds is not None and speed is not None:
        if speed > speeds.high_m_s * (1 + _HAIR):
            said.append(
                f"{show.show_cutting_speed(speed, system)} is above the advised "
                f"{show.show_cutting_speed(speeds.high_m_s, system)}: the cutter will dull fast."
            )
        elif speed < 0.5 * speeds.low_m_s:
            said.append(
                f"{show.show_cutting_speed(speed, system)} is less than half the lowest advised "
                f"{show.show_cutting_speed(speeds.low_m_s, system)}: {SLOW}."
            )
    if chips is not None and chip_m is not None:
        if chip_m < chips.low_m * (1 - _HAIR):
            said.append(
                f"{show.show_chip_load(chip_m, system)} is below the rubbing limit of "
                f"{show.show_chip_load(chips.low_m, system)}: the teeth rub instead of cutting."
            )
        elif chip_m > chips.high_m * (1 + _HAIR):
            said.append(
                f"{show.show_chip_load(chip_m, system)} is above the advised limit of "
                f"{show.show_chip_load(chips.high_m, system)}: the teeth may be overloaded."
            )
        elif one.chip_max_m is not None and one.chip_max_m < THINNEST * chips.low_m:
            said.append(
                f"The shallow cut thins the chip to {show.show_length(one.chip_max_m, system, 3)}, "
                "where teeth begin to rub: feed faster or cut deeper."
            )
    if one.motor_share is not None and one.motor_share > 1.0:
        said.append(
            f"It may take up to {show.show_power(one.power_w[1], system)} with a dull cutter, "  # type: ignore[index]
            f"{100 * one.motor_share:.0f} % of the motor: feed slower or cut less deep."
        )
    return tuple(said)


def cut_problems(
    cutter: Cutter, machine: Machine, wish: Wish, contact: Engagement | None, system: str
) -> tuple[str, ...]:
    """What speaks against the cut at any speed and feed."""
    return (
        *_reach(cutter, machine, wish, system),
        *_direction(machine, wish),
        *_teeth(cutter, wish, contact),
    )


def _reach(cutter: Cutter, machine: Machine, wish: Wish, system: str) -> list[str]:
    """Whether the cutter reaches the bottom of the slot before its collars touch."""
    depth_m, diameter_m = wish.depth_m, cutter.diameter_m
    if cutter.form not in ARBOR_FORMS or depth_m is None or diameter_m is None:
        return []
    collar_m = cutter.collar_diameter_m
    hub = "collars"
    if collar_m is None and machine.arbor_diameters_m:
        collar_m, hub = min(machine.arbor_diameters_m), "bare arbor, without any collar,"

    def length(value_m: float) -> str:
        return show.show_length(value_m, system, 3)

    reach_m = 0.5 * (diameter_m - (collar_m or 0.0))
    if depth_m >= reach_m - 1e-6:  # a micrometre is rounding of inches
        what = f"the {hub} of {length(collar_m)}" if collar_m else "its own centre"
        return [
            f"A cutter of {length(diameter_m)} cannot cut {length(depth_m)} deep: {what} would "
            f"touch at {length(reach_m)}; take a larger cutter or less depth."
        ]
    if collar_m is not None and depth_m > reach_m - CLEARANCE_M:
        return [
            f"Only {length(reach_m - depth_m)} are left between work and {hub}: check that "
            "collars, nut and clamps clear all along the cut, or take a larger cutter."
        ]
    if cutter.collar_diameter_m is None and depth_m > 0.25 * diameter_m:
        return [
            f"The slot takes {length(depth_m)} of the {length(0.5 * diameter_m)} from rim to "
            "centre: measure that arbor collars and clamps clear the work."
        ]
    return []


def _direction(machine: Machine, wish: Wish) -> list[str]:
    if wish.direction != "climb" or machine.table_backlash is False:
        return []
    if machine.table_backlash:
        return ["Climb milling with backlash in the table screw: change to conventional milling."]
    return ["Climb milling, and backlash is not stated: check the table screw before you start."]


def _teeth(cutter: Cutter, wish: Wish, contact: Engagement | None) -> list[str]:
    said = []
    if contact is not None and cutter.form in ARBOR_FORMS:
        if contact.teeth < 1.0:
            said.append(
                f"On average {contact.teeth:.1f} teeth are in the cut, so the cutter knocks at "
                "every tooth: a finer-toothed cutter runs smoother."
            )
        elif contact.teeth > CROWDED_TEETH and cutter.form in DISC_FORMS:
            said.append(
                f"{contact.teeth:.1f} teeth are in the slot at once and must carry their chips "
                "along: clear the chips, or take a coarse-toothed cutter (half the teeth)."
            )
    plain = cutter.form == "slitting_saw" and not cutter.side_relief
    if plain and wish.depth_m is not None and wish.depth_m > DEEP_SLOT_M:
        unless = "" if cutter.side_relief is False else ", unless its sides are relieved"
        said.append(
            f"A plain saw rubs its sides in a slot this deep{unless}: a hollow-ground saw or a "
            "staggered-tooth cutter runs freer."
        )
    return said
