"""Draw teeth: from nearly true to one missing, with no gap between."""

from __future__ import annotations

import numpy as np

from chatter.lab.simulate.chance import Rng
from chatter.lab.simulate.cutting import Teeth
from chatter.lab.simulate.ranges import Pair, Ranges, Regime


def draw_teeth(
    rng: Rng, ranges: Ranges, regime: Regime, count: int, chip: float, kind: str
) -> Teeth:
    """Draw teeth whose strokes differ by a share of their mean drawn without gaps.

    Parameters
    ----------
    chip : float
        Mean thickness of the chip [m]: what heights must be measured against.
    kind : str
        With "uneven" in it: one tooth missing or about twice as high, or as bad as that.
    """
    at = np.arange(count) / count
    if count > 1 and regime.form != "single_point" and rng.random() < ranges.unequal_pitch:
        spread = rng.uniform(0.03, 0.2)
        alternate = np.where(np.arange(count) % 2, 0.5, -0.5) if rng.random() < 0.5 else None
        shift = alternate if alternate is not None else rng.uniform(-0.5, 0.5, count)
        at = np.sort((at + spread * shift / count) % 1.0)
    if "uneven" in kind:
        sort = rng.choice(["runout", "high", "missing", "blunt"], p=[0.3, 0.3, 0.25, 0.15])
    else:
        sort = "runout"
    span = ranges.chatter_uneven if "chatter" in kind else ranges.uneven
    if kind == "chatter_flip":  # seen by what repeats at every second tooth: teeth in order
        span = (ranges.uneven[0], 0.45)
    if "uneven" in kind:
        span = ranges.extreme if sort == "runout" else (ranges.uneven[0], 0.4)
    height = _runout(rng, at, chip, _spread(rng, span)) if count > 1 else np.zeros(count)
    blunt = np.exp(0.02 * rng.standard_normal(count))
    one = int(rng.integers(count))
    if count > 1 and sort == "high":
        height[one] += chip * rng.uniform(0.6, 2.0)
    elif count > 1 and sort == "missing":
        height[one : one + 1 + int(rng.random() < 0.2)] -= 1e-3
    elif count > 1 and sort == "blunt":
        some = rng.choice(count, size=max(1, count // 6), replace=False)
        blunt[some] *= rng.uniform(2.2, 4.0)
    helix = regime.form == "end_mill" and rng.random() < 0.85
    return Teeth(
        at_turns=tuple(float(a) for a in at),
        height_m=tuple(float(h) for h in height),
        bluntness=tuple(float(b) for b in blunt),
        helix_lag_turns=float(rng.uniform(0.02, 0.15)) if helix else 0.0,
        slices=5 if helix else 1,
    )


def _spread(rng: Rng, span: Pair) -> float:
    """Evenly in the square root: most cutters run out by some tenths of a chip."""
    return float(rng.uniform(span[0] ** 0.5, span[1] ** 0.5) ** 2)


def _runout(rng: Rng, at: np.ndarray, chip: float, spread: float) -> np.ndarray:
    """Heights [m] whose steps from tooth to tooth span ``spread`` mean chips.

    Part of it once a turn (cutter off its centre), part from tooth to tooth (grinding): on a
    cutter of many teeth it takes a large runout to make neighbours differ.
    """
    turn = np.cos(2 * np.pi * (at - rng.random()))
    grind = rng.standard_normal(len(at))
    share = rng.beta(1.0, 1.0)
    parts = [one / max(np.ptp(np.diff(np.append(one, one[0]))), 1e-9) for one in (turn, grind)]
    height = share * parts[0] + (1 - share) * parts[1]
    return height * chip * spread / max(np.ptp(np.diff(np.append(height, height[0]))), 1e-9)
