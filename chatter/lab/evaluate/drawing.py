"""The evaluation's drawings by matplotlib, as SVG text in the look and colours of the report."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from chatter.report.line_drawing import DIM, INK, RULE, THEME

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_STYLE: dict[Any, object] = {
    "svg.fonttype": "none",
    "svg.hashsalt": "chatter",
    "font.family": "sans-serif",
    "font.size": 8.5,
    "text.color": INK,
    "axes.edgecolor": RULE,
    "axes.labelcolor": DIM,
    "axes.linewidth": 0.8,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "xtick.color": DIM,
    "ytick.color": DIM,
    "xtick.major.size": 3,
    "ytick.major.size": 3,
    "xtick.minor.size": 0,
    "lines.solid_capstyle": "round",
}


@contextmanager
def drawing(width_in: float = 4.8, height_in: float = 3.2) -> Iterator[tuple[Figure, Axes]]:
    """Open a figure in the house's look; it is closed afterwards."""
    import matplotlib as mpl
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    with mpl.rc_context(_STYLE):
        figure = Figure(figsize=(width_in, height_in), layout="constrained")
        FigureCanvasSVG(figure)
        yield figure, figure.add_subplot()


def as_svg(figure: Figure, title: str, description: str, *, prefix: str = "") -> str:
    """SVG text without fixed size, fit to stand inside a page; titled for screen readers.

    ``prefix`` goes before every id, so that several drawings can stand in one page.
    """
    from xml.sax.saxutils import escape, quoteattr

    out = io.StringIO()
    figure.savefig(out, format="svg", transparent=True, metadata={"Date": None, "Creator": None})
    text = out.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"(\d\.\d\d)\d+", r"\1", text)  # a hundredth of a point is fine enough
    text = re.sub(r"<metadata>.*?</metadata>", "", text, flags=re.DOTALL)
    text = re.sub(r'(<svg[^>]*?) (?:width|height)="[^"]*pt"', r"\1", text)
    text = re.sub(r'(<svg[^>]*?) (?:width|height)="[^"]*pt"', r"\1", text)
    for value, name in THEME.items():
        text = text.replace(value, f"var(--{name}, {value})")
    if prefix:
        text = re.sub(r'(\bid="|href="#|url\(#)', rf"\g<1>{prefix}", text)
    # The page's own letters: sizes stay, families go.
    text = re.sub(r"font: ([\d.]+px) [^;\"]*", r"font-size: \1", text)
    label = f"<title>{escape(title)}</title><desc>{escape(description)}</desc>"
    return re.sub(
        r"(<svg[^>]*)>",
        lambda m: (
            f'{m[1]} role="img" aria-label={quoteattr(title)} '
            f'style="max-width: 42rem; width: 100%; font-family: sans-serif">{label}'
        ),
        text,
        count=1,
    )
