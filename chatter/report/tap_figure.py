"""The modes of a tap test: how strong, how high, how long they ring."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from chatter.report.axes import Label as Wanted
from chatter.report.axes import log_marks, place
from chatter.report.line_drawing import BAD, COOL, DIM, INK, PLATE, RULE, as_svg, drawing
from chatter.tapping.findings import TapFindings
from chatter.trade.modes import Mode

if TYPE_CHECKING:
    from chatter.report.axes import Placed


_FLOOR_DB = -46.0


def tap_svg(found: TapFindings, chatter_hz: float | None = None) -> str:
    """Draw the modes on a frequency axis, as wide as they are damped.

    Parameters
    ----------
    found : TapFindings
    chatter_hz : float, optional
        A chatter frequency to mark beside them.

    Returns
    -------
    str
        SVG text to stand inside a page.
    """
    from matplotlib.ticker import FixedLocator, NullFormatter

    with drawing(4.8, 3.3) as (figure, axes):
        doubtful = [d.mode for d in found.doubtful]
        everything = [*found.modes, *doubtful]
        low, high = _range(
            [m.frequency_hz for m in everything] + ([chatter_hz] if chatter_hz else [])
        )
        for mode in doubtful:
            axes.plot([mode.frequency_hz] * 2, [_FLOOR_DB, mode.level_db], color=RULE, lw=1.2)
            axes.plot(mode.frequency_hz, mode.level_db, "o", ms=4, mfc="none", mec=DIM)
        for mode in found.modes:
            half = mode.damping_ratio
            axes.fill_betweenx(
                [_FLOOR_DB, mode.level_db],
                mode.frequency_hz * (1 - half),
                mode.frequency_hz * (1 + half),
                color=COOL,
                alpha=0.25,
                lw=0,
            )
            axes.plot([mode.frequency_hz] * 2, [_FLOOR_DB, mode.level_db], color=COOL, lw=1.6)
            axes.plot(mode.frequency_hz, mode.level_db, "o", ms=5, color=COOL)
        if chatter_hz is not None:
            axes.axvline(chatter_hz, color=BAD, lw=1.1, ls=(0, (3, 2)))
        axes.set(xscale="log", xlim=(low, high), ylim=(_FLOOR_DB, 22))
        marks = log_marks(low, high, closest=0.09)
        axes.xaxis.set_major_locator(FixedLocator([low * (high / low) ** m.at for m in marks]))
        axes.set_xticklabels([m.text for m in marks])
        axes.xaxis.set_minor_formatter(NullFormatter())
        axes.set_yticks([-40, -20, 0])
        axes.set_xlabel("frequency, Hz")
        axes.set_ylabel("strength, dB")
        for text in _labels(found.modes, chatter_hz, low, high):
            axes.text(
                text.x,
                -text.y,
                text.text,
                ha="center",
                va="bottom",
                size=7.5,
                color=BAD if text.kind else INK,
                bbox=PLATE,
            )
        return as_svg(figure, "Modes found by tapping", describe_taps(found))


def _labels(
    modes: tuple[Mode, ...], chatter_hz: float | None, low: float, high: float
) -> list[Placed]:
    """Labels placed in units of the axes: x from 0 to 100 across, y in dB downwards."""
    wanted = [
        Wanted(_across(m.frequency_hz, low, high), -m.level_db, f"{m.frequency_hz:.0f}")
        for m in sorted(modes, key=lambda m: -m.level_db)
    ]
    if chatter_hz is not None:
        wanted.insert(0, Wanted(_across(chatter_hz, low, high), -8.0, "chatter", "chatter"))
    placed = place(wanted, width=100.0, top=-20.0, size=5.0, lift=2.0)
    return [
        type(p)(low * (high / low) ** (p.x / 100.0), p.y, p.to_x, p.to_y, p.text, p.kind, p.width)
        for p in placed
    ]


def _across(f: float, low: float, high: float) -> float:
    return 100.0 * math.log(f / low) / math.log(high / low)


def _range(frequencies: list[float]) -> tuple[float, float]:
    if not frequencies:
        return 60.0, 7000.0
    return min(60.0, 0.8 * min(frequencies)), max(2000.0, 1.3 * max(frequencies))


def describe_taps(found: TapFindings) -> str:
    """The findings in words."""
    if found.reason is not None:
        return found.reason
    told = "; ".join(
        f"{m.frequency_hz:.0f} Hz with damping ratio {m.damping_ratio:.3f}" for m in found.modes
    )
    return f"Modes: {told}."
