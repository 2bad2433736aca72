"""Speeds worth trying against chatter, as facts and words for the table of remedies."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from chatter import findings
from chatter.job import show
from chatter.job.cut import Job
from chatter.trade import advised, lobes
from chatter.trade.modes import Mode, mode_below
from chatter.trade.rules import Value
from chatter.trade.situation import Situation
from chatter.trade.speed_choice import (
    ASSUMED_DAMPING,
    HIGH_LOBE,
    SPEED_DOUBT,
    Step,
    pocket_speeds,
    weigh_steps,
)
from chatter.trade.unequal import compare_pitch

#: A step is worth a gear change from this predicted gain in depth on.
WORTH = 1.15
#: How many better steps are suggested.
MOST_STEPS = 3
#: Steps this near the present speed are the present speed.
SAME = 0.03


def steps(
    base: Situation, one: findings.Pass, job: Job, modes: Sequence[Mode] = ()
) -> tuple[Situation, ...]:
    """Better steps of this machine, best first, each as a Situation; () without chatter."""
    if one.chatter is None:
        return ()
    present = one.spindle.rev_min
    slip = present / job.cut.speed_rev_min if one.spindle.heard else 1.0
    # A machine whose 57 turns at 56 will turn proportionally slow at its other steps too.
    others = tuple(s for s in advised.usable_steps(job) if abs(s * slip / present - 1.0) > SAME)
    weighed = _weigh(tuple(s * slip for s in others), one, job, modes)
    named = {s * slip: s for s in others}
    better = [replace(w, rev_min=named[w.rev_min]) for w in weighed if w.gain >= WORTH]
    return tuple(_of_step(base, step) for step in better[:MOST_STEPS])


def with_speeds(
    base: Situation,
    one: findings.Pass,
    job: Job,
    modes: Sequence[Mode] = (),
    system: str = "metric",
) -> Situation:
    """Return the situation with the exact best speed and the slower speed added."""
    if one.chatter is None:
        return base
    facts, words = dict(base.facts), dict(base.words)
    _add_exact(facts, words, one, job, modes)
    _add_unequal(facts, words, one, job, modes)
    _add_slower(facts, words, one, job, system)
    return Situation(facts, words)


def _weigh(
    speeds: tuple[float, ...], one: findings.Pass, job: Job, modes: Sequence[Mode]
) -> tuple[Step, ...]:
    mode = mode_below(modes, one.chatter.frequency_hz)
    return weigh_steps(
        speeds,
        one.chatter.frequency_hz,
        job.cutter.teeth,
        one.spindle.rev_min,
        damping_ratio=ASSUMED_DAMPING if mode is None else mode.damping_ratio,
        natural_hz=None if mode is None else min(mode.frequency_hz, one.chatter.frequency_hz),
        diameter_m=job.cutter.diameter_m,
        speed_heard=one.spindle.heard,
    )


def _of_step(base: Situation, step: Step) -> Situation:
    facts: dict[str, Value] = {
        **base.facts,
        "step": step.rev_min,
        "step_gain": 1.0 - 1.0 / step.gain,
    }
    words = {
        **base.words,
        "step": show.show_spindle_speed(step.rev_min),
        "step_pocket": str(step.pocket),
        "step_miss": f"{100 * abs(step.miss):.1f} % {'below' if step.miss > 0 else 'above'}",
        "step_times": f"{step.gain:.1f}",
        "step_waves": f"{step.waves_per_tooth:.1f}",
    }
    return Situation(facts, words)


def _add_exact(
    facts: dict[str, Value],
    words: dict[str, str],
    one: findings.Pass,
    job: Job,
    modes: Sequence[Mode],
) -> None:
    ceiling = advised.ceiling_rev_min(job)
    pockets = pocket_speeds(one.chatter.frequency_hz, job.cutter.teeth, ceiling)
    words["exact_list"] = ", ".join(f"{n:.4g}" for _, n in pockets)
    weighed = _weigh(tuple(n for _, n in pockets), one, job, modes)
    if weighed and weighed[0].gain >= WORTH and weighed[0].waves_per_tooth <= HIGH_LOBE:
        facts["exact"] = weighed[0].rev_min
        facts["exact_gain"] = 1.0 - 1.0 / weighed[0].gain
        words["exact"] = show.show_spindle_speed(weighed[0].rev_min, 3)
        words["exact_times"] = f"{weighed[0].gain:.1f}"


def _add_unequal(
    facts: dict[str, Value],
    words: dict[str, str],
    one: findings.Pass,
    job: Job,
    modes: Sequence[Mode],
) -> None:
    """What the best unequal pitch would do at this speed."""
    if job.cutter.teeth < 3:
        return
    mode = mode_below(modes, one.chatter.frequency_hz)
    damping = ASSUMED_DAMPING if mode is None else mode.damping_ratio
    depth, diameter = job.cut.depth_m, job.cutter.diameter_m
    disc = facts["disc"] is True and depth is not None and diameter is not None
    found = compare_pitch(
        one.chatter.frequency_hz / math.sqrt(1.0 + 2.0 * damping),
        damping,
        job.cutter.teeth,
        one.spindle.rev_min,
        depth_ratio=min(1.0, depth / diameter) if disc else None,
    )
    times = min(found.here, found.robust)
    facts["pitch_difference"] = found.difference
    facts["pitch_gain"] = max(0.0, 1.0 - 1.0 / times)
    words["pitch_difference"] = f"{100 * found.difference:.2g} %"
    words["pitch_times"] = f"{times:.1f}"


def _add_slower(
    facts: dict[str, Value], words: dict[str, str], one: findings.Pass, job: Job, system: str
) -> None:
    """The fastest slower step at which the waves come into reach of process damping."""
    slower = sorted(s for s in advised.usable_steps(job) if s < one.spindle.rev_min * (1 - SAME))
    diameter = job.cutter.diameter_m
    if diameter is None:
        if slower:
            facts["slower_step"] = slower[-1]
            words["slower_step"] = show.show_spindle_speed(slower[-1])
            words["slower_reason"] = "shorter waves are rubbed out by the flank of the tooth"
        return
    reach = lobes.CRITICAL_WAVELENGTH_M
    if not job.machine.speeds_rev_min:
        slower = [one.spindle.rev_min / 2.0]
    for speed in reversed(slower):
        gain, waves = _damping_gain(speed, one, job.cutter.teeth, diameter)
        if gain >= 1.3:
            facts["slower_step"] = speed
            facts["slower_gain"] = 1.0 - 1.0 / gain
            words["slower_step"] = show.show_spindle_speed(speed, 3)
            words["slower_reason"] = (
                f"the waves on the work shrink from {show.show_length(waves[0], system, 2)}"
                f" to {show.show_length(waves[1], system, 2)}, and the flank of the tooth rubs out"
                f" short waves, from somewhere between {show.show_length(reach[0], system, 1)} and"
                f" {show.show_length(reach[2], system, 1)} down, depending on the edge"
            )
            return


def _damping_gain(
    speed: float, one: findings.Pass, teeth: int, diameter_m: float
) -> tuple[float, tuple[float, float]]:
    """Gain in depth at a slower speed by process damping, and the wavelengths now and then."""
    f_c = one.chatter.frequency_hz
    natural = f_c / math.sqrt(1.0 + 2.0 * ASSUMED_DAMPING)
    doubt = np.linspace(1.0 - SPEED_DOUBT, 1.0 + SPEED_DOUBT, 7)

    def least(rev_min: float) -> float:
        n = rev_min * doubt
        limit, _ = lobes.relative_limit(
            teeth * n / 60.0,
            natural,
            ASSUMED_DAMPING,
            wavelength_m=math.pi * diameter_m * n / 60.0 / natural,
            critical_wavelength_m=lobes.CRITICAL_WAVELENGTH_M[1],
        )
        return float(limit.min())

    wave = math.pi * diameter_m / 60.0 / f_c
    return least(speed) / least(one.spindle.rev_min), (
        wave * one.spindle.rev_min,
        wave * speed,
    )
