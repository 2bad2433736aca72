"""Geometry of the cyclic modulation map: carrier bands over swells per turn."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from chatter.listening.exhibits import ModulationMap
from chatter.report.axes import Mark, log_marks
from chatter.report.pictures import Picture, modulation
from chatter.report.words import hertz, number, percent

COLUMNS = 360


@dataclass(frozen=True)
class ModulationFigure:
    """The map with its axes; places from 0 (left, bottom) to 1."""

    picture: Picture
    x_marks: tuple[Mark, ...]
    y_marks: tuple[Mark, ...]
    chance_at: float  # of the colour scale
    chance: str
    highest: str
    sentence: str


def draw(made: ModulationMap, teeth: int) -> ModulationFigure | None:
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
        percent(made.significant_depth),
        percent(picture.high),
        _sentence(made, teeth),
    )


def _turn_marks(low: float, high: float, teeth: int) -> tuple[Mark, ...]:
    """Once per turn, once per tooth, and round counts between where there is room."""
    span = math.log(high / low)
    found: list[Mark] = []
    named = (
        [(1.0, "once a turn"), (float(teeth), "once a tooth")]
        if teeth > 1
        else [(1.0, "once a turn")]
    )
    for value, text in named:
        if low <= value <= high:
            at = math.log(value / low) / span
            if all(abs(at - one.at) > 0.28 for one in found):
                found.append(Mark(at, text))
            else:
                found[-1] = Mark(found[-1].at, f"{found[-1].text} · {text.split()[-1]}")
    for value in (0.5, 2, 4, 10, 20, 50, 100, 200):
        at = math.log(value / low) / span
        if low <= value <= high and all(abs(at - one.at) > 0.16 for one in found):
            found.append(Mark(at, f"{value:g}"))
    return tuple(sorted(found, key=lambda one: one.at))


def _sentence(made: ModulationMap, teeth: int) -> str:
    """What the two telling columns show, with numbers."""
    order = np.asarray(made.modulation_order)
    bands = np.asarray(made.carrier_hz)
    said = []
    for value, text in ((1.0, "once a turn"), (float(teeth), "once a tooth")):
        if value > order[-1] * 1.01 or (teeth == 1 and text == "once a tooth"):
            continue
        step = float(np.median(np.diff(order)))
        near = np.abs(order - value) <= max(0.6 * step, 0.02 * value)
        if not near.any():
            continue
        column = made.depth[:, near].max(axis=1)
        strong = int(np.count_nonzero(column > made.significant_depth))
        best = int(np.argmax(column))
        if strong == 0:
            said.append(f"No band swells {text} by more than chance gives.")
        else:
            where = f"{hertz(bands[best])} to {hertz(bands[best + 1])}"
            said.append(
                f"{strong} of {column.size} bands swell {text}, most at {where} "
                f"(by {number(100 * float(column[best]), 2)} %)."
            )
    return " ".join(said)
