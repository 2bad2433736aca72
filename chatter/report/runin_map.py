"""Lines over spindle speed: what turns along rises, what stays lies level.

Both axes are logarithmic, so that every ray of constant order is a straight line of the same
slope and every line that stays is level: what belongs to what is seen at a glance.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from chatter.report.axes import log_marks
from chatter.report.line_drawing import BAD, COOL, DIM, GOOD, INK, RULE, as_svg, drawing
from chatter.runin.survey import NamedRay, Survey

if TYPE_CHECKING:
    from matplotlib.axes import Axes


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
    from matplotlib.ticker import FixedLocator, NullFormatter, NullLocator

    speeds = np.array([60.0 * one.spindle_hz for one in found.speeds])
    tops = [one.lines_hz.max() for one in found.speeds if one.lines_hz.size]
    high = 1.15 * max([*tops, 200.0])
    low = 0.85 * min([*(one.lines_hz.min() for one in found.speeds if one.lines_hz.size), 60.0])
    left, right = speeds.min() / 1.06, speeds.max() * 1.06
    with drawing(*size) as (figure, axes):
        taken = {member for ray in found.rays for member in ray.ray.members}
        for i, one in enumerate(found.speeds):
            rest = [j for j in range(one.lines_hz.size) if (i, j) not in taken]
            axes.plot([speeds[i]] * len(rest), one.lines_hz[rest], ".", ms=2.5, color=RULE)
        for ray in found.rays:
            _ray(axes, found, ray, speeds, left, right)
        axes.set(xscale="log", yscale="log", xlim=(left, right), ylim=(low, high))
        axes.xaxis.set_major_locator(FixedLocator(_apart(sorted(found.stated_rev_min))))
        axes.xaxis.set_minor_locator(NullLocator())
        axes.xaxis.set_major_formatter(lambda v, _: f"{v:g}")
        marks = log_marks(low, high)
        places = [low * (high / low) ** m.at for m in marks]
        axes.set_yticks(places, [m.text for m in marks])
        axes.yaxis.set_minor_formatter(NullFormatter())
        axes.set_xlabel("spindle speed, rev/min")
        axes.set_ylabel("frequency of the line, Hz")
        for name, y, at, colour in _labels(found, right, low, high):
            spread = {"arrowstyle": "-", "color": RULE, "lw": 0.6, "shrinkA": 0, "shrinkB": 0}
            axes.annotate(
                name,
                xy=(right, at),
                xytext=(1.035, y),
                textcoords="axes fraction",
                color=colour,
                fontsize=7.2,
                va="center",
                annotation_clip=False,
                arrowprops=spread,
            )
        return as_svg(figure, "Lines over spindle speed", describe_survey(found), prefix=prefix)


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
    axes: Axes, found: Survey, ray: NamedRay, speeds: np.ndarray, left: float, right: float
) -> None:
    kind = ray.part.partition(":")[0]
    colour, marker = _LOOK.get(kind, _LOOK[""])
    side = "sideband" in ray.name
    ends = np.array([left, right])
    heights = ray.ray.at * ends / 60.0 if ray.ray.turns else np.full(2, ray.ray.at)
    axes.plot(ends, heights, color=colour, lw=0.5 if side else 0.9, alpha=0.45 if side else 0.8)
    for i, j in ray.ray.members:
        level = float(found.speeds[i].level_db[j])
        size = 1.5 + min(6.0, max(0.0, level / 8.0)) * (0.6 if side else 1.0)
        axes.plot(
            speeds[i], found.speeds[i].lines_hz[j], marker, ms=size, color=colour, mew=0, alpha=0.9
        )


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
