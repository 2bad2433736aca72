"""Rings of several taps that agree are modes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from chatter.tapping.ringdown import Ring
from chatter.trade.modes import Mode

#: A mode must ring in this share of the taps, and in two at least.  Not in all: one
#: recording may hold taps on several places, and a tap on a node does not excite a mode.
SHARE = 0.34
#: Rings this far below the strongest mode are not told from the filter's leakage.
RANGE_DB = 40.0
#: A ring this far below one within its own width may be an error of the stronger one's fit.
SHADOW_DB = 6.0
#: Above this relative spread over taps a damping ratio is only an order of magnitude.
LOOSE_DAMPING = 0.5


def group(rings_of_taps: Sequence[Sequence[Ring]]) -> list[Mode]:
    """Gather rings into modes, strongest first claimed.

    Parameters
    ----------
    rings_of_taps : sequence of sequence of Ring
        One sequence per clean tap.

    Returns
    -------
    list of Mode
        Ascending frequency; median over taps, standard deviation as spread (0 for one tap).
    """
    pool = [(tap, ring) for tap, rings in enumerate(rings_of_taps) for ring in rings]
    loudest = max((r.amplitude for _, r in pool), default=0.0)
    pool = [(t, r) for t, r in pool if r.amplitude > loudest * 10 ** (-(RANGE_DB + 10.0) / 20.0)]
    need = min(len(rings_of_taps), max(2, math.ceil(SHARE * len(rings_of_taps))))
    modes = []
    while pool:
        centre = max((r for _, r in pool), key=lambda r: r.amplitude)
        members = _members(pool, centre.frequency_hz, centre.damping_ratio)
        middle = float(np.median([r.frequency_hz for _, r in members]))
        members = _members(pool, middle, centre.damping_ratio) or members
        if len(members) >= need:
            modes.append(_mode([r for _, r in members], loudest))
        claimed = {id(r) for _, r in members} | {id(centre)}
        pool = [(t, r) for t, r in pool if id(r) not in claimed]
    top = max((m.level_db for m in modes), default=0.0)
    kept = [m for m in modes if m.level_db >= top - RANGE_DB]
    return sorted((_shifted(m, top) for m in kept), key=lambda m: m.frequency_hz)


def shadowed(mode: Mode, modes: Sequence[Mode]) -> bool:
    """Whether a stronger mode lies within this mode's own width: they cannot be told apart."""
    width = 2.0 * mode.damping_ratio * mode.frequency_hz
    return any(
        abs(other.frequency_hz - mode.frequency_hz) < width
        and other.level_db > mode.level_db + SHADOW_DB
        for other in modes
        if other is not mode
    )


def _members(
    pool: Sequence[tuple[int, Ring]], frequency_hz: float, damping_ratio: float
) -> list[tuple[int, Ring]]:
    """The nearest ring of each tap within reach of a frequency."""
    reach = frequency_hz * max(0.01, 0.4 * damping_ratio) + 0.5
    best: dict[int, Ring] = {}
    for tap, ring in pool:
        off = abs(ring.frequency_hz - frequency_hz)
        if off <= reach and (tap not in best or off < abs(best[tap].frequency_hz - frequency_hz)):
            best[tap] = ring
    return list(best.items())


def _mode(rings: Sequence[Ring], loudest: float) -> Mode:
    f = np.array([r.frequency_hz for r in rings])
    z = np.array([r.damping_ratio for r in rings])
    level = 20.0 * np.log10(np.median([r.amplitude for r in rings]) / loudest)
    many = len(rings) > 1
    return Mode(
        frequency_hz=float(np.median(f)),
        damping_ratio=float(np.median(z)),
        frequency_spread_hz=float(f.std(ddof=1)) if many else 0.0,
        damping_spread=float(z.std(ddof=1)) if many else 0.0,
        taps=len(rings),
        level_db=float(level),
    )


def _shifted(mode: Mode, top_db: float) -> Mode:
    return replace(mode, level_db=mode.level_db - top_db)
