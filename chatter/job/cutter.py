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
    "fly_cutter",  # one tool swung round in a head
    "single_point",  # turning tool: the work turns
    "boring_bar",  # a bar with one edge, inside a bore
    "parting_tool",
    "drill",
    "reamer",
    "band_saw",
)
#: Tools that cut a diameter which is not their own: the work's, or the bore's.
BORED_OR_TURNED = ("single_point", "boring_bar", "parting_tool")
#: Tools with one edge by their nature.
ONE_EDGE = BORED_OR_TURNED


@dataclass(frozen=True)
class Cutter:
    """A cutter; only the tooth count is needed to listen."""

    teeth: int
    name: str = ""
    form: str | None = None  # one of FORMS
    diameter_m: float | None = None  # over the teeth; of a boring bar: the bar
    width_m: float | None = None
    material: str | None = None  # "hss", "carbide" or "carbon_steel"
    side_relief: bool | None = None  # hollow ground or backed off at the sides
    max_rev_min: float | None = None  # the maker's marking
    reground: bool | None = None
    collar_diameter_m: float | None = None  # arbor collars or spacers beside a disc cutter
    helix_rad: float | None = None  # of the teeth of a slab mill; None counts as straight
    pitch_m: float | None = None  # from tooth to tooth of a band-saw blade
