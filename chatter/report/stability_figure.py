"""Depth limit over spindle speed: where the cut was, the machine's steps, where to go."""

from __future__ import annotations

from chatter.job import show
from chatter.report.axes import even_marks
from chatter.report.line_drawing import BAD, COOL, DIM, FAINT, GOOD, INK, SHEET, Axis, Sheet
from chatter.trade.lobes import CEILING
from chatter.trade.speed_facts import times
from chatter.trade.stability import ChartPoint, StabilityChart

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
    speeds = chart.speeds_rev_min
    top = _top(chart)
    low, middle, high = (
        [min(v, top) for v in row] for row in (chart.limit_low, chart.limit, chart.limit_high)
    )
    along = tuple((v, f"{v:g}") for v in _ticks(chart, size[0]))
    sheet = Sheet(
        Axis(speeds[0], speeds[-1], "spindle speed on the dial, rev/min", along, log=True),
        _depths(chart, 1.12 * top, system),
        width_in=size[0],
        height_in=size[1],
    )
    sheet.area(speeds, [0.0] * len(low), low, FAINT)
    if chart.process_damping:
        sheet.area(speeds, low, high, COOL, 0.16)
    sheet.line(speeds, middle, INK, 1.3)
    for step in chart.steps:
        sheet.line((step.rev_min, step.rev_min), (0.0, 0.03 * top), DIM)
    for step in chart.steps:
        if step.usable and step is not chart.best:
            sheet.spot(step.rev_min, min(step.limit, top), 4.0, DIM, fill=SHEET)
    _here(sheet, chart, top)
    if chart.best is not None:
        _best(sheet, chart.best, top)
    for cut in chart.cuts_made:
        if chart.scale.best_m is None:
            break
        y = min(cut.depth_m / chart.scale.best_m, 1.06 * top)
        if cut.chattered:
            sheet.spot(cut.rev_min, y, 7.0, BAD, shape="x")
        else:
            sheet.spot(cut.rev_min, y, 6.0, SHEET, fill=GOOD)
    place = (sheet.left + 0.02 * (sheet.right - sheet.left), sheet.bottom - 6.0)
    sheet.text(*place, "quiet below the line", DIM, anchor="start")
    return sheet.svg("Stable depth over spindle speed", describe_stability(chart), prefix=prefix)


def _depths(chart: StabilityChart, top: float, system: str) -> Axis:
    """The upright axis: depths where they are known, else times that at the worst speed."""
    scale = chart.scale.best_m
    if scale is None:
        even = tuple((m.at * top, m.text) for m in even_marks(0.0, top, 6))
        return Axis(0.0, top, "stable depth, times that at the worst speed", even)
    marks = even_marks(0.0, top * scale * show.in_units(1.0, "length", system), 6)
    about = "about" if chart.scale.low_m and chart.scale.high_m else "at a bound"
    unit = show.unit_of("length", system)
    label = f"stable depth, {unit} ({about}; see text)"
    return Axis(0.0, top, label, tuple((m.at * top, m.text) for m in marks))


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
        if not all(one.chattered for one in chart.cuts_made):
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


def _here(sheet: Sheet, chart: StabilityChart, top: float) -> None:
    """An upright at the speed of the cut, the whole height: its depth may not be known."""
    x = chart.here.rev_min
    sheet.line((x, x), (0.0, 1.06 * top), BAD, 0.9, dash="2 2")
    right = x > 0.6 * chart.speeds_rev_min[-1]
    place = (sheet.across(x), sheet.down(1.06 * top) - 3.0)
    anchor = "end" if right else "middle"
    sheet.text(*place, "this cut", BAD, anchor=anchor, bold=True, plate=True)


def _best(sheet: Sheet, mark: ChartPoint, top: float) -> None:
    y = min(mark.limit, top)
    sheet.line((mark.rev_min, mark.rev_min), (0.0, y), GOOD, 0.9, dash="2 2")
    sheet.spot(mark.rev_min, y, 6.5, GOOD)
    text = f"{mark.rev_min:g}" + ("+" if mark.limit > top else "")
    place = (sheet.across(mark.rev_min), sheet.down(y) - 8.0)
    sheet.text(*place, text, GOOD, bold=True, plate=True)
