"""Geometry of the tooth map: one spoke per tooth round the cutter."""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist

from chatter.findings import ToothLevel
from chatter.report.axes import nice_step
from chatter.report.words import signed_db

CENTRE, MEAN_R, REACH = 220.0, 128.0, 48.0  # drawing units; the drawing is 440 square
NUMBER_WIDTH = 64.0  # room for a tooth's number in its ring, with a gap as wide


@dataclass(frozen=True)
class Spoke:
    """One tooth."""

    x0: float  # on the mean circle
    y0: float
    x1: float  # at its level
    y1: float
    spread: tuple[float, float, float, float]  # ends of the spread bar
    out: bool  # stands out from the others
    title: str


@dataclass(frozen=True)
class LevelCircle:
    """A circle of equal level."""

    r: float
    text: str
    mean: bool


@dataclass(frozen=True)
class DialText:
    """A tooth's number (or the name of one that stands out) round the rim."""

    x: float
    y: float
    text: str
    out: bool


@dataclass(frozen=True)
class Dial:
    """The tooth map."""

    spokes: tuple[Spoke, ...]
    rings: tuple[LevelCircle, ...]
    numbers: tuple[DialText, ...]
    stroke: float
    sentence: str
    out: tuple[ToothLevel, ...]


def uneven_teeth(teeth: tuple[ToothLevel, ...], chance: float = 0.01) -> tuple[ToothLevel, ...]:
    """Teeth whose level differs from the mean by more than their spread explains.

    The limit is the two-sided normal one, shared over all teeth (Bonferroni), so that a
    cutter with even teeth shows any such tooth with probability ``chance`` at most; a
    difference below 1 dB is not called out, however sure.
    """
    limit = NormalDist().inv_cdf(1 - chance / (2 * max(1, len(teeth))))
    return tuple(
        one
        for one in teeth
        if abs(one.level_db) > max(1.0, limit * one.spread_db) and math.isfinite(one.level_db)
    )


def draw_dial(teeth: tuple[ToothLevel, ...]) -> Dial | None:
    """Lay out the dial; None with fewer than two teeth (nothing to compare)."""
    if len(teeth) < 2:
        return None
    out = uneven_teeth(teeth)
    peak = max(abs(tooth.level_db) + tooth.spread_db for tooth in teeth)
    step = nice_step(max(peak, 1.0) / 2.01)
    full = 2 * step if peak <= 2 * step else 3 * step
    scale = REACH / full
    count = len(teeth)
    spokes, numbers = [], []
    every = 1 if count <= 24 else 5 if count <= 60 else 10
    named = _named(out, count)
    for place, tooth in enumerate(teeth):
        angle = 2 * math.pi * place / count
        spokes.append(
            Spoke(
                *_at(angle, MEAN_R),
                *_at(angle, MEAN_R + scale * tooth.level_db),
                (
                    *_at(angle, MEAN_R + scale * (tooth.level_db - tooth.spread_db)),
                    *_at(angle, MEAN_R + scale * (tooth.level_db + tooth.spread_db)),
                ),
                tooth in out,
                f"tooth {tooth.tooth}: {signed_db(tooth.level_db)} ± {tooth.spread_db:.1f} dB",
            )
        )
        near = count - tooth.tooth < every * 0.4 or any(
            0 < abs(tooth.tooth - other) < every * 0.6 for other in named
        )
        round_number = tooth.tooth == 1 or (tooth.tooth % every == 0 and not near)
        if tooth.tooth in named or (round_number and tooth not in out):
            x, y = _at(angle, MEAN_R + REACH + 22)
            numbers.append(DialText(x, y, str(tooth.tooth), tooth in out))
    rings = tuple(
        LevelCircle(MEAN_R + scale * db, signed_db(db).replace(".0", "") if db else "mean", db == 0)
        for db in (-full, -full / 2, 0, full / 2, full)
    )
    stroke = min(26.0, 0.55 * 2 * math.pi * (MEAN_R - REACH * 0.4) / count)
    return Dial(tuple(spokes), rings, tuple(numbers), stroke, _sentence(teeth, out), out)


def _named(out: tuple[ToothLevel, ...], count: int) -> set[int]:
    """Teeth that stand out and get their number: the furthest out first, none so near to
    another that the numbers would touch."""
    gap = math.ceil(count * NUMBER_WIDTH / (2 * math.pi * (MEAN_R + REACH + 22)))
    named: set[int] = set()
    for tooth in sorted(out, key=lambda t: -abs(t.level_db)):
        apart = (abs(tooth.tooth - other) for other in named)
        if all(min(d, count - d) >= gap for d in apart):
            named.add(tooth.tooth)
    return named


def _at(angle: float, radius: float) -> tuple[float, float]:
    """Clockwise from the top."""
    return (
        round(CENTRE + radius * math.sin(angle), 1),
        round(CENTRE - radius * math.cos(angle), 1),
    )


def _sentence(teeth: tuple[ToothLevel, ...], out: tuple[ToothLevel, ...]) -> str:
    span = max(t.level_db for t in teeth) - min(t.level_db for t in teeth)
    if not out:
        return f"No tooth stands out: all {len(teeth)} lie within {span:.1f} dB of each other."
    strongest = sorted(out, key=lambda one: -abs(one.level_db))
    named = "; ".join(
        f"tooth {one.tooth} {signed_db(one.level_db)} ± {one.spread_db:.1f} dB"
        for one in strongest[:4]
    )
    more = f" and {len(out) - 4} more" if len(out) > 4 else ""
    verb = "stands" if len(out) == 1 else "stand"
    return f"{len(out)} of {len(teeth)} teeth {verb} out from the mean: {named}{more}."
