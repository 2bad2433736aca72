"""Geometry of a comparison's drawings: differences as bars of uncertainty, spectra overlaid."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from chatter.comparing.results import Difference
from chatter.listening.exhibits import OrderSpectrum
from chatter.report.axes import AxisMark, even_marks

#: Letters that stand for the cutters in drawings and on buttons.
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
#: A spectrum is drawn down to this much above its own noise floor.
_TOP_DB = 60.0


@dataclass(frozen=True)
class DifferenceBar:
    """One family's difference; places run from 0 (left) to 1 (right)."""

    title: str
    said: str
    sentence: str
    number: str
    low: float | None
    at: float | None
    high: float | None
    cut_low: bool  # the interval goes on beyond the drawing
    cut_high: bool


@dataclass(frozen=True)
class ForestPlot:
    """All families of one pair of cutters."""

    first: str
    second: str
    zero: float
    marks: tuple[AxisMark, ...]
    bars: tuple[DifferenceBar, ...]


def forest_plot(differences: Sequence[Difference]) -> ForestPlot:
    """Lay out the differences of one pair."""
    sizes = (abs(d.difference_db) for d in differences if d.difference_db is not None)
    reach = max(sizes, default=6.0)
    reach = max(12.0, min(40.0, 1.25 * reach))

    def place(value: float) -> float:
        return round(min(1.0, max(0.0, 0.5 + 0.5 * value / reach)), 4)

    bars = []
    for difference in differences:
        title = difference.title[0].upper() + difference.title[1:]
        low, middle, high = difference.low_db, difference.difference_db, difference.high_db
        if low is None or middle is None or high is None:
            bar = DifferenceBar(
                title, difference.said, difference.sentence, "", None, None, None, False, False
            )
        else:
            bar = DifferenceBar(
                title,
                difference.said,
                difference.sentence,
                f"{middle:+.1f} ± {high - middle:.1f} dB".replace("-", "\N{MINUS SIGN}"),
                place(low),
                place(middle),
                place(high),
                low < -reach,
                high > reach,
            )
        bars.append(bar)
    marks = tuple(AxisMark(m.at, _signed(m.text)) for m in even_marks(-reach, reach, 7))
    return ForestPlot(differences[0].first, differences[0].second, 0.5, marks, tuple(bars))


def _signed(text: str) -> str:
    value = float(text)
    return "0" if value == 0 else f"{value:+g}".replace("-", "\N{MINUS SIGN}")


@dataclass(frozen=True)
class Curve:
    """One cutter's spectrum as an SVG path."""

    name: str
    path: str
    teeth_at: tuple[float, ...]  # where its teeth pass, along the axis


@dataclass(frozen=True)
class Overlay:
    """Spectra over orders of the spindle; places in units of the drawing."""

    width: float
    height: float
    left: float
    right: float
    top: float
    bottom: float
    curves: tuple[Curve, ...]
    x_marks: tuple[AxisMark, ...]
    y_marks: tuple[AxisMark, ...]


def overlay(
    spectra: Sequence[tuple[str, int, OrderSpectrum]], *, width: float = 1080, height: float = 380
) -> Overlay | None:
    """Lay spectra over each other in orders of the spindle, each above its own noise floor.

    Parameters
    ----------
    spectra : sequence of (name, teeth, OrderSpectrum)
    width, height : float
        Units of the drawing.

    Returns
    -------
    Overlay or None
        None when there is nothing to draw.
    """
    spectra = [one for one in spectra if one[2].order.size]
    if not spectra:
        return None
    left, right, top, bottom = 46.0, width - 8.0, 14.0, height - 46.0
    last = min(float(spectrum.order[-1]) for _, _, spectrum in spectra)
    last = min(last, max(14.0 * max(teeth for _, teeth, _ in spectra), 40.0))
    peak = 6.0
    drawn = []
    for name, teeth, spectrum in spectra:
        order = np.asarray(spectrum.order, float)
        above = np.nan_to_num(
            np.asarray(spectrum.level_db, float) - np.asarray(spectrum.floor_db, float)
        )
        inside = order <= last
        order, above = order[inside], np.clip(above[inside], 0.0, _TOP_DB)
        peak = max(peak, float(above.max(initial=0.0)))
        drawn.append((name, teeth, order, above))
    ceiling = 1.08 * peak
    span = right - left
    curves = tuple(
        Curve(
            name,
            _path(left + order / last * span, bottom - above / ceiling * (bottom - top)),
            tuple(
                round(left + k * teeth / last * span, 1)
                for k in range(1, int(last / teeth) + 1)
                if teeth / last * span > 6.0
            ),
        )
        for name, teeth, order, above in drawn
    )
    return Overlay(
        width,
        height,
        left,
        right,
        top,
        bottom,
        curves,
        even_marks(0.0, last, 10),
        even_marks(0.0, ceiling, 5),
    )


def _path(x: np.ndarray, y: np.ndarray) -> str:
    """Outline: the highest point of each unit of width."""
    if x.size == 0:
        return ""
    column = np.floor(x).astype(int)
    starts = np.flatnonzero(np.diff(column, prepend=column[0] - 1))
    tops = np.minimum.reduceat(y, starts)
    return "M" + "L".join(
        f"{a:.5g} {b:.4g}" for a, b in zip(column[starts] + 0.5, tops, strict=True)
    )
