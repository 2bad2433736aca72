"""Rings of several taps that agree are modes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from chatter.tapping.ringdown import Ring
from chatter.trade.modes import Mode

#: A mode must ring in this share of the taps, and in three at least.  Not in all: one
#: recording may hold taps on several places, and a tap on a node does not excite a mode.
SHARE = 0.34
AGREEING = 3
#: Rings this far below the strongest mode are not told from the filter's leakage.
RANGE_DB = 40.0
#: A ring this far below one within its own width may be an error of the stronger one's fit.
SHADOW_DB = 6.0
#: Two decays at one frequency are one ring with two slopes when they are as near in strength.
SLOPES_DB = 20.0
#: Above this relative spread over taps a damping ratio is only an order of magnitude.
LOOSE_DAMPING = 0.5
#: Rings of different taps are one mode within this share of the frequency, or of the width.
_REACH, _REACH_WIDTH = 0.01, 0.4


@dataclass(frozen=True)
class Grouped:
    """What the taps agree on.

    Attributes
    ----------
    modes : list of Mode
        Ascending frequency; median over taps, standard deviation as spread (0 for one tap).
    alike : float or None
        Share of what rings in a tap, in energy, that other taps have too; median over taps.
        None when hardly any tap rings.
    """

    modes: list[Mode]
    alike: float | None


def group(rings_of_taps: Sequence[Sequence[Ring]], need: int | None = None) -> Grouped:
    """Gather rings into modes, strongest first claimed.

    Parameters
    ----------
    rings_of_taps : sequence of sequence of Ring
        One sequence per clean tap.
    need : int, optional
        Taps that must agree on a mode; by the number of taps when left out.
    """
    taps = len(rings_of_taps)
    need = max(AGREEING, math.ceil(SHARE * taps)) if need is None else need
    pool = [(tap, ring) for tap, rings in enumerate(rings_of_taps) for ring in rings]
    loudest = max((r.energy for _, r in pool), default=0.0)
    pool = [(t, r) for t, r in pool if r.energy > loudest * 10 ** (-(RANGE_DB + 10.0) / 10.0)]
    whole, shared = np.zeros(taps), np.zeros(taps)
    for tap, ring in pool:
        whole[tap] += ring.energy
    modes: list[Mode] = []
    while pool:
        centre = max((r for _, r in pool), key=lambda r: r.energy)
        members = _members(pool, centre.frequency_hz, centre.damping_ratio)
        middle = float(np.median([r.frequency_hz for _, r in members]))
        members = _members(pool, middle, centre.damping_ratio) or members
        if len(members) >= need:
            modes.append(_mode([r for _, r in members], loudest))
            for tap, ring in members:
                shared[tap] += ring.energy
        claimed = {id(r) for _, r in members} | {id(centre)}
        pool = [(t, r) for t, r in pool if id(r) not in claimed]
    ringing_taps = whole > 0.0
    ringing = ringing_taps.sum() > 0.5 * taps
    alike = float(np.median(shared[ringing_taps] / whole[ringing_taps])) if ringing else None
    top = max((m.level_db for m in modes), default=0.0)
    kept = [replace(m, level_db=m.level_db - top) for m in modes if m.level_db >= top - RANGE_DB]
    return Grouped(sorted(kept, key=lambda m: m.frequency_hz), alike)


def shadowed(mode: Mode, modes: Sequence[Mode]) -> bool:
    """Whether a stronger mode lies within this mode's own width: it may be part of it."""
    return any(
        _within(other, mode) and other.level_db > mode.level_db + SHADOW_DB
        for other in modes
        if other is not mode
    )


def _within(mode: Mode, other: Mode) -> bool:
    """Whether a mode lies within the width of another."""
    return abs(mode.frequency_hz - other.frequency_hz) < (
        2.0 * other.damping_ratio * other.frequency_hz
    )


def two_slopes(modes: list[Mode]) -> list[Mode]:
    """Make one mode of two that lie within each other's width: a decay with two slopes.

    A joint that slips while it rings hard, or two parts that ring together, die away first
    fast, then slowly.  No single damping is right: the spread holds both.
    """
    kept: list[Mode] = []
    for mode in sorted(modes, key=lambda m: -m.level_db):
        near = next(
            (
                k
                for k, strong in enumerate(kept)
                if _within(strong, mode)
                and _within(mode, strong)
                and strong.level_db <= mode.level_db + SLOPES_DB
            ),
            None,
        )
        if near is None:
            kept.append(mode)
            continue
        kept[near] = holding(kept[near], mode)
    return kept


def holding(mode: Mode, other: Mode) -> Mode:
    """A mode whose spreads also hold what another look at the same ring gave."""
    return replace(
        mode,
        frequency_spread_hz=math.hypot(
            mode.frequency_spread_hz, other.frequency_hz - mode.frequency_hz
        ),
        damping_spread=math.hypot(mode.damping_spread, other.damping_ratio - mode.damping_ratio),
    )


def _members(
    pool: Sequence[tuple[int, Ring]], frequency_hz: float, damping_ratio: float
) -> list[tuple[int, Ring]]:
    """The ring of each tap within reach of a frequency: the strongest, for satellites are near."""
    reach = frequency_hz * max(_REACH, _REACH_WIDTH * damping_ratio) + 0.5
    best: dict[int, Ring] = {}
    for tap, ring in pool:
        off = abs(ring.frequency_hz - frequency_hz)
        if off <= reach and (tap not in best or ring.energy > best[tap].energy):
            best[tap] = ring
    return list(best.items())


def _mode(rings: Sequence[Ring], loudest: float) -> Mode:
    f = np.array([r.frequency_hz for r in rings])
    z = np.array([r.damping_ratio for r in rings])
    level = 10.0 * np.log10(np.median([r.energy for r in rings]) / loudest)
    many = len(rings) > 1
    return Mode(
        frequency_hz=float(np.median(f)),
        damping_ratio=float(np.median(z)),
        frequency_spread_hz=float(f.std(ddof=1)) if many else 0.0,
        damping_spread=float(z.std(ddof=1)) if many else 0.0,
        taps=len(rings),
        level_db=float(level),
    )
