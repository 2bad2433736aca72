"""Which of this machine's speeds is better, for a chatter frequency that was heard.

Smith & Tlusty's rule puts a tooth-passing harmonic on the chatter frequency,
n = 60 f_c / (N k).  Only the steps the machine has count, so each step is given the depth
limit that the lobe relation predicts there, over the one at the present speed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from chatter.trade import lobes

#: Damping ratio assumed when no tap test tells it: a middling value for arbors and tables
#: (common practice, no source; published tool modes run from 0.01 to 0.11).
ASSUMED_DAMPING = 0.03

#: A dial plate is not a measurement: a step's gain is the least over speeds this share either
#: side of it, so that a pocket narrower than the doubt in the speed is not recommended.
SPEED_DOUBT = 0.015

#: Gains in depth above this are only called "several times": the model leaves out too much
#: (other modes, a blunting edge, the motor) to hold a larger number up.
MOST_TIMES = 4.0

#: Above this many waves per tooth the pockets are too narrow to aim at with a gear lever.
HIGH_LOBE = 10.0


@dataclass(frozen=True)
class SpeedStep:
    """One of the machine's speeds, weighed against the present one."""

    rev_min: float
    waves_per_tooth: float  # f_c / f_tp at this speed
    pocket: int  # the nearest k of n = 60 f_c / (N k)
    miss: float  # relative distance of the speed from that pocket's, signed
    gain: float  # depth limit here / at the present speed, without process damping
    cutting_speed_m_s: float | None


def pocket_speeds(
    chatter_hz: float, teeth: int, ceiling_rev_min: float, count: int = 4
) -> tuple[tuple[int, float], ...]:
    """Return the fastest ``count`` pairs (k, 60 f_c / (N k)) not above a ceiling."""
    first = max(1, math.ceil(60.0 * chatter_hz / (teeth * ceiling_rev_min) - 1e-9))
    return tuple((k, 60.0 * chatter_hz / (teeth * k)) for k in range(first, first + count))


def weigh_steps(
    steps_rev_min: tuple[float, ...],
    chatter_hz: float,
    teeth: int,
    present_rev_min: float,
    *,
    damping_ratio: float = ASSUMED_DAMPING,
    diameter_m: float | None = None,
    natural_hz: float | None = None,
    speed_heard: bool = True,
) -> tuple[SpeedStep, ...]:
    """Weigh speed steps by the predicted depth limit, best first.

    Parameters
    ----------
    steps_rev_min : tuple of float
        Candidate speeds; the caller has removed those that must not be used.
    chatter_hz, teeth, present_rev_min
        What was heard: chatter frequency [Hz], teeth on the cutter, spindle speed [rev/min].
    damping_ratio, natural_hz
        The mode, when a tap test told it; otherwise it is worked out from the waves per tooth.
    speed_heard : bool
        False when the present speed is only what the dial plate says: then the fraction of
        a wave per tooth is not known and the mode of least stability is assumed.
    diameter_m : float, optional
        Cutter diameter [m], for the cutting speed.
    """
    present_tp = teeth * present_rev_min / 60.0
    doubt = np.linspace(1.0 - SPEED_DOUBT, 1.0 + SPEED_DOUBT, 7)
    exact = natural_hz is not None and speed_heard
    if natural_hz is None:
        natural_hz, eps = lobes.natural_frequency(chatter_hz, present_tp, damping_ratio)
        exact = speed_heard and math.isfinite(eps)
        if not exact:
            natural_hz = chatter_hz / math.sqrt(1.0 + 2.0 * damping_ratio)
    here = present_tp * (np.ones(1) if exact else doubt)
    now = float(lobes.relative_limit(here, natural_hz, damping_ratio)[0].min())
    if not steps_rev_min:
        return ()
    around = np.outer(steps_rev_min, teeth / 60.0 * doubt)
    limits = lobes.relative_limit(around.ravel(), natural_hz, damping_ratio)[0]
    weighed = []
    for speed, limit in zip(steps_rev_min, limits.reshape(around.shape).min(axis=1), strict=True):
        waves = 60.0 * chatter_hz / (teeth * speed)
        pocket = max(1, round(waves))
        weighed.append(
            SpeedStep(
                rev_min=speed,
                waves_per_tooth=waves,
                pocket=pocket,
                miss=waves / pocket - 1.0,
                gain=float(limit / now),
                cutting_speed_m_s=None if diameter_m is None else math.pi * diameter_m * speed / 60,
            )
        )
    return tuple(sorted(weighed, key=lambda s: (-s.gain, abs(s.miss))))
