"""Geometry of the spectrum in orders of tooth passing, families marked and named."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from chatter.findings import Line, Pass
from chatter.listening.exhibits import OrderSpectrum
from chatter.report.axes import AxisMark, Label, Placed, even_marks, place, plain_hz
from chatter.report.words import FAMILY_WORDS, tone_label

#: Families that set the range of the main drawing, most telling first.
_TELLING = ("chatter", "period_doubling", "tooth_passing", "sideband", "revolution")


@dataclass(frozen=True)
class Marker:
    """A line of the ledger in the drawing."""

    x: float
    y: float
    family: str
    title: str


@dataclass(frozen=True)
class SpectrumFigure:
    """One drawing; all places in its own units, y downwards."""

    width: float
    height: float
    left: float
    right: float
    top: float
    bottom: float
    path: str  # outline of the level above the floor
    markers: tuple[Marker, ...]
    labels: tuple[Placed, ...]
    x_marks: tuple[AxisMark, ...]
    hz_marks: tuple[AxisMark, ...]
    y_marks: tuple[AxisMark, ...]
    size: float  # of type


def families(one_pass: Pass) -> tuple[tuple[str, str, str, int], ...]:
    """(family, name, meaning, lines) of the families in the ledger of a pass."""
    count = {name: sum(line.name == name for line in one_pass.lines) for name in FAMILY_WORDS}
    return tuple((n, *FAMILY_WORDS[n], count[n]) for n in FAMILY_WORDS if count[n])


def ranges(one_pass: Pass, spectrum: OrderSpectrum) -> tuple[tuple[float, float], ...]:
    """Ranges worth drawing [Hz]: the families' own, and a high one if lines lie beyond."""
    f_s = one_pass.spindle.rev_min / 60
    top = float(spectrum.order[-1]) * f_s if spectrum.order.size else 40 * one_pass.tooth_passing_hz
    f_tp = one_pass.tooth_passing_hz
    members = [
        ln.frequency_hz
        for ln in one_pass.lines
        if ln.name in _TELLING and (ln.name != "tooth_passing" or ln.frequency_hz < 40 * f_tp)
    ]
    edge = min(top, max(12 * f_tp, 1.12 * max(members, default=0.0)))
    beyond = [ln for ln in one_pass.lines if edge < ln.frequency_hz <= top]
    if top < 1.8 * edge:
        return ((0.0, top),)
    return ((0.0, edge), (edge, top)) if beyond else ((0.0, edge),)


def draw_spectrum(
    one_pass: Pass,
    spectrum: OrderSpectrum,
    span_hz: tuple[float, float],
    *,
    width: float,
    height: float,
    size: float,
) -> SpectrumFigure:
    """Lay out one range of the spectrum; level is drawn above the local floor.

    Parameters
    ----------
    one_pass : Pass
    spectrum : OrderSpectrum
    span_hz : (float, float)
        Range of the axis [Hz].
    width, height, size : float
        Of the drawing and of its type, in the same units.
    """
    low, high = span_hz
    left, right, top, bottom = 3.2 * size, width - 0.6 * size, 2.4 * size, height - 3.6 * size
    f_s = one_pass.spindle.rev_min / 60
    hz = np.asarray(spectrum.order, dtype=float) * f_s
    above = np.nan_to_num(np.asarray(spectrum.level_db) - np.asarray(spectrum.floor_db), neginf=0.0)
    inside = (hz >= low) & (hz <= high)
    hz, above = hz[inside], above[inside]
    shown = [ln for ln in one_pass.lines if low < ln.frequency_hz <= high]
    peak = max([float(above.max(initial=12.0)), *(ln.level_db for ln in shown)])
    # Room above the highest marker for its label.
    ceiling = peak * max(1.12, 1 / (1 - 3.4 * size / (bottom - top)))

    def x_of(value: float | np.ndarray) -> np.ndarray:
        return left + (np.asarray(value) - low) / (high - low) * (right - left)

    def y_of(value: float | np.ndarray) -> np.ndarray:
        return bottom - np.clip(np.asarray(value), 0, ceiling) / ceiling * (bottom - top)

    drawn = _thinned(shown, lambda ln: float(x_of(ln.frequency_hz)), 0.55 * size)
    markers = tuple(
        Marker(
            float(x_of(ln.frequency_hz)),
            float(y_of(ln.level_db)),
            ln.name,
            f"{tone_label(ln.label)}: {ln.frequency_hz:.1f} Hz, {ln.level_db:.0f} dB above floor",
        )
        for ln in drawn
    )
    wanted = [
        Label(float(x_of(ln.frequency_hz)), float(y_of(ln.level_db)), short_label(ln), ln.name)
        for ln in _by_weight(drawn)
    ]
    per_tooth = even_marks(
        low / one_pass.tooth_passing_hz, high / one_pass.tooth_passing_hz, _most(width, size, 5)
    )
    return SpectrumFigure(
        width,
        height,
        left,
        right,
        top,
        bottom,
        _outline(hz, above, x_of, y_of, int(right - left)),
        markers,
        place(
            wanted,
            left=left,
            width=width,
            top=top + 0.9 * size,
            size=size,
            lift=0.9 * size,
            marks=[(marker.x, marker.y) for marker in markers],
        ),
        per_tooth,
        tuple(
            AxisMark(m.at, plain_hz(float(m.text)))
            for m in even_marks(low, high, _most(width, size, 6))
        ),
        even_marks(0, ceiling, 5),
        size,
    )


def _thinned(lines: list[Line], x_of: Callable[[Line], float], closest: float) -> list[Line]:
    """Lines to mark, quietest first: of a cluster of one family only the loudest."""
    kept: list[Line] = []
    for line in sorted(lines, key=lambda ln: -ln.level_db):
        if all(o.name != line.name or abs(x_of(o) - x_of(line)) > closest for o in kept):
            kept.append(line)
    return kept[::-1]


def short_label(line: Line) -> str:
    """What is written beside a marker."""
    if line.name == "tooth_passing":
        return line.label.replace(" x tooth passing", "×").replace("tooth passing", "1×")
    text = f"{line.frequency_hz:.0f} Hz"
    if line.name == "sideband":
        return "sideband"
    return f"{'Turn' if line.name == 'revolution' else FAMILY_WORDS[line.name][0]} {text}"


def _by_weight(lines: list[Line]) -> list[Line]:
    """Lines worth a label, most important first: the loudest of each family leads."""
    leaders, rest = [], []
    seen: dict[str, int] = {}
    for line in sorted(lines, key=lambda line: -line.level_db):
        rank = seen.get(line.name, 0)
        seen[line.name] = rank + 1
        if rank == 0:
            leaders.append(line)
        elif rank <= 3 and line.name in ("tooth_passing",):
            rest.append(line)
    leaders.sort(key=lambda line: list(FAMILY_WORDS).index(line.name))
    leaders.sort(key=lambda line: line.name != "chatter")
    return leaders + rest


def _most(width: float, size: float, letters: float) -> int:
    return max(3, int(width / (size * letters)))


def _outline(
    hz: np.ndarray,
    above: np.ndarray,
    x_of: Callable[[np.ndarray], np.ndarray],
    y_of: Callable[[np.ndarray], np.ndarray],
    pixels: int,
) -> str:
    """Outline as an SVG path: the highest value within each pixel."""
    if hz.size == 0:
        return ""
    column = np.floor(x_of(hz)).astype(int)
    starts = np.flatnonzero(np.diff(column, prepend=column[0] - 1))
    peaks = np.maximum.reduceat(above, starts)
    x = column[starts] + 0.5 if hz.size > pixels else x_of(hz[starts])
    y = y_of(peaks)
    points = "L".join(f"{a:.4g} {b:.4g}" for a, b in zip(x, y, strict=True))
    return f"M{points}"
