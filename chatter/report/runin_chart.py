"""One trend as a control chart: dates, the machine's own limits, what lies beyond them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from chatter.report.axes import even_marks
from chatter.report.line_drawing import BAD, COOL, DIM, FAINT, GOOD, INK, RULE, Axis, Sheet
from chatter.runin.series import BASELINE_DATES
from chatter.runin.trends import Trend

if TYPE_CHECKING:
    from chatter.runin.series import Dated


_CLIP_DB = 30.0


def trend_svg(
    trend: Trend, changes: dict[int, str], size: tuple[float, float] = (3.6, 2.0), *, prefix: str
) -> str:
    """Draw a trend.

    Parameters
    ----------
    trend : Trend
    changes : dict of int to str
        Index of a point -> what changed just before it ("new phone").
    size : (float, float)
        Width and height [in].
    prefix : str
        Goes before every id.
    """
    values = [max(-_CLIP_DB, min(_CLIP_DB, p.value_db)) for p in trend.points]
    count = len(values)
    judged = [(BASELINE_DATES + i, j) for i, j in enumerate(trend.judged)]
    beyond_at = {i: j.beyond for i, j in judged}
    limits = [x for _, j in judged for x in (j.limits.low, j.limits.high) if abs(x) < 20.0]
    reach = max(4.0, 1.15 * max(abs(x) for x in [*values, *limits]))
    hours = all(p.hours is not None for p in trend.points)
    dates = tuple((float(i), _when(p)) for i, p in enumerate(trend.points))
    up = tuple((-reach + 2.0 * reach * m.at, m.text) for m in even_marks(-reach, reach, 7))
    sheet = Sheet(
        Axis(-0.5, count - 0.5, "running hours" if hours else "date", dates, size=7, mark_size=6.5),
        Axis(-reach, reach, "dB re first dates", up, size=7, mark_size=7),
        width_in=size[0],
        height_in=size[1],
    )
    first = (-0.5, min(count, BASELINE_DATES) - 0.5)
    sheet.area(first, (-reach, -reach), (reach, reach), FAINT)
    if judged:
        at = [i for i, _ in judged]
        for side in ("low", "high"):
            sheet.line(at, [getattr(j.limits, side) for _, j in judged], DIM, 0.8, dash="4 2")
        sheet.line(at, [j.average for _, j in judged], COOL, 1.2)
    sheet.line(range(count), values, RULE, 0.8)
    sheet.line((-0.5, count - 0.5), (0.0, 0.0), RULE, 0.6)
    for i, point in enumerate(trend.points):
        beyond = beyond_at.get(i, 0)
        flagged = trend.since is not None and point.day >= trend.since and beyond
        colour = (BAD if beyond > 0 else GOOD) if flagged else INK
        sheet.spot(i, values[i], 4.2 if flagged else 3.2, colour)
    for i, what in changes.items():
        sheet.upright(i - 0.5, DIM, 0.8, dash="1 2")
        sheet.text(sheet.across(i - 0.4), sheet.top + 8.0, what, DIM, size=6.5, anchor="start")
    return sheet.svg(trend.item.title, describe_trend(trend), prefix=prefix)


def describe_trend(trend: Trend) -> str:
    """The chart in words."""
    if not trend.points:
        return "No value could be had."
    values = ", ".join(f"{p.value_db:+.1f}" for p in trend.points)
    return f"{len(trend.points)} dates, dB against the first {BASELINE_DATES}: {values}."


def _when(point: Dated) -> str:
    return point.day.strftime("%d.%m") if point.hours is None else f"{point.hours:g}"
