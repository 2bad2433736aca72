"""The modes of a tap test: how strong, how high, how long they ring."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from chatter.report.axes import Label as Wanted
from chatter.report.axes import log_marks, place
from chatter.report.line_drawing import BAD, COOL, DIM, INK, RULE, SHEET, Axis, Sheet
from chatter.tapping.findings import TapFindings
from chatter.trade.modes import Mode

if TYPE_CHECKING:
    from chatter.report.axes import Placed


_FLOOR_DB = -46.0


def tap_svg(findings: TapFindings, chatter_hz: float | None = None) -> str:
    """Draw the modes on a frequency axis, as wide as they are damped.

    Parameters
    ----------
    findings : TapFindings
    chatter_hz : float, optional
        A chatter frequency to mark beside them.

    Returns
    -------
    str
        SVG text to stand inside a page.
    """
    doubtful = [d.mode for d in findings.doubtful]
    everything = [*findings.modes, *doubtful]
    low, high = _range([m.frequency_hz for m in everything] + ([chatter_hz] if chatter_hz else []))
    marks = tuple((low * (high / low) ** m.at, m.text) for m in log_marks(low, high, closest=0.09))
    sheet = Sheet(
        Axis(low, high, "frequency, Hz", marks, log=True),
        Axis(_FLOOR_DB, 22.0, "strength, dB", tuple((v, f"{v:g}") for v in (-40.0, -20.0, 0.0))),
        width_in=4.8,
        height_in=3.3,
    )
    for mode in doubtful:
        upright = (_FLOOR_DB, mode.level_db)
        sheet.line((mode.frequency_hz, mode.frequency_hz), upright, RULE, 1.2)
        sheet.spot(mode.frequency_hz, mode.level_db, 4.0, DIM, fill=SHEET)
    for mode in findings.modes:
        sides = [mode.frequency_hz * (1.0 + side * mode.damping_ratio) for side in (-1, 1)]
        sheet.area(sides, [_FLOOR_DB] * 2, [mode.level_db] * 2, COOL, 0.25)
        upright = (_FLOOR_DB, mode.level_db)
        sheet.line((mode.frequency_hz, mode.frequency_hz), upright, COOL, 1.6)
        sheet.spot(mode.frequency_hz, mode.level_db, 5.0, COOL)
    if chatter_hz is not None:
        sheet.upright(chatter_hz, BAD, 1.1, dash="3 2")
    for text in _labels(findings.modes, chatter_hz, low, high):
        colour = BAD if text.kind else INK
        at, down = sheet.across(text.x), sheet.down(-text.y)
        sheet.text(at, down, text.text, colour, size=7.5, plate=True)
    return sheet.svg("Modes found by tapping", describe_taps(findings))


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


def describe_taps(findings: TapFindings) -> str:
    """The findings in words."""
    if findings.reason is not None:
        return findings.reason
    listed = "; ".join(
        f"{m.frequency_hz:.0f} Hz with damping ratio {m.damping_ratio:.3f}" for m in findings.modes
    )
    return f"Modes: {listed}."
