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


def draw_modulation(swelling: ModulationMap, teeth: int) -> ModulationFigure | None:
    """Lay out the map on a logarithmic axis; None when it is empty."""
    order = np.asarray(swelling.modulation_order)
    order = order[order > 0]
    if order.size < 2 or swelling.depth.size == 0:
        return None
    low = max(float(order[0]), 0.2)
    high = max(float(order[-1]), 2.5 * low)
    picture = modulation(swelling, np.geomspace(low, high, COLUMNS + 1))
    bands = np.asarray(swelling.carrier_hz)
    return ModulationFigure(
        picture,
        _turn_marks(low, high, teeth),
        log_marks(float(bands[0]), float(bands[-1]), closest=0.13),
        min(1.0, (swelling.significant_depth / picture.high) ** 0.7),
        show_share(swelling.significant_depth),
        show_share(picture.high),
        _sentence(swelling, teeth),
    )


def _turn_marks(low: float, high: float, teeth: int) -> tuple[AxisMark, ...]:
    """Once per turn, once per tooth, and round counts between where there is room."""
    span = math.log(high / low)
    marks: list[AxisMark] = []
    named = {1.0: "once a turn"}
    if teeth > 1:
        named[float(teeth)] = "once a tooth"
    for value, text in named.items():
        if low <= value <= high:
            marks.append(AxisMark(math.log(value / low) / span, text))
    if len(marks) == 2 and marks[1].at - marks[0].at < 0.4:  # side by side, away from each other
        marks = [
            AxisMark(marks[0].at, marks[0].text, "end"),
            AxisMark(marks[1].at, marks[1].text, "start"),
        ]
    marks = [
        AxisMark(m.at, m.text, m.side or ("start" if m.at < 0.12 else "end" if m.at > 0.8 else ""))
        for m in marks
    ]
    for value in (0.5, 2, 4, 10, 20, 50, 100, 200):
        if not low <= value <= high:
            continue
        mark = AxisMark(math.log(value / low) / span, f"{value:g}")
        if all(_apart(mark, other) for other in marks):
            marks.append(mark)
    return tuple(sorted(marks, key=lambda mark: mark.at))


def _apart(mark: AxisMark, other: AxisMark, gap: float = 0.03) -> bool:
    """Whether the texts of two marks keep clear of each other."""
    (a, b), (c, d) = _extent(mark), _extent(other)
    return b + gap < c or d + gap < a


def _extent(mark: AxisMark) -> tuple[float, float]:
    """Left and right end of a mark's text, as shares of a phone's axis."""
    width = 0.021 * len(mark.text)
    left = {"start": mark.at, "end": mark.at - width}.get(mark.side, mark.at - width / 2)
    return left, left + width


def _sentence(swelling: ModulationMap, teeth: int) -> str:
    """What the two telling columns show, with numbers."""
    order = np.asarray(swelling.modulation_order)
    bands = np.asarray(swelling.carrier_hz)
    said = []
    told_of = []
    step = float(np.median(np.diff(order)))
    for value, text in ((1.0, "once a turn"), (float(teeth), "once a tooth")):
        near = np.abs(order - value) <= max(0.6 * step, 0.02 * value)
        if not near.any() or (teeth == 1 and text == "once a tooth"):
            continue
        column = swelling.depth[:, near].max(axis=1)
        strong = int(np.count_nonzero(column > swelling.significant_depth))
        best = int(np.argmax(column))
        if strong == 0:
            said.append(f"No band swells {text} by more than chance gives.")
            continue
        told_of.append(value)
        where = f"{hertz(bands[best])} to {hertz(bands[best + 1])}"
        said.append(
            f"{strong} of {column.size} bands swell {text}, most at {where} "
            f"(by {show_number(100 * float(column[best]), 2)} %)."
        )
    row, column = np.unravel_index(int(np.argmax(swelling.depth)), swelling.depth.shape)
    at, depth = float(order[column]), float(swelling.depth[row, column])
    if depth > swelling.significant_depth and all(abs(at - v) > 0.05 * v + step for v in told_of):
        said.append(
            f"The strongest swell is another: {show_number(at, 2)} times a turn, at "
            f"{hertz(bands[row])} to {hertz(bands[row + 1])} (by {show_number(100 * depth, 2)} %)."
        )
    return " ".join(said)
