"""The stability chart of a set-up: relative depth limit over spindle speed.

Drawn from a chatter frequency, a damping ratio and the waves per tooth; the depth scale comes
from cuts that were made (:mod:`chatter.trade.calibration`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from chatter import findings
from chatter.job.cut import Job
from chatter.trade import advised, lobes
from chatter.trade.calibration import ObservedCut, Scale, calibrate
from chatter.trade.modes import Mode, mode_below
from chatter.trade.observed import observations as stated_cuts
from chatter.trade.speed_choice import ASSUMED_DAMPING, HIGH_LOBE, MOST_TIMES, SPEED_DOUBT

_POINTS = 500


@dataclass(frozen=True)
class ChartPoint:
    """A point of the chart: a speed and the relative limit there."""

    rev_min: float
    limit: float  # least within the doubt in the speed
    usable: bool = True  # within the advised range and the cutter's marking


@dataclass(frozen=True)
class StabilityChart:
    """Depth limit over speed, relative to the limit at the worst speed.

    Speeds are those of the dial plate: a machine that was heard to turn 2 % slower than its
    plate says is taken to do so at every step, and the limits are those of the true speeds.

    ``limit`` takes process damping at its middle strength; ``limit_low`` leaves it out and
    ``limit_high`` takes the strongest published.  Values at ``lobes.CEILING`` mean that no
    limit was found.
    """

    speeds_rev_min: tuple[float, ...]
    limit: tuple[float, ...]
    limit_low: tuple[float, ...]
    limit_high: tuple[float, ...]
    steps: tuple[ChartPoint, ...]
    here: ChartPoint
    best: ChartPoint | None  # None when no usable step is better than here
    scale: Scale
    cuts_made: tuple[ObservedCut, ...]  # cuts that were made, this one among them
    chatter_hz: float
    natural_hz: float
    damping_ratio: float
    waves_per_tooth: float
    process_damping: bool  # False: no diameter is stated, so it is left out
    notes: tuple[str, ...]


@dataclass(frozen=True)
class _Setup:
    """What the limit depends on besides the speed on the dial plate."""

    natural_hz: float
    damping_ratio: float
    teeth: int
    diameter_m: float | None
    slip: float  # true speed over that on the dial plate, alike at all steps

    def limit(self, dial_rev_min: np.ndarray, critical_m: float) -> np.ndarray:
        rev_min = self.slip * dial_rev_min
        wave = None
        if self.diameter_m is not None:
            wave = math.pi * self.diameter_m * rev_min / 60.0 / self.natural_hz
        return lobes.relative_limit(
            self.teeth * rev_min / 60.0,
            self.natural_hz,
            self.damping_ratio,
            wavelength_m=wave,
            critical_wavelength_m=critical_m,
        )[0]

    def around(self, rev_min: float, doubt: float = SPEED_DOUBT) -> tuple[float, float]:
        n = rev_min * np.linspace(1.0 - doubt, 1.0 + doubt, 9)
        limit = self.limit(n, lobes.CRITICAL_WAVELENGTH_M[1])
        return float(limit.min()), float(limit.max())


def chart(
    one_pass: findings.Pass,
    job: Job,
    modes: Sequence[Mode] = (),
    observations: Sequence[ObservedCut] = (),
    system: str = "metric",
) -> StabilityChart | None:
    """Draw up the stability chart of a pass that chattered; None when it did not.

    Parameters
    ----------
    one_pass : findings.Pass
    job : Job
    modes : sequence of Mode
        From a tap test: the one nearest below the chatter gives frequency and damping.
    observations : sequence of ObservedCut
        Further cuts with the same set-up, besides those stated with the job.  The pass itself
        counts too when its depth is stated.
    system : str
        "metric" or "inch", for sentences.
    """
    heard = one_pass.chatter
    if heard is None:
        return None
    setup, notes = _setup(one_pass, heard, job, modes)
    observations = tuple(dict.fromkeys((*stated_cuts(job.cut), *observations)))
    if job.cut.depth_m is not None:
        own = ObservedCut(one_pass.spindle.rev_min / setup.slip, job.cut.depth_m, True)
        observations = (own, *(o for o in observations if o != own))
    dial = one_pass.spindle.rev_min / setup.slip
    here = ChartPoint(dial, setup.around(dial)[0])
    usable = set(advised.usable_steps(job))
    steps = tuple(
        ChartPoint(s, setup.around(s)[0], s in usable) for s in sorted(job.machine.speeds_rev_min)
    )
    better = [m for m in steps if m.usable and m.limit > 1.15 * here.limit]
    speeds = _speeds(here, steps)
    low, middle, high = (setup.limit(speeds, c) for c in (0.0, *lobes.CRITICAL_WAVELENGTH_M[1:]))
    waves = heard.frequency_hz / one_pass.tooth_passing_hz
    if waves > HIGH_LOBE:
        notes.append(
            f"At {waves:.0f} waves per tooth the pockets are narrower than a dial plate is true: "
            "speed alone will not cure this, except by going much slower."
        )
    return StabilityChart(
        speeds_rev_min=tuple(map(float, speeds)),
        limit=tuple(map(float, middle)),
        limit_low=tuple(map(float, low)),
        limit_high=tuple(map(float, high)),
        steps=steps,
        here=here,
        best=_best(better, here),
        scale=calibrate(observations, setup.around, system),
        cuts_made=tuple(observations),
        chatter_hz=heard.frequency_hz,
        natural_hz=setup.natural_hz,
        damping_ratio=setup.damping_ratio,
        waves_per_tooth=waves,
        process_damping=setup.diameter_m is not None,
        notes=tuple(notes),
    )


def _best(better: Sequence[ChartPoint], here: ChartPoint) -> ChartPoint | None:
    """The fastest step with nearly the most room; more than several times is no more."""
    if not better:
        return None
    most = min(max(m.limit for m in better), MOST_TIMES * here.limit)
    return max((m for m in better if m.limit >= 0.9 * most), key=lambda m: m.rev_min)


def worst_chatter(passes: Sequence[findings.Pass]) -> findings.Pass | None:
    """Return the pass that shows chatter best; None when none is told to chatter."""
    held = [p for p in passes if p.chatter is not None and "chatter" in (p.verdict, *p.also)]
    return max(held, key=lambda one: one.probabilities.get("chatter", 0.0), default=None)


def _setup(
    one_pass: findings.Pass, heard: findings.Chatter, job: Job, modes: Sequence[Mode]
) -> tuple[_Setup, list[str]]:
    notes = []
    tapped = mode_below(modes, heard.frequency_hz)
    damping = ASSUMED_DAMPING if tapped is None else tapped.damping_ratio
    if tapped is not None:
        natural = min(tapped.frequency_hz, heard.frequency_hz)
        notes.append(f"Mode of {natural:.0f} Hz, damping ratio {damping:.3f}, from the tap test.")
    else:
        natural = heard.frequency_hz / math.sqrt(1.0 + 2.0 * damping)
        notes.append(f"The damping ratio {damping:g} is assumed; a tap test would measure it.")
        if one_pass.spindle.heard:
            natural, eps = lobes.natural_frequency(
                heard.frequency_hz, one_pass.tooth_passing_hz, damping
            )
            if not math.isfinite(eps):
                notes.append(
                    "The fraction of a wave per tooth fits no single mode; the mode that is "
                    "least stable at this frequency is drawn."
                )
    if job.cut_diameter_m is None:
        notes.append("Process damping is left out: state the cutter's diameter to have it.")
    heard_surely = one_pass.spindle.heard and one_pass.spindle.contradiction is None
    slip = one_pass.spindle.rev_min / job.cut.speed_rev_min if heard_surely else 1.0
    return _Setup(natural, damping, job.cutter.teeth, job.cut_diameter_m, slip), notes


def _speeds(here: ChartPoint, steps: tuple[ChartPoint, ...]) -> np.ndarray:
    """Speeds to draw: the machine's range, or half to twice the present speed."""
    marks = [here.rev_min, *(s.rev_min for s in steps)]
    low, high = min(marks), max(marks)
    if not steps:
        low, high = 0.5 * here.rev_min, 2.0 * here.rev_min
    return np.geomspace(0.9 * low, 1.1 * high, _POINTS)
