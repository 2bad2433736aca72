"""One setting of speed and feed, and what it gives."""

from __future__ import annotations

import math
from dataclasses import dataclass

from chatter.job.cut import Observed, cut_diameter_m
from chatter.job.cutter import Cutter
from chatter.trade.cutting_data import drive, energy_row, specific_energy_j_m3
from chatter.trade.engagement import DISC_FORMS, Engagement, cutting_speed_m_s

#: Spread of tabled specific energies within one material, either way (common practice).
ENERGY_SPREAD = 0.3


@dataclass(frozen=True)
class Wish:
    """The cut that is planned; None is not known."""

    material: str | None = None
    depth_m: float | None = None
    width_m: float | None = None
    length_m: float | None = None
    direction: str | None = None
    speed_rev_min: float | None = None  # to see what a setting of one's own gives
    feed_m_s: float | None = None
    chip_load_m: float | None = None
    observed: tuple[Observed, ...] = ()  # what earlier cuts with this set-up did
    work_diameter_m: float | None = None  # turned or bored: the diameter that is cut
    overhang_m: float | None = None
    blade_speed_m_s: float | None = None  # of a band saw


@dataclass(frozen=True)
class Setting:
    """Speed and feed with what they give; None is not known."""

    rev_min: float
    feed_m_s: float | None
    on_machine: bool  # both are steps the machine has
    label: str  # "first choice", "then: more feed", "then: more speed", "as stated" ...
    cutting_speed_m_s: float | None
    chip_load_m: float | None
    tooth_passing_hz: float
    time_s: float | None  # of one pass: the length of cut and the approach
    chip_max_m: float | None  # thickest chip, thinned by a shallow cut
    chip_mean_m: float | None
    power_w: tuple[float, float] | None  # at the motor, sharp cutter to dull cutter
    motor_share: float | None  # of the motor's power, dull cutter
    problems: tuple[str, ...] = ()


def setting(
    cutter: Cutter,
    wish: Wish,
    contact: Engagement | None,
    *,
    rev_min: float,
    feed_m_s: float | None,
    on_machine: bool = False,
    motor_power_w: float | None = None,
) -> Setting:
    """Work out what a speed and a feed give.

    Parameters
    ----------
    cutter, wish, contact
        The cutter, the cut, and how they meet (``engagement``).
    rev_min, feed_m_s
        The setting; the feed may be unknown.
    on_machine : bool
        Whether both are steps of the machine.
    motor_power_w : float or None
        For the share of the motor that is used.
    """
    chip_m = None if feed_m_s is None else feed_m_s * 60.0 / (rev_min * cutter.teeth)
    chip_mean_m = None if contact is None or chip_m is None else contact.chip_mean * chip_m
    diameter_m = cut_diameter_m(cutter, wish.work_diameter_m)
    speed = None if diameter_m is None else cutting_speed_m_s(rev_min, diameter_m)
    power_w = _power_w(cutter, wish, feed_m_s, chip_mean_m, speed)
    return Setting(
        rev_min=rev_min,
        feed_m_s=feed_m_s,
        on_machine=on_machine,
        label="",
        cutting_speed_m_s=speed,
        chip_load_m=chip_m,
        tooth_passing_hz=rev_min * cutter.teeth / 60.0,
        time_s=_time_s(wish, contact, feed_m_s),
        chip_max_m=None if contact is None or chip_m is None else contact.chip_max * chip_m,
        chip_mean_m=chip_mean_m,
        power_w=power_w,
        motor_share=(
            None if power_w is None or motor_power_w is None else power_w[1] / motor_power_w
        ),
    )


def cut_width_m(cutter: Cutter, wish: Wish) -> float | None:
    """Width of the cut: as stated, else that of the slot which a disc or end mill cuts."""
    if wish.width_m is not None:
        return wish.width_m
    if cutter.form == "end_mill":
        return cutter.diameter_m
    return cutter.width_m if cutter.form in (*DISC_FORMS, "parting_tool") else None


def _time_s(wish: Wish, contact: Engagement | None, feed_m_s: float | None) -> float | None:
    if wish.length_m is None or feed_m_s is None:
        return None
    return (wish.length_m + (contact.approach_m if contact is not None else 0.0)) / feed_m_s


def removal_m3_s(
    cutter: Cutter, wish: Wish, feed_m_s: float, speed_m_s: float | None
) -> float | None:
    """Metal removed a second [m3/s], None when it is not known.

    Milling: depth x width x feed.  Turning and boring: depth x feed a turn x cutting speed.
    Parting: width x feed a turn x cutting speed.  Drilling: area of the drill x feed.
    """
    depth_m, width_m = wish.depth_m, cut_width_m(cutter, wish)
    if cutter.form == "drill":
        return (
            None if cutter.diameter_m is None else 0.25 * math.pi * cutter.diameter_m**2 * feed_m_s
        )
    if cutter.form in ("single_point", "boring_bar", "parting_tool"):
        side_m = width_m if cutter.form == "parting_tool" else depth_m
        if side_m is None or speed_m_s is None or wish.work_diameter_m is None:
            return None
        return side_m * feed_m_s * math.pi * wish.work_diameter_m
    if cutter.form == "reamer" or depth_m is None or width_m is None:
        return None
    return depth_m * width_m * feed_m_s


def _power_w(
    cutter: Cutter,
    wish: Wish,
    feed_m_s: float | None,
    chip_mean_m: float | None,
    speed_m_s: float | None,
) -> tuple[float, float] | None:
    """Power at the motor: volume removed per second x specific energy / efficiency."""
    if feed_m_s is None or chip_mean_m is None or energy_row(wish.material) is None:
        return None
    removed = removal_m3_s(cutter, wish, feed_m_s, speed_m_s)
    energy = specific_energy_j_m3(wish.material, chip_mean_m)
    if removed is None or energy is None:
        return None
    efficiency, dull = drive()
    power_w = removed * energy / efficiency
    return power_w * (1.0 - ENERGY_SPREAD), power_w * dull * (1.0 + ENERGY_SPREAD)
