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


def map_svg(survey: Survey, size: tuple[float, float] = (7.6, 5.4), *, prefix: str = "map-") -> str:
    """Draw a survey.

    Parameters
    ----------
    survey : Survey
    size : (float, float)
        Width and height [in].
    prefix : str
        Goes before every id.

    Returns
    -------
    str
        SVG text to stand inside a page.
    """
    speeds = np.array([60.0 * speed.spindle_hz for speed in survey.speeds])
    tops = [speed.lines_hz.max() for speed in survey.speeds if speed.lines_hz.size]
    high = float(1.15 * max([*tops, 200.0]))
    lows = [speed.lines_hz.min() for speed in survey.speeds if speed.lines_hz.size]
    low = float(0.85 * min([*lows, 60.0]))
    left, right = float(speeds.min()) / 1.06, float(speeds.max()) * 1.06
    along = tuple((v, f"{v:g}") for v in _apart(sorted(survey.stated_rev_min)))
    up = tuple((low * (high / low) ** m.at, m.text) for m in log_marks(low, high))
    labels = _labels(survey, right, low, high)
    longest = max((len(name) for name, _, _, _ in labels), default=0)
    sheet = Sheet(
        Axis(left, right, "spindle speed, rev/min", along, log=True),
        Axis(low, high, "frequency of the line, Hz", up, log=True),
        width_in=size[0],
        height_in=size[1],
        beside=_LEADER + 0.56 * _NAME_SIZE * longest,
    )
    taken = {member for ray in survey.rays for member in ray.ray.members}
    for i, speed in enumerate(survey.speeds):
        for j in range(speed.lines_hz.size):
            if (i, j) not in taken:
                sheet.spot(float(speeds[i]), float(speed.lines_hz[j]), 1.3, RULE)
    for ray in survey.rays:
        _ray(sheet, survey, ray, speeds, (left, right))
    for name, y, at, colour in labels:
        down = sheet.bottom - y * (sheet.bottom - sheet.top)
        sheet.leader(right, at, sheet.right + _LEADER - 2.0, down)
        place = (sheet.right + _LEADER, down + 0.35 * _NAME_SIZE)
        sheet.text(*place, name, colour, size=_NAME_SIZE, anchor="start")
    return sheet.svg("Lines over spindle speed", describe_survey(survey), prefix=prefix)


def counts(survey: Survey) -> str:
    """How much the map shows."""
    turning = sum(ray.ray.turns for ray in survey.rays)
    return (
        f"{len(survey.speeds)} speeds. {turning} rays turn with the spindle, "
        f"{len(survey.rays) - turning} lines stay; {survey.unexplained} single lines belong to "
        "neither."
    )


def describe_survey(survey: Survey) -> str:
    """The map in words."""
    named = "; ".join(ray.name for ray in survey.rays if ray.name) or "none"
    return f"{counts(survey)} Named: {named}."


def _ray(
    sheet: Sheet, survey: Survey, ray: NamedRay, speeds: np.ndarray, ends: tuple[float, float]
) -> None:
    kind = ray.part.partition(":")[0]
    colour, shape = _LOOK.get(kind, _LOOK[""])
    side = "sideband" in ray.name
    heights = [ray.ray.at * end / 60.0 if ray.ray.turns else ray.ray.at for end in ends]
    sheet.line(ends, heights, colour, 0.5 if side else 0.9, alpha=0.45 if side else 0.8)
    for i, j in ray.ray.members:
        level = float(survey.speeds[i].level_db[j])
        size = 1.5 + min(6.0, max(0.0, level / 8.0)) * (0.6 if side else 1.0)
        at = (float(speeds[i]), float(survey.speeds[i].lines_hz[j]))
        sheet.spot(*at, size, colour, shape=shape, alpha=0.9)


def _labels(
    survey: Survey, right: float, low: float, high: float
) -> list[tuple[str, float, float, str]]:
    """Name, height [axes fraction], end of its ray [Hz], colour; spread so that none overlap."""
    wanted = []
    for ray in survey.rays:
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
