"""Depth limit over spindle speed: where the cut was, the machine's steps, where to go."""

from __future__ import annotations

from typing import TYPE_CHECKING

from chatter.job import show
from chatter.report.axes import even_marks
from chatter.report.line_drawing import (
    BAD,
    COOL,
    DIM,
    FAINT,
    GOOD,
    INK,
    PLATE,
    SHEET,
    as_svg,
    drawing,
)
from chatter.trade.lobes import CEILING
from chatter.trade.speed_facts import times
from chatter.trade.stability import ChartPoint, StabilityChart

if TYPE_CHECKING:
    from matplotlib.axes import Axes


#: The drawing ends at this many times the limit at the worst speed.
_TOP = 6.0


#: Width and height [in] of the drawing on a desk and on a phone; letters come out alike.
WIDE, NARROW = (7.2, 3.5), (3.7, 3.4)


def stability_svg(
    chart: StabilityChart,
    system: str = "metric",
    size: tuple[float, float] = WIDE,
    *,
    prefix: str = "",
) -> str:
    """Draw a stability chart.

    Parameters
    ----------
    chart : StabilityChart
    system : str
        "metric" or "inch"; depths are shown when the chart's scale is known.
    size : (float, float)
        Width and height [in].
    prefix : str
        Goes before every id, for pages with several drawings.

    Returns
    -------
    str
        SVG text to stand inside a page.
    """
    from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

    scale = chart.scale.best_m
    with drawing(*size) as (figure, axes):
        speeds = chart.speeds_rev_min
        top = _top(chart)
        low, middle, high = (
            [min(v, top) for v in row] for row in (chart.limit_low, chart.limit, chart.limit_high)
        )
        axes.fill_between(speeds, 0.0, low, color=FAINT, lw=0)
        if chart.process_damping:
            axes.fill_between(speeds, low, high, color=COOL, alpha=0.16, lw=0)
        axes.plot(speeds, middle, color=INK, lw=1.3)
        for step in chart.steps:
            axes.plot([step.rev_min] * 2, [0, 0.03 * top], color=DIM, lw=1, clip_on=False)
        for step in chart.steps:
            if step.usable and step is not chart.best:
                axes.plot(step.rev_min, min(step.limit, top), "o", ms=4, mfc=SHEET, mec=DIM)
        _here(axes, chart, top)
        if chart.best is not None:
            _point(axes, chart.best, top, GOOD, f"{chart.best.rev_min:g}", "o")
        axes.set(xscale="log", xlim=(speeds[0], speeds[-1]), ylim=(0, 1.12 * top))
        axes.xaxis.set_major_locator(FixedLocator(_ticks(chart, size[0])))
        axes.xaxis.set_minor_locator(NullLocator())
        axes.xaxis.set_major_formatter(FuncFormatter(lambda v, _: f"{v:g}"))
        for one in chart.made:
            if scale is None:
                break
            y = min(one.depth_m / scale, 1.06 * top)
            if one.chattered:
                axes.plot(one.rev_min, y, "x", ms=7, mew=2.2, color=BAD)
            else:
                axes.plot(one.rev_min, y, "o", ms=6, color=GOOD, mec=SHEET)
        axes.set_xlabel("spindle speed on the dial, rev/min")
        if scale is None:
            axes.set_ylabel("stable depth, times that at the worst speed")
        else:
            unit_m = show.in_units(1.0, "length", system)
            marks = even_marks(0.0, 1.12 * top * scale * unit_m, 6)
            axes.set_yticks([m.at * 1.12 * top for m in marks], [m.text for m in marks])
            about = "about" if chart.scale.low_m and chart.scale.high_m else "at a bound"
            unit = show.unit_of("length", system)
            axes.set_ylabel(f"stable depth, {unit} ({about}; see text)")
        axes.text(
            0.02, 0.03, "quiet below the line", transform=axes.transAxes, color=DIM, va="bottom"
        )
        return as_svg(
            figure, "Stable depth over spindle speed", describe_stability(chart), prefix=prefix
        )


def describe_stability(chart: StabilityChart) -> str:
    """The chart in words."""
    parts = [
        f"Chatter at {show.show_frequency(chart.chatter_hz)}, {chart.waves_per_tooth:.1f} waves "
        f"per tooth; damping ratio {chart.damping_ratio:.3f}."
    ]
    if chart.best is not None:
        gain = times(chart.best.limit / chart.here.limit)
        parts.append(
            f"At {show.show_spindle_speed(chart.best.rev_min)} {gain} the depth that is stable at "
            f"{show.show_spindle_speed(chart.here.rev_min, 3)}."
        )
    else:
        parts.append("No usable speed of the machine is clearly better.")
    if chart.process_damping:
        parts.append("The band shows how little or much the tooth's flank may damp short waves.")
    return " ".join((*parts, chart.scale.sentence, *chart.notes))


def caption(chart: StabilityChart) -> tuple[str, ...]:
    """What the drawing shows and what it rests on, for people: one sentence or two each."""
    here = show.show_spindle_speed(chart.here.rev_min, 3)
    shown = f"Below the line a cut stays quiet, above it chatters. This cut was made at {here}."
    if chart.scale.best_m is not None:
        shown += " Cross: a cut that chattered."
        if not all(one.chattered for one in chart.made):
            shown += " Green spot: a cut that was quiet."
    if any(step.usable and step is not chart.best for step in chart.steps):
        shown += " Rings: other speeds of this machine that may be used."
    if any(not step.usable for step in chart.steps):
        shown += " Speeds without a ring are too fast for this cutter in this metal."
    if chart.best is not None:
        best = show.show_spindle_speed(chart.best.rev_min)
        gain = times(chart.best.limit / chart.here.limit)
        go = f"Most room: {best}, in green; {gain} the depth should be quiet there."
    elif chart.steps:
        go = "Most room: none of the machine's speeds is clearly better than this one."
    else:
        go = "State the machine's own list of speeds, and its steps are marked here."
    rests = (
        f"Drawn for one springy part that rings at {show.show_frequency(chart.natural_hz, 3)} by "
        "itself and chatters at the frequency heard; other parts may set in at other speeds."
    )
    if chart.process_damping:
        rests += " The shaded band is how little or much the flank of the tooth may calm slow cuts."
    depth = chart.scale.sentence
    if chart.scale.best_m is None:
        depth += (
            " Depths are therefore shown as times the depth that is quiet at the worst speed: "
            "state which depths chattered and which did not to have them in your own units."
        )
    return (shown, go, rests, " ".join((depth, *chart.notes)))


def _top(chart: StabilityChart) -> float:
    marks = [chart.here, *(s for s in chart.steps if s.usable)]
    tallest = max(m.limit for m in marks if m.limit < CEILING) if marks else 3.0
    return min(_TOP, max(3.0, 1.15 * tallest))


def _ticks(chart: StabilityChart, width_in: float) -> list[float]:
    """The machine's own steps where there is room, else round numbers."""
    if not chart.steps:
        low, high = chart.speeds_rev_min[0], chart.speeds_rev_min[-1]
        return [low + m.at * (high - low) for m in even_marks(low, high, 4)]
    span = chart.speeds_rev_min[-1] / chart.speeds_rev_min[0]
    room = span ** (0.42 / width_in)  # a number of three figures and some air
    kept: list[float] = []
    for step in sorted(chart.steps, key=lambda s: s.rev_min):
        if not kept or step.rev_min / kept[-1] > room:
            kept.append(step.rev_min)
    return kept


def _here(axes: Axes, chart: StabilityChart, top: float) -> None:
    """An upright at the speed of the cut, the whole height: its depth may not be known."""
    x = chart.here.rev_min
    axes.plot([x, x], [0, 1.06 * top], color=BAD, lw=0.9, ls=(0, (2, 2)))
    axes.annotate(
        "this cut",
        (x, 1.06 * top),
        xytext=(0, 6),
        textcoords="offset points",
        ha="right" if x > 0.6 * chart.speeds_rev_min[-1] else "center",
        color=BAD,
        weight="bold",
        annotation_clip=False,
    )


def _point(axes: Axes, mark: ChartPoint, top: float, colour: str, text: str, shape: str) -> None:
    y = min(mark.limit, top)
    axes.plot([mark.rev_min] * 2, [0, y], color=colour, lw=0.9, ls=(0, (2, 2)))
    axes.plot(mark.rev_min, y, shape, ms=6.5, color=colour)
    more = "+" if mark.limit > top else ""
    axes.annotate(
        text + more,
        (mark.rev_min, y),
        xytext=(0, 8),
        textcoords="offset points",
        ha="center",
        color=colour,
        weight="bold",
        bbox=PLATE,
    )
