"""Asides: what belongs beside a difference: shares of time, and the correction of levels."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from chatter.comparing.features import columns, share_of_time
from chatter.comparing.heard import Listened
from chatter.comparing.results import Difference
from chatter.comparing.take import MeasuredTake


def one_machine(takes: Sequence[Listened]) -> bool:
    """Whether nothing stated speaks against all takes being of the same machine."""
    return len({take.job.machine.name for take in takes} - {""}) <= 1


def with_asides(
    differences: Sequence[Difference],
    names: Sequence[str],
    measured: Sequence[Sequence[MeasuredTake]],
    bands_hz: np.ndarray,
) -> tuple[Difference, ...]:
    """The same differences with their asides in the sentences.

    Parameters
    ----------
    differences : sequence of Difference
    names : sequence of str
    measured : sequence of sequences of Measured
        By cutter.
    bands_hz : ndarray, shape (bands, 2)
        Carrier bands that all takes have.
    """
    sides = dict(zip(names, measured, strict=True))
    return tuple(
        difference
        if difference.difference_db is None
        else replace(
            difference, sentence=f"{difference.sentence}{_aside(difference, sides, bands_hz)}"
        )
        for difference in differences
    )


def _aside(
    difference: Difference, sides: dict[str, Sequence[MeasuredTake]], bands_hz: np.ndarray
) -> str:
    if difference.family == "chatter":
        first, second = (
            100 * float(np.mean([chatter_share(take) for take in sides[name]]))
            for name in (difference.first, difference.second)
        )
        return (
            f" It stands out for {first:.0f} % of the time with {difference.first} and for "
            f"{second:.0f} % with {difference.second}."
        )
    if difference.family == "level":
        first, second = (
            _idle_db(sides[name], bands_hz) for name in (difference.first, difference.second)
        )
        off = second - first
        if abs(off) < 0.5:
            return " The idling machine came out as loud with both, so nothing was taken off."
        return (
            f" The idling machine came out {abs(off):.0f} dB {'louder' if off > 0 else 'fainter'} "
            f"with {difference.second}; that was taken off."
        )
    return ""


def chatter_share(measured: MeasuredTake) -> float:
    """Share of the time compared in which a chatter tone stands out."""
    if measured.turns is None or not measured.turns.rows:
        return 0.0
    rows = measured.turns.rows
    return float(share_of_time(measured.free, np.full((1, rows), 1.0 / rows))[0])


def _idle_db(takes: Sequence[MeasuredTake], bands_hz: np.ndarray) -> float:
    """Level of the idling machine re full scale, mean over bands and takes [dB]."""
    levels = []
    for take in takes:
        if take.idle is not None and take.turns is not None:
            power = take.idle[columns(take.turns.bands_hz, bands_hz)]
            levels.append(float(np.mean(10 * np.log10(np.maximum(power, 1e-20)))))
    return float(np.mean(levels))
