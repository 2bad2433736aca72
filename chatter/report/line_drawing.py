"""Line drawings as SVG text: one look, and colours that follow the page's theme.

A sheet has two axes, and what is drawn on it is given in their values.  All lengths on the paper
are points, 72 to the inch, and letters come out alike however wide a drawing is shown.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape, quoteattr

#: Name of each colour in the report's style sheet, with its value where there is none.
INK, DIM, RULE, FAINT = "#1b1e1f", "#54585a", "#c3beb0", "#e6e2d8"
SHEET = "#f6f4ee"
BAD, GOOD, COOL = "#b0210f", "#1c6834", "#2f5878"
THEME = {
    INK: "ink",
    DIM: "dim",
    RULE: "rule",
    FAINT: "faint",
    SHEET: "sheet",
    BAD: "chatter",
    GOOD: "normal",
    COOL: "machine_only",
}
_SIZE, _TICK, _AIR, _LETTER = 8.5, 3.0, 4.0, 0.58


@dataclass(frozen=True)
class Axis:
    """One axis of a sheet.

    Attributes
    ----------
    low, high : float
        Its ends; ``low`` above nought where ``log``.
    label : str
    marks : tuple of (value, text)
    log : bool
        Whether equal ratios are equal lengths.
    size, mark_size : float [pt]
        Type sizes of the label and of the marks.
    """

    low: float
    high: float
    label: str
    marks: tuple[tuple[float, str], ...]
    log: bool = False
    size: float = _SIZE
    mark_size: float = _SIZE

    def share(self, value: float) -> float:
        """Place of a value, from 0 at the low end to 1 at the high one."""
        if self.log:
            return math.log(value / self.low) / math.log(self.high / self.low)
        return (value - self.low) / (self.high - self.low)


class Sheet:
    """A drawing that grows by what is put on it, the later above the earlier."""

    def __init__(
        self, x: Axis, y: Axis, *, width_in: float, height_in: float, beside: float = 8.0
    ) -> None:
        """Open a sheet.

        Parameters
        ----------
        x, y : Axis
        width_in, height_in : float [in]
        beside : float [pt]
            Room right of the axes, for names there.
        """
        self._x, self._y = x, y
        self._size = (72.0 * width_in, 72.0 * height_in)
        longest = max((len(text) for _, text in y.marks), default=0)
        self.left = 1.5 * y.size + longest * _LETTER * y.mark_size + _TICK + _AIR
        self.right = self._size[0] - beside
        self.top = _AIR + 1.0
        self.bottom = self._size[1] - 1.6 * x.size - 1.2 * x.mark_size - _TICK - _AIR
        self._drawn: list[str] = []
        self._axes()  # beneath all that is drawn

    def across(self, x: float) -> float:
        """Place of a value on the paper [pt]."""
        return self.left + self._x.share(x) * (self.right - self.left)

    def down(self, y: float) -> float:
        """Place of a value on the paper [pt], downwards."""
        return self.bottom - self._y.share(y) * (self.bottom - self.top)

    def line(
        self,
        xs: Iterable[float],
        ys: Iterable[float],
        colour: str,
        width: float = 1.0,
        *,
        dash: str = "",
        alpha: float = 1.0,
    ) -> None:
        """A line through points, cut off at the edges; ``dash`` as in SVG, in points."""
        points = " ".join(self._point(x, y) for x, y in zip(xs, ys, strict=True))
        dashed = f"; stroke-dasharray: {dash}" if dash else ""
        self._put(
            f'<polyline points="{points}" clip-path="url(#@inside)" style="fill: none; '
            f'stroke: {_ink(colour)}; stroke-width: {width:g}{dashed}{_faded(alpha)}"/>'
        )

    def upright(self, x: float, colour: str, width: float = 1.0, *, dash: str = "") -> None:
        """A line from the bottom of the axes to their top."""
        self.line((x, x), (self._y.low, self._y.high), colour, width, dash=dash)

    def area(
        self,
        xs: Sequence[float],
        low: Sequence[float],
        high: Sequence[float],
        colour: str,
        alpha: float = 1.0,
    ) -> None:
        """What lies between two courses, cut off at the edges."""
        there = [self._point(x, y) for x, y in zip(xs, high, strict=True)]
        back = [self._point(x, y) for x, y in zip(xs, low, strict=True)]
        self._put(
            f'<polygon points="{" ".join([*there, *reversed(back)])}" clip-path="url(#@inside)" '
            f'style="fill: {_ink(colour)}{_faded(alpha)}"/>'
        )

    def spot(
        self,
        x: float,
        y: float,
        size: float,
        colour: str,
        *,
        shape: str = "o",
        fill: str | None = None,
        alpha: float = 1.0,
    ) -> None:
        """A mark ``size`` wide [pt]: "o" round, "s" square, "D" the same on its corner, "^"
        pointed, "x" cross.

        ``colour`` is that of its edge, and of all of it where ``fill`` is not given.
        """
        at, down, r = self.across(x), self.down(y), size / 2.0
        edge = "" if fill is None else f"; stroke: {_ink(colour)}; stroke-width: 1"
        style = f"fill: {_ink(fill or colour)}{edge}{_faded(alpha)}"
        if shape == "o":
            self._put(f'<circle cx="{at:.2f}" cy="{down:.2f}" r="{r:.2f}" style="{style}"/>')
            return
        if shape == "x":
            style = f"fill: none; stroke: {_ink(colour)}; stroke-width: 2.2"
            way = "M-{0} -{0}L{0} {0}M-{0} {0}L{0} -{0}"
        else:
            way = {
                "s": "M-{0} -{0}H{0}V{0}H-{0}Z",
                "D": "M0 -{1}L{1} 0L0 {1}L-{1} 0Z",
                "^": "M0 -{0}L{0} {0}H-{0}Z",
            }[shape]
        way = way.format(f"{r:.2f}", f"{1.4 * r:.2f}")
        self._put(f'<path d="{way}" transform="translate({at:.2f} {down:.2f})" style="{style}"/>')

    def text(
        self,
        across: float,
        down: float,
        text: str,
        colour: str = INK,
        *,
        size: float = _SIZE,
        anchor: str = "middle",
        bold: bool = False,
        plate: bool = False,
        turned: bool = False,
    ) -> None:
        """A text at a place on the paper [pt]; on a ``plate`` it can be read over lines."""
        style = f"font-size: {size:g}px; fill: {_ink(colour)}"
        if bold:
            style += "; font-weight: bold"
        if plate:
            style += (
                f"; paint-order: stroke; stroke: {_ink(SHEET)}; stroke-width: 3; "
                "stroke-linejoin: round"
            )
        turn = f' transform="rotate(-90 {across:.2f} {down:.2f})"' if turned else ""
        self._put(
            f'<text x="{across:.2f}" y="{down:.2f}" text-anchor="{anchor}"{turn} '
            f'style="{style}">{escape(text)}</text>'
        )

    def leader(self, x: float, y: float, across: float, down: float) -> None:
        """A fine line from a point of the axes to a place on the paper [pt]."""
        self._put(
            f'<line x1="{self.across(x):.2f}" y1="{self.down(y):.2f}" x2="{across:.2f}" '
            f'y2="{down:.2f}" style="stroke: {_ink(RULE)}; stroke-width: 0.6"/>'
        )

    def svg(self, title: str, description: str, *, prefix: str = "") -> str:
        """SVG text without fixed size, fit to stand inside a page; titled for screen readers.

        ``prefix`` goes before every id, so that several drawings can stand in one page.
        """
        width, height = self._size
        inside = (
            f'<defs><clipPath id="{prefix}inside"><rect x="{self.left:.2f}" y="{self.top:.2f}" '
            f'width="{self.right - self.left:.2f}" height="{self.bottom - self.top:.2f}"/>'
            "</clipPath></defs>"
        )
        body = "\n".join(self._drawn).replace("url(#@", f"url(#{prefix}")
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" '
            f'role="img" aria-label={quoteattr(title)} '
            'style="max-width: 42rem; width: 100%; font-family: sans-serif">'
            f"<title>{escape(title)}</title><desc>{escape(description)}</desc>"
            f"{inside}\n{body}\n</svg>\n"
        )

    def _axes(self) -> None:
        x, y, left, bottom = self._x, self._y, self.left, self.bottom
        self._way(f"M{left:.2f} {self.top:.2f}V{bottom:.2f}H{self.right:.2f}", RULE)
        for value, text in x.marks:
            at = self.across(value)
            self._way(f"M{at:.2f} {bottom:.2f}v{_TICK}", DIM)
            self.text(at, bottom + _TICK + 1.1 * x.mark_size, text, DIM, size=x.mark_size)
        for value, text in y.marks:
            at = self.down(value)
            self._way(f"M{left:.2f} {at:.2f}h-{_TICK}", DIM)
            place = (left - _TICK - 2.0, at + 0.35 * y.mark_size)
            minus = text.replace("-", "−")
            self.text(*place, minus, DIM, size=y.mark_size, anchor="end")
        middle = 0.5 * (left + self.right)
        self.text(middle, self._size[1] - 0.4 * x.size, x.label, DIM, size=x.size)
        middle = 0.5 * (self.top + bottom)
        self.text(y.size, middle, y.label, DIM, size=y.size, turned=True)

    def _way(self, path: str, colour: str) -> None:
        self._put(
            f'<path d="{path}" style="fill: none; stroke: {_ink(colour)}; stroke-width: 0.8"/>'
        )

    def _point(self, x: float, y: float) -> str:
        return f"{self.across(x):.2f},{self.down(y):.2f}"

    def _put(self, element: str) -> None:
        self._drawn.append(element)


def _ink(colour: str) -> str:
    name = THEME.get(colour)
    return colour if name is None else f"var(--{name}, {colour})"


def _faded(alpha: float) -> str:
    return "" if alpha == 1.0 else f"; opacity: {alpha:g}"
