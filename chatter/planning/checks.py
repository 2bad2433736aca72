"""What is wrong with a planned cut, each thing in one sentence with its numbers."""

from __future__ import annotations

from chatter.job import show
from chatter.job.cutter import Cutter
from chatter.job.machine import Machine
from chatter.planning.setting import Setting, Wish, cut_width_m
from chatter.trade.cutting_data import ChipRow, SpeedRow
from chatter.trade.engagement import ARBOR_FORMS, DISC_FORMS, MILL_FORMS, Engagement
from chatter.trade.saws import CLEARANCE_M, most_teeth

#: Staggered teeth for slots deeper than about a quarter inch (common practice, no source).
DEEP_SLOT_M = 6.35e-3
#: Chip loads are tabled as feed per tooth for usual depths; a chip thinned below half of the
#: rubbing limit is about as thin as a good edge is round (common practice, no source).
THINNEST = 0.5
#: A bar or tool that hangs out further than this many times its thickness sings
#: (common practice, no source).
LONG_BAR = 4.0
#: How a complaint that is no reason to avoid a setting ends.
SLOW = "safe, but slow"
#: Rounding between inch and metric steps is not worth a warning.
_HAIR = 1e-3


def setting_problems(
    setting: Setting, cutter: Cutter, speeds: SpeedRow | None, chips: ChipRow | None, system: str
) -> tuple[str, ...]:
    """What speaks against a setting; empty when nothing does."""
    said = []
    if cutter.max_rev_min is not None and setting.rev_min > cutter.max_rev_min * (1 + _HAIR):
        said.append(
            f"{show.show_spindle_speed(setting.rev_min)} is above the speed marked on the cutter, "
            f"{show.show_spindle_speed(cutter.max_rev_min)}: do not run it."
        )
    said += _speed(setting, cutter, speeds, system)
    said += _chip(setting, chips, system)
    power_w, share = setting.power_w, setting.motor_share
    if power_w is not None and share is not None and share > 1.0:
        less = (
            "drill it in two sizes"
            if cutter.form == "drill"
            else "take less depth at the same chip load"
        )
        said.append(
            f"It may take up to {show.show_power(power_w[1], system)} with a dull cutter, "
            f"{100 * share:.0f} % of the motor: {less}."
        )
    return tuple(said)


def _speed(setting: Setting, cutter: Cutter, speeds: SpeedRow | None, system: str) -> list[str]:
    speed = setting.cutting_speed_m_s
    if speeds is None or speed is None:
        return []
    shown = show.show_cutting_speed(speed, system)
    if speed > speeds.high_m_s * (1 + _HAIR):
        return [
            f"{shown} is above the advised {show.show_cutting_speed(speeds.high_m_s, system)}: "
            "the cutter will dull fast."
        ]
    lowest = show.show_cutting_speed(speeds.low_m_s, system)
    if cutter.material == "carbide" and speed < speeds.low_m_s * (1 - _HAIR):
        return [
            f"{shown} is below the {lowest} that carbide needs: its edges chip and metal welds "
            "on; go faster, or use high-speed steel."
        ]
    if speed < 0.5 * speeds.low_m_s:
        return [f"{shown} is less than half the lowest advised {lowest}: {SLOW}."]
    return []


def _chip(setting: Setting, chips: ChipRow | None, system: str) -> list[str]:
    chip_m = setting.chip_load_m
    if chips is None or chip_m is None:
        return []
    shown, high = show.show_chip_load(chip_m, system), show.show_chip_load(chips.high_m, system)
    if chip_m < chips.low_m * (1 - _HAIR):
        return [
            f"{shown} is below {show.show_chip_load(chips.low_m, system)}: the teeth rub instead "
            "of cutting."
        ]
    if chip_m > chips.high_m * (1 + _HAIR):
        end = "such a cutter breaks." if chips.breaks_above else "work up to it, if at all."
        return [f"{shown} is above the table, which ends at {high}: {end}"]
    if setting.chip_max_m is not None and setting.chip_max_m < THINNEST * chips.low_m:
        return [
            f"The shallow cut thins the chip to {show.show_length(setting.chip_max_m, system, 3)}, "
            "where teeth begin to rub: feed faster or cut deeper."
        ]
    return []


def cut_problems(
    cutter: Cutter,
    machine: Machine,
    wish: Wish,
    contact: Engagement | None,
    system: str,
) -> tuple[str, ...]:
    """What speaks against the cut at any speed and feed; ``contact`` is of one pass."""
    return (
        *_width(cutter, wish, system),
        *_reach(cutter, machine, wish, system),
        *_direction(cutter, machine, wish),
        *_teeth(cutter, wish, contact),
        *_limber(cutter, wish, system),
    )


def _width(cutter: Cutter, wish: Wish, system: str) -> list[str]:
    """A saw cuts its own width, so that two different widths contradict each other."""
    own, cut = cutter.width_m, wish.width_m
    if cutter.form != "slitting_saw" or own is None or cut is None:
        return []
    if abs(cut / own - 1.0) <= 0.02:
        return []
    return [
        f"The saw is {show.show_length(own, system, 3)} wide and the cut "
        f"{show.show_length(cut, system, 3)}: a saw cuts its own width, so correct one of the two."
    ]


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


def _direction(cutter: Cutter, machine: Machine, wish: Wish) -> list[str]:
    if cutter.form is not None and cutter.form not in MILL_FORMS:
        return []
    if wish.direction is None and machine.table_backlash:
        return [
            "The table screw has backlash and the feed direction is not stated: feed the work "
            "against the teeth (conventional milling). Fed with the teeth (climb milling), the "
            "cutter pulls the table in by the play of the screw."
        ]
    if wish.direction != "climb" or machine.table_backlash is False:
        return []
    if machine.table_backlash:
        return ["Climb milling with backlash in the table screw: change to conventional milling."]
    return ["Climb milling, and backlash is not stated: check the table screw before you start."]


def _teeth(cutter: Cutter, wish: Wish, contact: Engagement | None) -> list[str]:
    said = []
    if contact is not None and cutter.form in ARBOR_FORMS:
        if contact.teeth < 1.0:
            unless = ""
            if cutter.form == "slab" and cutter.helix_rad is None:
                unless = " if it is straight; with helical teeth state the helix and the width"
            said.append(
                f"On average {contact.teeth:.1f} teeth are in the cut, so the cutter knocks at "
                f"every tooth{unless}: a finer-toothed or helical cutter runs smoother."
            )
        elif contact.teeth > 1.02 * most_teeth(cutter) and cutter.form in DISC_FORMS:
            said.append(
                f"{contact.teeth:.1f} teeth are in the slot at once and must carry their chips "
                "along: take shallower passes, or a coarse-toothed cutter (half the teeth)."
            )
    plain = cutter.form == "slitting_saw" and not cutter.side_relief
    if plain and wish.depth_m is not None and wish.depth_m > DEEP_SLOT_M:
        unless = "" if cutter.side_relief is False else ", unless its sides are relieved"
        said.append(
            f"A plain saw rubs its sides in a slot this deep{unless}: take it in shallower passes "
            "with the chips cleared, or use a hollow-ground saw or a staggered-tooth cutter."
        )
    return said


def _limber(cutter: Cutter, wish: Wish, system: str) -> list[str]:
    """Long bars and end mills, wide parting cuts."""
    out, thick = wish.overhang_m, cutter.diameter_m
    slender = cutter.form in ("boring_bar", "end_mill")
    if slender and out is not None and thick is not None and out > LONG_BAR * thick:
        return [
            f"It stands out {out / thick:.1f} times its diameter: more than {LONG_BAR:.0f} "
            "times sings; shorten it, or take a thicker one."
        ]
    width_m = cut_width_m(cutter, wish)
    if cutter.form == "parting_tool" and wish.work_diameter_m and width_m:
        deep = 0.5 * wish.work_diameter_m
        if deep > 8.0 * width_m:
            return [
                f"A blade of {show.show_length(width_m, system, 2)} has to part "
                f"{show.show_length(deep, system, 3)} deep: widen the groove a little as you go, "
                "or saw it off."
            ]
    return []
