"""Cutter: teeth, size and form."""

from __future__ import annotations

from dataclasses import dataclass

#: Forms of cutter, by their trade names.
FORMS = (
    "slitting_saw",  # plain sides, no side relief unless stated
    "side_and_face",  # straight teeth with side cutting edges
    "staggered_tooth",  # alternate helix, side relief
    "slab",  # plain (cylindrical) mill
    "end_mill",
    "face_mill",
    "single_point",  # turning or boring, one tooth
)


@dataclass(frozen=True)
class Cutter:
    """A cutter; only the tooth count is needed to listen."""

    teeth: int
    name: str = ""
    form: str | None = None  # one of FORMS
    diameter_m: float | None = None
    width_m: float | None = None
    material: str | None = None  # "hss", "carbide" or "carbon_steel"
    side_relief: bool | None = None  # hollow ground or backed off at the sides
    max_rev_min: float | None = None  # the maker's marking
    reground: bool | None = None
    collar_diameter_m: float | None = None  # arbor collars or spacers beside a disc cutter
