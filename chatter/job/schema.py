"""Everything a machinist can state, in one table: cards, options and checks follow it."""

from __future__ import annotations

from functools import partial
from math import pi
from typing import Any

from chatter.errors import JobError
from chatter.job import units, words
from chatter.job.cut import Observed
from chatter.job.cutter import FORMS
from chatter.job.fields import (
    Count,
    CutsMade,
    Field,
    FlagField,
    GroupField,
    Quantities,
    Quantity,
    Ratio,
    SpanField,
    Word,
)
from chatter.job.machine import Bearing, Gear

#: Bounds are what a cut on a hand-loaded machine can be, generously; beyond them a unit is wrong.
SLOWEST_REV_MIN, FASTEST_REV_MIN = 1.0, 60000.0
_speed = partial(Quantity, kind="spindle speed", low=SLOWEST_REV_MIN, high=FASTEST_REV_MIN)
_depth = partial(Quantity, low=1e-6, high=2.0)
_LOWEST_FEED, _HIGHEST_FEED = 1e-6, 1.0  # 0.06 mm/min to 60 m/min

TEETH = Count("teeth", "teeth", "number of teeth")
_CUTTER = (
    TEETH,
    Field("name", "name", "cutter's name"),
    Word(
        "form",
        "form",
        "cutter form",
        choices=FORMS,
        also=lambda: words.FORM_WORDS,
        refused=lambda: words.FORMS_NOT_YET,
    ),
    Quantity("diameter", "diameter_m", "cutter diameter", low=2e-4, high=3.0),
    Quantity("width", "width_m", "cutter width", low=2e-5, high=2.0),
    Word(
        "material",
        "material",
        "cutter material",
        choices=words.TOOL_MATERIALS,
        also=lambda: words.TOOL_WORDS,
    ),
    FlagField("side_relief", "side_relief", "side relief"),
    _speed("max_speed", "max_rev_min", "cutter's marked speed"),
    FlagField("reground", "reground", "reground state"),
    Quantity("collar_diameter", "collar_diameter_m", "collar diameter", low=1e-3, high=2.0),
    Quantity("helix", "helix_rad", "helix of the teeth", kind="angle", low=0.0, high=pi / 3),
    Quantity("pitch", "pitch_m", "tooth pitch of the blade", kind="pitch", low=5e-4, high=0.05),
)
_OBSERVED = (
    _depth("depth", "depth_m", "depth of a cut that was made"),
    _speed("speed", "speed_rev_min", "speed of a cut that was made"),
    FlagField("chatters", "chatters", "chatter of a cut that was made"),
)
_CUT = (
    _speed("speed", "speed_rev_min", "spindle speed"),
    Word(
        "material",
        "material",
        "work material",
        choices=tuple(words.materials()),
        also=words.material_words,
        refused=words.materials_not_told,
        across=False,
    ),
    _depth("depth", "depth_m", "depth of cut"),
    Quantity("width", "width_m", "width of cut", low=1e-6, high=5.0),
    Quantity("feed", "feed_m_s", "table feed", kind="feed", low=_LOWEST_FEED, high=_HIGHEST_FEED),
    Word(
        "direction",
        "direction",
        "milling direction",
        choices=("conventional", "climb"),
        also=lambda: words.DIRECTION_WORDS,
    ),
    Word(
        "purpose",
        "purpose",
        "purpose",
        choices=("roughing", "finishing"),
        also=lambda: words.PURPOSE_WORDS,
    ),
    Quantity("length", "length_m", "length of cut", low=1e-6, high=100.0),
    Quantity("overhang", "overhang_m", "overhang", low=1e-6, high=10.0),
    CutsMade(
        "observed",
        "observed",
        "cut that was made",
        make=Observed,
        fields=_OBSERVED,
        needed=("depth", "speed", "chatters"),
    ),
    Quantity("work_diameter", "work_diameter_m", "diameter that is cut", low=2e-4, high=10.0),
    Quantity(
        "blade_speed", "blade_speed_m_s", "blade speed", kind="cutting speed", low=0.01, high=100.0
    ),
)
#: Not a field of the dataclass: turned into a feed, with speed and teeth.
CHIP_LOAD = Quantity("chip_load", "chip_load_m", "chip load", kind="chip load", low=1e-7, high=0.01)

_GEAR = (
    Field("name", "name", "gear's name"),
    Count("teeth", "teeth", "gear's number of teeth", low=4, high=2000),
    Ratio("ratio", "ratio", "gear's turns per spindle turn"),
)
_BEARING = (
    Field("name", "name", "bearing's name"),
    Count("balls", "balls", "number of balls", low=3, high=200),
    Quantity("ball_diameter", "ball_diameter_m", "ball diameter", low=1e-4, high=0.5),
    Quantity("pitch_diameter", "pitch_diameter_m", "pitch diameter", low=1e-3, high=5.0),
    Quantity(
        "contact_angle", "contact_angle_rad", "contact angle", kind="angle", low=0.0, high=pi / 3
    ),
    Ratio("ratio", "ratio", "bearing's turns per spindle turn"),
)


def _bearing(**stated: Any) -> Bearing:
    made = Bearing(**stated)
    if made.ball_diameter_m * made.balls >= pi * made.pitch_diameter_m:
        raise JobError(
            f"The {made.balls} balls of bearing '{made.name}' do not fit on its pitch circle: "
            "check both diameters."
        )
    return made


_MACHINE = (
    Field("name", "name", "machine's name"),
    Quantities(
        "speeds",
        "speeds_rev_min",
        "spindle speed",
        kind="spindle speed",
        low=SLOWEST_REV_MIN,
        high=FASTEST_REV_MIN,
    ),
    Quantities(
        "feeds", "feeds_m_s", "table feed", kind="feed", low=_LOWEST_FEED, high=_HIGHEST_FEED
    ),
    Quantity("mains", "mains_hz", "mains frequency", kind="frequency", low=40.0, high=70.0),
    Quantity("motor_power", "motor_power_w", "motor power", kind="power", low=10.0, high=2e5),
    Count("motor_poles", "motor_poles", "number of motor poles", low=2, high=24, even=True),
    Quantities("arbors", "arbor_diameters_m", "arbor diameter", low=1e-3, high=0.5),
    FlagField("backlash", "table_backlash", "table backlash"),
    GroupField("gears", "gears", "gear", make=Gear, fields=_GEAR, needed=("name", "teeth")),
    GroupField(
        "bearings",
        "bearings",
        "bearing",
        make=_bearing,
        fields=_BEARING,
        needed=("name", "balls", "ball_diameter", "pitch_diameter"),
    ),
)
_TAKE = (
    SpanField("span", "span_s", "time span"),
    Field("idle", "idle_path", "idle recording"),
    Field("taps", "taps_path", "tap test"),
    FlagField("simulated", "simulated", "simulated mark"),
)

#: section -> its fields, in the order a card lists them.
SECTIONS: dict[str, tuple[Field, ...]] = {
    "cutter": _CUTTER,
    "cut": _CUT,
    "machine": _MACHINE,
    "take": _TAKE,
}


def field_of(section: str, key: str) -> Field:
    """The field that ``key`` names in a section.  Raises JobError with the nearest spelling."""
    known = {each.key: each for each in SECTIONS[section]}
    if section == "cut":
        known[CHIP_LOAD.key] = CHIP_LOAD
    if key not in known:
        nearest = words.hint(key, {each: each for each in known}, cutoff=0.6)
        raise JobError(f"'{units.echo(key)}' is not a key of [{section}]: {nearest}")
    return known[key]
