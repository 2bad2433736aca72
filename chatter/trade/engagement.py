"""Geometry of the cut: teeth in the work, chip thickness, approach, power.

A disc cutter or slab mill bites radially as deep as the cut (slot) is deep; an end or face
mill bites radially as wide as the cut is wide.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from chatter.job.cutter import BORED_OR_TURNED, Cutter

#: Cutters on an arbor, whose radial engagement is the depth of cut.
ARBOR_FORMS = ("slitting_saw", "side_and_face", "staggered_tooth", "slab")
#: Of these, the discs that cut slots.
DISC_FORMS = ("slitting_saw", "side_and_face", "staggered_tooth")
#: Faces that the middle of the cutter passes over.
FACE_FORMS = ("face_mill", "fly_cutter")
#: Cutters whose every tooth is in the metal all the time.
FULL_FORMS = (*BORED_OR_TURNED, "drill", "reamer")
#: Forms that mill: a table feeds the work into turning teeth.
MILL_FORMS = (*ARBOR_FORMS, *FACE_FORMS, "end_mill")


@dataclass(frozen=True)
class Engagement:
    """How the teeth meet the work; thicknesses as shares of the feed per tooth."""

    angle_rad: float  # arc of the cutter that is in the work
    teeth: float  # teeth in the work at once, on average
    chip_max: float
    chip_mean: float
    approach_m: float  # table travel before the cutter is fully in


def rev_min_at(cutting_speed_m_s: float, diameter_m: float) -> float:
    """Spindle speed n = V / (pi D) [rev/min]."""
    return 60.0 * cutting_speed_m_s / (math.pi * diameter_m)


def cutting_speed_m_s(rev_min: float, diameter_m: float) -> float:
    """Cutting speed V = pi D n [m/s]."""
    return math.pi * diameter_m * rev_min / 60.0


def feed_m_s(chip_load_m: float, teeth: int, rev_min: float) -> float:
    """Table feed f = f_z N n [m/s]."""
    return chip_load_m * teeth * rev_min / 60.0


def engagement(cutter: Cutter, depth_m: float | None, width_m: float | None) -> Engagement | None:
    """How a cutter meets the work; None when form or sizes are not known.

    With x = radial engagement / D: the arc is acos(1 - 2x) for a cutter that enters from
    one side and 2 asin(x) for a face mill centred on the work; the thickest chip is
    2 f_z sqrt(x (1 - x)) up to x = 1/2 and f_z beyond; the mean over the arc is
    2 x f_z / arc.  Helical teeth of a slab mill add N w tan(helix) / (pi D) to those in the
    cut, w the width of the cut: they enter one after another.
    """
    diameter_m = cutter.diameter_m
    if cutter.form in FULL_FORMS:
        return Engagement(2.0 * math.pi, float(cutter.teeth), 1.0, 1.0, 0.0)
    radial_m = depth_m if cutter.form in ARBOR_FORMS else width_m
    if cutter.form is None or diameter_m is None or radial_m is None:
        return None
    if not 0.0 < radial_m <= diameter_m:
        return None
    x = radial_m / diameter_m
    if cutter.form in FACE_FORMS:
        angle_rad = 2.0 * math.asin(x)
        chip_max = 1.0
        approach_m = 0.5 * diameter_m * (1.0 - math.sqrt(1.0 - x * x))
    else:
        angle_rad = math.acos(1.0 - 2.0 * x)
        chip_max = 2.0 * math.sqrt(x * (1.0 - x)) if x < 0.5 else 1.0
        approach_m = diameter_m * (math.sqrt(x * (1.0 - x)) if x < 0.5 else 0.5)
    teeth = cutter.teeth * angle_rad / (2.0 * math.pi)
    if cutter.form == "slab" and width_m is not None:
        teeth += cutter.teeth * width_m * math.tan(cutter.helix_rad or 0.0) / (math.pi * diameter_m)
    return Engagement(angle_rad, teeth, chip_max, 2.0 * x / angle_rad, approach_m)
