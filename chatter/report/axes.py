"""Axis marks and labels that do not run into each other."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class AxisMark:
    """A mark on an axis: ``at`` is the place from 0 (start) to 1 (end)."""

    at: float
    text: str
    side: str = ""  # "start", "end": where the text lies beside its mark; else centred


def log_marks(low: float, high: float, *, closest: float = 0.07) -> tuple[AxisMark, ...]:
    """Marks at 1, 2, 5 times powers of ten on a logarithmic frequency axis [Hz].

    Powers of ten win where marks would be closer than ``closest`` of the axis.
    """
    span = math.log(high / low)
    marks: list[AxisMark] = []
    for step in (1, 2, 5):
        for power in range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1):
            value = step * 10.0**power
            at = math.log(value / low) / span
            if 0 <= at <= 1 and all(abs(at - mark.at) >= closest for mark in marks):
                marks.append(AxisMark(at, plain_hz(value)))
    return tuple(sorted(marks, key=lambda mark: mark.at))


def plain_hz(value: float) -> str:
    """A round frequency: 200, 1k, 12.5k (the axis names the unit)."""
    return f"{value / 1000:g}k" if value >= 1000 else f"{value:g}"


def even_marks(low: float, high: float, most: int) -> tuple[AxisMark, ...]:
    """At most ``most`` round marks on an even axis."""
    if not high > low:
        return (AxisMark(0.0, f"{low:g}"),)
    step = nice_step((high - low) / max(1, most))
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    return tuple(
        AxisMark((k * step - low) / (high - low), f"{round(k * step, 9):g}")
        for k in range(first, last + 1)
    )


def time_marks(duration_s: float, most: int) -> tuple[AxisMark, ...]:
    """At most ``most`` marks on a time axis: seconds, or minutes:seconds from 2 min on."""
    if duration_s <= 120:
        return even_marks(0, duration_s, most)
    steps = (10, 15, 20, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200)
    step = next((s for s in steps if duration_s / s <= most), 14400)
    return tuple(
        AxisMark(t / duration_s, f"{t // 60}:{t % 60:02d}")
        for t in range(0, int(duration_s) + 1, step)
    )


def nice_step(least: float) -> float:
    """The smallest of 1, 2, 5 times a power of ten that is not below ``least``."""
    base = 10 ** math.floor(math.log10(least))
    return next(s * base for s in (1, 2, 5, 10) if s * base >= least * (1 - 1e-9))


@dataclass(frozen=True)
class Label:
    """A text wanted at a point, the more important the earlier in the list."""

    x: float
    y: float
    text: str
    kind: str = ""


@dataclass(frozen=True)
class Placed:
    """Where a label went: baseline middle, and the point it names."""

    x: float
    y: float
    to_x: float
    to_y: float
    text: str
    kind: str
    width: float


def place(
    labels: Iterable[Label],
    *,
    width: float,
    top: float,
    size: float,
    lift: float = 10.0,
    left: float = 0.0,
    marks: Iterable[tuple[float, float]] = (),
) -> tuple[Placed, ...]:
    """Place labels above their points without overlap; those without room are left out.

    Neither the boxes of two labels touch, nor a label and a leader, nor a label and a mark.

    Parameters
    ----------
    labels : iterable of Label
        Most important first; ``y`` grows downwards.
    width : float
        Of the drawing; labels stay inside, right of ``left``.
    top : float
        Highest baseline allowed.
    size : float
        Type size; a letter is taken to be ``LETTER`` of it wide.
    lift : float
        Distance from point to first baseline tried.
    left : float
        Left edge.
    marks : iterable of (x, y)
        Middles of what is drawn and must stay visible.
    """
    done: list[Placed] = []
    drawn = tuple(marks)
    for label in labels:
        half = LETTER / 2 * size * len(label.text) + 0.3 * size
        x = min(max(label.x, left + half), width - half)
        y = label.y - lift
        while y >= top:
            tried = Placed(x, y, label.x, label.y, label.text, label.kind, 2 * half)
            covers = any(_covers(tried, at, size) for at in drawn)
            if not covers and not any(_touch(tried, other, size) for other in done):
                done.append(tried)
                break
            y -= 0.5 * size
    return tuple(done)


#: Mean width of a letter of the narrow bold face, or of the widest that may stand in for it.
LETTER = 0.6


def _covers(label: Placed, mark: tuple[float, float], size: float) -> bool:
    x, y = mark
    beside = abs(x - label.x) < label.width / 2 + 0.3 * size
    return beside and label.y - 1.2 * size < y < label.y + 0.65 * size


def _touch(label: Placed, other: Placed, size: float) -> bool:
    close_x = abs(label.x - other.x) < (label.width + other.width) / 2
    boxes = close_x and abs(label.y - other.y) < 1.3 * size
    return boxes or _crosses(label, other, size) or _crosses(other, label, size)


def _crosses(label: Placed, other: Placed, size: float) -> bool:
    """Whether the leader of ``other`` runs through the text of ``label``."""
    if not other.y < label.y < other.to_y + 0.4 * size:
        return False
    run = (label.y - other.y) / max(other.to_y - other.y, 1e-9)
    x = other.x + run * (other.to_x - other.x)
    return abs(label.x - x) < label.width / 2
