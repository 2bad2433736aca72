"""Lines over spindle speed: what turns along rises, what stays lies level.

Both axes are logarithmic, so that every ray of constant order is a straight line of the same
slope and every line that stays is level: what belongs to what is seen at a glance.
"""

from __future__ import annotations

import math

import numpy as np

from chatter.report.axes import log_marks
from chatter.report.line_drawing import BAD, COOL, DIM, GOOD, INK, RULE, Axis, Sheet
from chatter.runin.survey import NamedRay, Survey

#: Colour and marker of each kind of part.
_LOOK = {
    "gear": (COOL, "o"),
    "bearing": (BAD, "D"),
    "spindle": (GOOD, "^"),
    "": (INK, "o"),
    "mains": (DIM, "s"),
    "motor": (DIM, "s"),
}
_NEAREST = 0.032  # of the drawing's height, between two labels
_MOST_LABELS = 22
#: Length of the fine lines from rays to their names, and size of these [pt].
_LEADER, _NAME_SIZE = 18.0, 7.2


def map_svg(found: Survey, size: tuple[float, float] = (7.6, 5.4), *, prefix: str = "map-") -> str:
    """Draw a survey.

    Parameters
    ----------
    found : Survey
    size : (float, float)
        Width and height [in].
    prefix : str
        Goes before every id.

    Returns
    -------
    str
        SVG text to stand inside a page.
    """
    speeds = np.array([60.0 * one.spindle_hz for one in found.speeds])
    tops = [one.lines_hz.max() for one in found.speeds if one.lines_hz.size]
    high = float(1.15 * max([*tops, 200.0]))
    lows = [one.lines_hz.min() for one in found.speeds if one.lines_hz.size]
    low = float(0.85 * min([*lows, 60.0]))
    left, right = float(speeds.min()) / 1.06, float(speeds.max()) * 1.06
    along = tuple((v, f"{v:g}") for v in _apart(sorted(found.stated_rev_min)))
    up = tuple((low * (high / low) ** m.at, m.text) for m in log_marks(low, high))
    labels = _labels(found, right, low, high)
    longest = max((len(name) for name, _, _, _ in labels), default=0)
    sheet = Sheet(
        Axis(left, right, "spindle speed, rev/min", along, log=True),
        Axis(low, high, "frequency of the line, Hz", up, log=True),
        width_in=size[0],
        height_in=size[1],
        beside=_LEADER + 0.56 * _NAME_SIZE * longest,
    )
    taken = {member for ray in found.rays for member in ray.ray.members}
    for i, one in enumerate(found.speeds):
        for j in range(one.lines_hz.size):
            if (i, j) not in taken:
                sheet.spot(float(speeds[i]), float(one.lines_hz[j]), 1.3, RULE)
    for ray in found.rays:
        _ray(sheet, found, ray, speeds, (left, right))
    for name, y, at, colour in labels:
        down = sheet.bottom - y * (sheet.bottom - sheet.top)
        sheet.leader(right, at, sheet.right + _LEADER - 2.0, down)
        place = (sheet.right + _LEADER, down + 0.35 * _NAME_SIZE)
        sheet.text(*place, name, colour, size=_NAME_SIZE, anchor="start")
    return sheet.svg("Lines over spindle speed", describe_survey(found), prefix=prefix)


def counts(found: Survey) -> str:
    """How much the map shows."""
    turning = sum(ray.ray.turns for ray in found.rays)
    return (
        f"{len(found.speeds)} speeds. {turning} rays turn with the spindle, "
        f"{len(found.rays) - turning} lines stay; {found.unexplained} single lines belong to "
        "neither."
    )


def describe_survey(found: Survey) -> str:
    """The map in words."""
    named = "; ".join(ray.name for ray in found.rays if ray.name) or "none"
    return f"{counts(found)} Named: {named}."


def _ray(
    sheet: Sheet, found: Survey, ray: NamedRay, speeds: np.ndarray, ends: tuple[float, float]
) -> None:
    kind = ray.part.partition(":")[0]
    colour, shape = _LOOK.get(kind, _LOOK[""])
    side = "sideband" in ray.name
    heights = [ray.ray.at * end / 60.0 if ray.ray.turns else ray.ray.at for end in ends]
    sheet.line(ends, heights, colour, 0.5 if side else 0.9, alpha=0.45 if side else 0.8)
    for i, j in ray.ray.members:
        level = float(found.speeds[i].level_db[j])
        size = 1.5 + min(6.0, max(0.0, level / 8.0)) * (0.6 if side else 1.0)
        at = (float(speeds[i]), float(found.speeds[i].lines_hz[j]))
        sheet.spot(*at, size, colour, shape=shape, alpha=0.9)


def _labels(
    found: Survey, right: float, low: float, high: float
) -> list[tuple[str, float, float, str]]:
    """Name, height [axes fraction], end of its ray [Hz], colour; spread so that none overlap."""
    wanted = []
    for ray in found.rays:
        if not ray.name or "sideband" in ray.name:
            continue
        at = ray.ray.at * right / 60.0 if ray.ray.turns else ray.ray.at
        if not low < at < high:
            continue
        # Sure rays first, and the first harmonic before the third.
        rank = (ray.name[0].isdigit() and not ray.name.startswith("1 "), ray.ray.chance)
        colour = _LOOK.get(ray.part.partition(":")[0], _LOOK[""])[0]
        height = math.log(at / low) / math.log(high / low)
        wanted.append((rank, height, at, ray.name, colour))
    wanted = sorted(wanted)[:_MOST_LABELS]
    wanted.sort(key=lambda one: one[1])
    heights = [one[1] for one in wanted]
    for _ in range(200):
        moved = False
        for i in range(len(heights) - 1):
            short = _NEAREST - (heights[i + 1] - heights[i])
            if short > 1e-4:
                heights[i] -= short / 2
                heights[i + 1] += short / 2
                moved = True
        if not moved:
            break
    return [
        (name, y, at, colour) for y, (_, _, at, name, colour) in zip(heights, wanted, strict=True)
    ]


def _apart(speeds: list[float]) -> list[float]:
    """Speeds whose marks do not run into each other."""
    kept: list[float] = []
    for speed in speeds:
        if not kept or speed / kept[-1] > 1.12:
            kept.append(speed)
    return kept
