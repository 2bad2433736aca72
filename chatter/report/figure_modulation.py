"""Geometry of the cyclic modulation map: carrier bands over swells per turn."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from chatter.listening.exhibits import ModulationMap
from chatter.report.axes import AxisMark, log_marks
from chatter.report.pictures import Picture, modulation
from chatter.report.words import hertz, show_number, show_share

COLUMNS = 360


@dataclass(frozen=True)
class ModulationFigure:
    """The map with its axes; places from 0 (left, bottom) to 1."""

    picture: Picture
    x_marks: tuple[AxisMark, ...]
    y_marks: tuple[AxisMark, ...]
    chance_at: float  # of the colour scale
    chance: str
    highest: str
    sentence: str


def draw_modulation(made: ModulationMap, teeth: int) -> ModulationFigure | None:
    """Lay out the map on a logarithmic axis; None when it is empty."""
    order = np.asarray(made.modulation_order)
    order = order[order > 0]
    if order.size < 2 or made.depth.size == 0:
        return None
    low = max(float(order[0]), 0.2)
    high = max(float(order[-1]), 2.5 * low)
    picture = modulation(made, np.geomspace(low, high, COLUMNS + 1))
    bands = np.asarray(made.carrier_hz)
    return ModulationFigure(
        picture,
        _turn_marks(low, high, teeth),
        log_marks(float(bands[0]), float(bands[-1]), closest=0.13),
        min(1.0, (made.significant_depth / picture.high) ** 0.7),
        show_share(made.significant_depth),
        show_share(picture.high),
        _sentence(made, teeth),
    )


def _turn_marks(low: float, high: float, teeth: int) -> tuple[AxisMark, ...]:
    """Once per turn, once per tooth, and round counts between where there is room."""
    span = math.log(high / low)
    found: list[AxisMark] = []
    named = {1.0: "once a turn"}
    if teeth > 1:
        named[float(teeth)] = "once a tooth"
    for value, text in named.items():
        if low <= value <= high:
            found.append(AxisMark(math.log(value / low) / span, text))
    if len(found) == 2 and found[1].at - found[0].at < 0.4:  # side by side, away from each other
        found = [
            AxisMark(found[0].at, found[0].text, "end"),
            AxisMark(found[1].at, found[1].text, "start"),
        ]
    found = [
        AxisMark(m.at, m.text, m.side or ("start" if m.at < 0.12 else "end" if m.at > 0.8 else ""))
        for m in found
    ]
    for value in (0.5, 2, 4, 10, 20, 50, 100, 200):
        if not low <= value <= high:
            continue
        one = AxisMark(math.log(value / low) / span, f"{value:g}")
        if all(_apart(one, other) for other in found):
            found.append(one)
    return tuple(sorted(found, key=lambda one: one.at))


def _apart(one: AxisMark, other: AxisMark, gap: float = 0.03) -> bool:
    """Whether the texts of two marks keep clear of each other."""
    (a, b), (c, d) = _extent(one), _extent(other)
    return b + gap < c or d + gap < a


def _extent(mark: AxisMark) -> tuple[float, float]:
    """Left and right end of a mark's text, as shares of a phone's axis."""
    width = 0.021 * len(mark.text)
    left = {"start": mark.at, "end": mark.at - width}.get(mark.side, mark.at - width / 2)
    return left, left + width


def _sentence(made: ModulationMap, teeth: int) -> str:
    """What the two telling columns show, with numbers."""
    order = np.asarray(made.modulation_order)
    bands = np.asarray(made.carrier_hz)
    said = []
    found = []
    step = float(np.median(np.diff(order)))
    for value, text in ((1.0, "once a turn"), (float(teeth), "once a tooth")):
        near = np.abs(order - value) <= max(0.6 * step, 0.02 * value)
        if not near.any() or (teeth == 1 and text == "once a tooth"):
            continue
        column = made.depth[:, near].max(axis=1)
        strong = int(np.count_nonzero(column > made.significant_depth))
        best = int(np.argmax(column))
        if strong == 0:
            said.append(f"No band swells {text} by more than chance gives.")
            continue
        found.append(value)
        where = f"{hertz(bands[best])} to {hertz(bands[best + 1])}"
        said.append(
            f"{strong} of {column.size} bands swell {text}, most at {where} "
            f"(by {show_number(100 * float(column[best]), 2)} %)."
        )
    row, column = np.unravel_index(int(np.argmax(made.depth)), made.depth.shape)
    at, depth = float(order[column]), float(made.depth[row, column])
    if depth > made.significant_depth and all(abs(at - v) > 0.05 * v + step for v in found):
        said.append(
            f"The strongest swell is another: {show_number(at, 2)} times a turn, at "
            f"{hertz(bands[row])} to {hertz(bands[row + 1])} (by {show_number(100 * depth, 2)} %)."
        )
    return " ".join(said)
