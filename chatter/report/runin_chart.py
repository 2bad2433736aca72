"""One trend as a control chart: dates, the machine's own limits, what lies beyond them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from chatter.report.line_drawing import BAD, COOL, DIM, FAINT, GOOD, INK, RULE, as_svg, drawing
from chatter.runin.series import BASELINE_DATES
from chatter.runin.trends import Trend

if TYPE_CHECKING:
    from chatter.runin.series import Dated


_CLIP_DB = 30.0


def trend_svg(
    one: Trend, changes: dict[int, str], size: tuple[float, float] = (3.6, 2.0), *, prefix: str
) -> str:
    """Draw a trend.

    Parameters
    ----------
    one : Trend
    changes : dict of int to str
        Index of a point -> what changed just before it ("new phone").
    size : (float, float)
        Width and height [in].
    prefix : str
        Goes before every id.
    """
    with drawing(*size) as (figure, axes):
        values = [max(-_CLIP_DB, min(_CLIP_DB, p.value_db)) for p in one.points]
        count = len(values)
        axes.axvspan(-0.5, min(count, BASELINE_DATES) - 0.5, color=FAINT, lw=0)
        judged = [(BASELINE_DATES + i, j) for i, j in enumerate(one.judged)]
        beyond_at = {i: j.beyond for i, j in judged}
        if judged:
            at = [i for i, _ in judged]
            for side in ("low", "high"):
                edge = [getattr(j.limits, side) for _, j in judged]
                axes.plot(at, edge, color=DIM, lw=0.8, ls=(0, (4, 2)))
            axes.plot(at, [j.average for _, j in judged], color=COOL, lw=1.2)
        axes.plot(range(count), values, color=RULE, lw=0.8)
        for i, point in enumerate(one.points):
            beyond = beyond_at.get(i, 0)
            flagged = one.since is not None and point.day >= one.since and beyond
            colour = (BAD if beyond > 0 else GOOD) if flagged else INK
            axes.plot(i, values[i], "o", ms=4.2 if flagged else 3.2, color=colour, mew=0)
        for i, what in changes.items():
            axes.axvline(i - 0.5, color=DIM, lw=0.8, ls=(0, (1, 2)))
            axes.text(i - 0.4, 0.97, what, transform=axes.get_xaxis_transform(), va="top",
                      color=DIM, fontsize=6.5)  # fmt: skip
        inside = list(values)
        for _, j in judged:
            inside += [x for x in (j.limits.low, j.limits.high) if abs(x) < 20.0]
        reach = max(4.0, 1.15 * max(abs(x) for x in inside))
        axes.set(xlim=(-0.5, count - 0.5), ylim=(-reach, reach))
        axes.axhline(0.0, color=RULE, lw=0.6)
        axes.set_xticks(range(count), [_when(p) for p in one.points], fontsize=6.5)
        hours = all(p.hours is not None for p in one.points)
        axes.set_xlabel("running hours" if hours else "date", fontsize=7)
        axes.set_ylabel("dB re first dates", fontsize=7)
        axes.tick_params(axis="y", labelsize=7)
        return as_svg(figure, one.item.title, describe_trend(one), prefix=prefix)


def describe_trend(one: Trend) -> str:
    """The chart in words."""
    if not one.points:
        return "No value could be had."
    values = ", ".join(f"{p.value_db:+.1f}" for p in one.points)
    return f"{len(one.points)} dates, dB against the first {BASELINE_DATES}: {values}."


def _when(point: Dated) -> str:
    return point.day.strftime("%d.%m") if point.hours is None else f"{point.hours:g}"
