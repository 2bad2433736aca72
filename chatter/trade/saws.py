"""How deep a saw or a side mill may cut a slot in one pass, and why not deeper.

Five things bound it; each gives a depth, and the least of them counts.  No printed limit was
found for most of them: the numbers below are common practice unless they say otherwise.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from chatter.job.cutter import Cutter
from chatter.trade.cutting_data import chip_row, metal_class, specific_energy_j_m3
from chatter.trade.engagement import DISC_FORMS

#: A chip takes this many times the room of the metal it was: short chips, long chips
#: (three to five, common practice, no source).
CURL = {"iron": 3.0, "brass": 3.0}
LONGEST_CURL = 5.0
#: Area of a gullet over the square of the tooth pitch: a tooth half as high as its pitch, with
#: a straight back (common practice, no source).
GULLET_SHARE = 0.25
#: More teeth than this in a slot carry their chips too far (common practice, no source).
MOST_TEETH = 8.0
#: The finest saws have no coarse teeth to choose, and hardly fill their gullets.
FINE_M, MOST_FINE_TEETH = 6e-4, 12.0
#: Depth over width of the cutter: free metals, tough metals (common practice, no source).
WIDTHS, TOUGH_WIDTHS = 8.0, 5.0
#: Room to keep between collars and work (common practice, no source).
CLEARANCE_M = 3e-3
#: Young's modulus of high-speed steel [Pa], and how far below buckling a disc is kept.
STIFFNESS_PA, SAFETY = 2.1e11, 4.0


@dataclass(frozen=True)
class Limit:
    """One thing that bounds the depth of a pass."""

    depth_m: float
    name: str  # "collars", "teeth", "gullet", "width", "stiffness"


def depth_limits(
    cutter: Cutter, material: str | None, chip_m: float | None = None
) -> tuple[Limit, ...]:
    """What bounds the depth of one pass of a disc cutter, the tightest first.

    Parameters
    ----------
    cutter : Cutter
        With what is known of it; () unless it is a disc of known diameter.
    material : str or None
        Key of the work material.
    chip_m : float or None
        Feed per tooth [m]; the careful start of the tables when it is not known.

    Returns
    -------
    tuple of Limit
    """
    diameter_m = cutter.diameter_m
    if cutter.form not in DISC_FORMS or diameter_m is None:
        return ()
    if chip_m is None:
        row = chip_row(cutter.form, material, cutter.width_m, diameter_m)
        chip_m = row.start_m if row is not None else 2.5e-5
    limits = [
        Limit(_teeth_depth_m(cutter, diameter_m), "teeth"),
        Limit(gullet_area_m2(cutter) / (curl(material) * chip_m), "gullet"),
    ]
    if cutter.form == "slitting_saw" and cutter.width_m is not None:
        times = TOUGH_WIDTHS if metal_class(material) == "tough" else WIDTHS
        limits.append(Limit(times * cutter.width_m, "width"))
        limits.append(Limit(_buckling_depth_m(cutter, material, chip_m), "stiffness"))
    if cutter.collar_diameter_m is not None:
        reach = 0.5 * (diameter_m - cutter.collar_diameter_m) - CLEARANCE_M
        if reach > 0.0:
            limits.append(Limit(reach, "collars"))
    return tuple(sorted(limits, key=lambda one: one.depth_m))


def gullet_area_m2(cutter: Cutter) -> float:
    """Area of one gullet [m2], from tooth count and diameter."""
    pitch_m = math.pi * (cutter.diameter_m or 0.0) / cutter.teeth
    return GULLET_SHARE * pitch_m * pitch_m


def curl(material: str | None) -> float:
    """Room that chips take, over the room of the metal they were."""
    return CURL.get(metal_class(material), LONGEST_CURL)


def most_teeth(cutter: Cutter) -> float:
    """Teeth that may be in the slot at once."""
    fine = cutter.width_m is not None and cutter.width_m <= FINE_M
    return MOST_FINE_TEETH if fine else MOST_TEETH


def _teeth_depth_m(cutter: Cutter, diameter_m: float) -> float:
    """Depth at which ``most_teeth`` are in the slot: N acos(1 - 2 a/D) / 2 pi."""
    arc = min(math.pi, 2.0 * math.pi * most_teeth(cutter) / cutter.teeth)
    return 0.5 * diameter_m * (1.0 - math.cos(arc))


def _buckling_depth_m(cutter: Cutter, material: str | None, chip_m: float) -> float:
    """Depth at which the push of the feed comes near buckling the plate.

    The sector between collar and slot is taken as a column fixed at the collar and free at
    the rim, P = pi^2 E b w^3 / (48 L^2), with the chord of the cut sqrt(a D) as its width b;
    the push is the tangential force u a w f_z N / (pi D), which a dull saw reaches.  Equal at
    sqrt(a) = pi^3 E D^1.5 w^2 / (48 S u f_z N L^2), S the safety.
    """
    diameter_m, width_m = cutter.diameter_m or 0.0, cutter.width_m or 0.0
    # Collars of a third of the diameter stand in where none are stated.
    collar_m = cutter.collar_diameter_m or diameter_m / 3.0
    free_m = 0.5 * (diameter_m - collar_m)
    energy = specific_energy_j_m3(material, 0.5 * chip_m) or 4e9
    root = (math.pi**3 * STIFFNESS_PA * diameter_m**1.5 * width_m**2) / (
        48.0 * SAFETY * energy * chip_m * cutter.teeth * free_m**2
    )
    return root * root
