"""What would a cutter with unequally spaced teeth do here?  A number by semi-discretization.

Only ratios are asked for, so stiffness and the size of the cutting force drop out; what is
left is the mode, the waves per tooth, the immersion and the ratio of the force's two parts.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from chatter.trade import lobes
from chatter.trade.directions import immersion
from chatter.trade.semidiscretization import Milling, depth_limit, unequal_pitches
from chatter.trade.speed_choice import SPEED_DOUBT
from chatter.trade.zero_order import Oscillator, averaged_limit

#: Radial over tangential cutting force; a middling value (common practice, no source;
#: the published benchmark cases run from 0.3 to 0.6).
FORCE_RATIO = 0.3

#: Beyond this many waves per tooth only the averaged force is used: the map grows with the
#: square of the waves, and many waves go with many teeth, whose force hardly varies.
MOST_WAVES = 40.0

#: From this many teeth in the work at once the force hardly varies, and the averaged one serves
#: (within 7 % in the tests); with fewer it can be wrong by a factor of five.
SMOOTH_TEETH = 4.0

#: Grid of the semi-discretization, coarser where the waves, and so the cost, are many: (waves
#: up to, refinement).  Ratios come within 12 % of those of the fine grid, in the tests.
_GRIDS = ((12.0, 0.6), (math.inf, 0.4))

#: Limits are closed in on to this share: one closing-in of the fifth that ``depth_limit`` raises
#: the depth by reaches it, and its middle is within 2 %.
_REL = 0.034

#: Averaged gain below which the exact one is not asked for: no advice would rest on it.
_WORTH = 1.1

#: Greatest difference of neighbouring pitches worth naming (common practice, no source).
MOST_DIFFERENCE = 0.4

#: Ratios above this are not told apart: "no limit found".
MOST = lobes.CEILING


@dataclass(frozen=True)
class Unequal:
    """Depth limit with unequal over that with equal pitch, all else the same."""

    difference: float  # of neighbouring pitches, over the mean pitch
    here: float  # at the present speed, force as it varies (see MOST_WAVES, SMOOTH_TEETH)
    averaged: float  # the same with the averaged force: an independent check
    robust: float  # least within the doubt in speed and chatter frequency, averaged force


def compare_pitch(
    natural_hz: float,
    damping_ratio: float,
    teeth: int,
    rev_min: float,
    *,
    difference: float | None = None,
    depth_ratio: float | None = None,
) -> Unequal:
    """Compare alternating unequal pitch with equal pitch.

    Parameters
    ----------
    natural_hz, damping_ratio : float
        The mode, along the feed.
    teeth : int
        At least 2.
    rev_min : float
    difference : float, optional
        Difference of neighbouring pitches over the mean pitch; by default the one that makes
        neighbouring waves half a wave apart, which breaks them best.
    depth_ratio : float, optional
        Radial depth over diameter; 1 (a full slot) when not known.

    Raises
    ------
    ValueError
        Fewer than 2 teeth, or a difference so large that a pitch vanishes.
    """
    if teeth < 2:
        raise ValueError(f"a cutter with {teeth} tooth has no pitch to make unequal")
    waves = 60.0 * natural_hz / (teeth * rev_min)
    difference = best_difference(waves) if difference is None else difference
    if not 0.0 <= difference < 1.9:
        raise ValueError(f"difference of pitches {difference} is not in 0 to 1.9")
    entry, leave = immersion(1.0 if depth_ratio is None else depth_ratio, "conventional")
    mode = Oscillator(natural_hz, damping_ratio, 1.0)
    equal, uneven = (
        Milling(mode, unequal_pitches(teeth, d), entry, leave, 1.0, FORCE_RATIO)
        for d in (0.0, difference)
    )

    points = int(max(600, 40 * waves))

    def averaged(cut: Milling, speed: float) -> float:
        return averaged_limit(speed, mode, cut.pitches, cut.mean_factor_n_m2, points)[0]

    around = rev_min * np.linspace(1.0 - 2.0 * SPEED_DOUBT, 1.0 + 2.0 * SPEED_DOUBT, 9)
    equal_here = averaged(equal, rev_min)
    if not math.isfinite(equal_here):
        return Unequal(difference, 1.0, 1.0, 1.0)  # no wave to break: teeth pass too fast
    least = [min(averaged(cut, float(n)) for n in around) for cut in (uneven, equal)]
    ratio = averaged(uneven, rev_min) / equal_here
    robust = min(least[0] / least[1], MOST)
    exact = ratio
    smooth = teeth * (leave - entry) / (2.0 * math.pi) >= SMOOTH_TEETH
    if not smooth and waves <= MOST_WAVES and robust >= _WORTH:
        exact = _exact_ratio(equal, uneven, rev_min, waves, equal_here)
    return Unequal(
        difference=difference, here=min(exact, MOST), averaged=min(ratio, MOST), robust=robust
    )


def _exact_ratio(
    equal: Milling, uneven: Milling, rev_min: float, waves: float, averaged_m: float
) -> float:
    """Limits over each other with the force as it varies, ``averaged_m`` that of the even one."""
    ceiling_m = 1.05 * MOST * averaged_m
    refine = next(grid for up_to, grid in _GRIDS if waves <= up_to)
    first = depth_limit(
        equal, rev_min, ceiling_m=ceiling_m, refine=refine, rel=_REL, start_m=0.5 * averaged_m
    )[0]
    if not math.isfinite(first):
        return 1.0
    # An uneven cutter seldom does worse, so the search starts a little below the even one's.
    start = 0.8 * first
    second = depth_limit(
        uneven, rev_min, ceiling_m=ceiling_m, refine=refine, rel=_REL, start_m=start
    )[0]
    return second / first


def best_difference(waves_per_tooth: float) -> float:
    """Difference of neighbouring pitches that sets neighbouring waves half a wave apart.

    At most ``MOST_DIFFERENCE``: with few waves per tooth no cutter that is made is that uneven.
    """
    return min(0.5 / max(waves_per_tooth, 0.5), MOST_DIFFERENCE)
