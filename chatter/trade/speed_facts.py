"""Speeds worth trying against chatter, as facts and words for the table of remedies."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache

import numpy as np

from chatter import findings
from chatter.job import show
from chatter.job.cut import Job
from chatter.trade import advised, lobes
from chatter.trade.engagement import cutting_speed_m_s
from chatter.trade.modes import Mode, mode_below
from chatter.trade.rules import Value
from chatter.trade.situation import Situation
from chatter.trade.speed_choice import (
    ASSUMED_DAMPING,
    HIGH_LOBE,
    MOST_TIMES,
    SPEED_DOUBT,
    SpeedStep,
    pocket_speeds,
    weigh_steps,
)
from chatter.trade.unequal import Unequal, compare_pitch

#: A step is worth a gear change from this predicted gain in depth on.
WORTH = 1.15
#: Process damping is advised above this many waves per tooth, as in the table of remedies.
DAMPED_WAVES = 4.0
#: How many better steps are suggested.
MOST_STEPS = 3
#: Steps this near the present speed are the present speed.
SAME = 0.03


def better_steps(
    base: Situation,
    one_pass: findings.Pass,
    job: Job,
    modes: Sequence[Mode] = (),
    system: str = "metric",
) -> tuple[Situation, ...]:
    """Better steps of this machine, best first, each as a Situation; () without chatter."""
    heard = one_pass.chatter
    if heard is None:
        return ()
    present = one_pass.spindle.rev_min
    slip = present / job.cut.speed_rev_min if one_pass.spindle.heard else 1.0
    # A machine whose 57 turns at 56 will turn proportionally slow at its other steps too.
    others = tuple(s for s in advised.usable_steps(job) if abs(s * slip / present - 1.0) > SAME)
    weighed = _weigh(tuple(s * slip for s in others), one_pass, heard, job, modes)
    named = {s * slip: s for s in others}
    better = [replace(w, rev_min=named[w.rev_min]) for w in weighed if w.gain >= WORTH]
    return tuple(_of_step(base, step, job, system) for step in better[:MOST_STEPS])


def with_speeds(
    base: Situation,
    one_pass: findings.Pass,
    job: Job,
    modes: Sequence[Mode] = (),
    system: str = "metric",
    *,
    unequal: bool = True,
) -> Situation:
    """Return the situation with the exact best speed and the slower speed added.

    ``unequal`` asks for what unequal pitch would do, the one dear number among these.
    """
    heard = one_pass.chatter
    if heard is None:
        return base
    facts, words = dict(base.facts), dict(base.words)
    _add_exact(facts, words, one_pass, heard, job, modes)
    if unequal:
        _add_unequal(facts, words, one_pass, heard, job, modes)
    _add_slower(facts, words, one_pass, heard, job, system)
    facts["slower_told"] = facts["slower_step"] is not None and (
        float(facts["waves_per_tooth"] or 0.0) > DAMPED_WAVES
    )
    return Situation(facts, words)


def _weigh(
    speeds: tuple[float, ...],
    one_pass: findings.Pass,
    heard: findings.Chatter,
    job: Job,
    modes: Sequence[Mode],
) -> tuple[SpeedStep, ...]:
    mode = mode_below(modes, heard.frequency_hz)
    return weigh_steps(
        speeds,
        heard.frequency_hz,
        job.cutter.teeth,
        one_pass.spindle.rev_min,
        damping_ratio=ASSUMED_DAMPING if mode is None else mode.damping_ratio,
        natural_hz=None if mode is None else min(mode.frequency_hz, heard.frequency_hz),
        diameter_m=job.cut_diameter_m,
        speed_heard=one_pass.spindle.heard,
    )


def _of_step(base: Situation, step: SpeedStep, job: Job, system: str) -> Situation:
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
        "step_times": times(step.gain),
        "step_waves": f"{step.waves_per_tooth:.1f}",
        "step_feed": advised.feed_beside(job, step.rev_min, system),
    }
    return Situation(facts, words)


def _add_exact(
    facts: dict[str, Value],
    words: dict[str, str],
    one_pass: findings.Pass,
    heard: findings.Chatter,
    job: Job,
    modes: Sequence[Mode],
) -> None:
    ceiling = advised.ceiling_rev_min(job)
    pockets = pocket_speeds(heard.frequency_hz, job.cutter.teeth, ceiling)
    words["exact_list"] = ", ".join(f"{n:.0f}" if n >= 1000 else f"{n:.4g}" for _, n in pockets)
    weighed = _weigh(tuple(n for _, n in pockets), one_pass, heard, job, modes)
    if weighed and weighed[0].gain >= WORTH and weighed[0].waves_per_tooth <= HIGH_LOBE:
        facts["exact"] = weighed[0].rev_min
        facts["exact_gain"] = 1.0 - 1.0 / weighed[0].gain
        words["exact"] = show.show_spindle_speed(weighed[0].rev_min, 3)
        words["exact_times"] = times(weighed[0].gain)


def _add_unequal(
    facts: dict[str, Value],
    words: dict[str, str],
    one_pass: findings.Pass,
    heard: findings.Chatter,
    job: Job,
    modes: Sequence[Mode],
) -> None:
    """What the best unequal pitch would do at this speed."""
    if job.cutter.teeth < 3:
        return
    mode = mode_below(modes, heard.frequency_hz)
    damping = ASSUMED_DAMPING if mode is None else mode.damping_ratio
    depth, diameter = job.cut.depth_m, job.cutter.diameter_m
    share = None
    if facts["disc"] is True and depth is not None and diameter is not None:
        share = _rounded(min(1.0, depth / diameter))
    unequal = _compared(
        _rounded(heard.frequency_hz / math.sqrt(1.0 + 2.0 * damping)),
        _rounded(damping),
        job.cutter.teeth,
        _rounded(one_pass.spindle.rev_min),
        share,
    )
    gain = min(unequal.here, unequal.robust)
    facts["pitch_difference"] = unequal.difference
    facts["pitch_gain"] = max(0.0, 1.0 - 1.0 / gain)
    share = 100.0 * unequal.difference
    words["pitch_difference"] = f"{share:.0f} %" if share >= 10.0 else f"{share:.1f} %"
    words["pitch_times"] = times(gain)


@lru_cache(maxsize=64)
def _compared(
    natural_hz: float, damping: float, teeth: int, rev_min: float, depth_ratio: float | None
) -> Unequal:
    """``compare_pitch``, kept: the passes of one job ask nearly the same again and again."""
    return compare_pitch(natural_hz, damping, teeth, rev_min, depth_ratio=depth_ratio)


def _rounded(value: float) -> float:
    """Four figures, finer than any of these is known."""
    return float(f"{value:.4g}")


def times(gain: float) -> str:
    """A gain in depth for people: "about 1.6 times", "several times"."""
    return "several times" if gain > MOST_TIMES else f"about {gain:.1f} times"


def _add_slower(
    facts: dict[str, Value],
    words: dict[str, str],
    one_pass: findings.Pass,
    heard: findings.Chatter,
    job: Job,
    system: str,
) -> None:
    """The fastest slower step at which the waves come into reach of process damping."""
    slower = sorted(
        s for s in advised.usable_steps(job) if s < one_pass.spindle.rev_min * (1 - SAME)
    )
    diameter = job.cut_diameter_m
    if diameter is None:
        if slower:
            facts["slower_step"] = slower[-1]
            words["slower_step"] = show.show_spindle_speed(slower[-1])
            words["slower_feed"] = advised.feed_beside(job, slower[-1], system)
            words["slower_reason"] = "shorter waves are rubbed out by the flank of the tooth"
        return
    reach = lobes.CRITICAL_WAVELENGTH_M
    if not job.machine.speeds_rev_min:
        half = max(one_pass.spindle.rev_min / 2.0, advised.floor_rev_min(job))
        slower = [min(half, advised.ceiling_rev_min(job))]
        slower = [s for s in slower if s < one_pass.spindle.rev_min * (1 - SAME)]
    if not slower:
        return
    gains = _damping_gains(tuple(slower), one_pass, heard, job.cutter.teeth, diameter)
    fast_enough = [i for i, gain in enumerate(gains) if gain >= 1.3]
    if not fast_enough:
        return
    speed, gain = slower[fast_enough[-1]], gains[fast_enough[-1]]
    wave = cutting_speed_m_s(1.0, diameter) / heard.frequency_hz
    now, then = (show.show_length(wave * n, system, 2) for n in (one_pass.spindle.rev_min, speed))
    facts["slower_step"] = speed
    facts["slower_gain"] = 1.0 - 1.0 / gain
    words["slower_step"] = show.show_spindle_speed(speed, 3)
    words["slower_feed"] = advised.feed_beside(job, speed, system)
    words["slower_reason"] = (
        f"the waves on the work shrink from {now} to {then}, and the flank of the tooth rubs out"
        f" short waves, from somewhere between {show.show_length(reach[0], system, 1)} and"
        f" {show.show_length(reach[2], system, 1)} down, depending on the edge"
    )


def _damping_gains(
    speeds: tuple[float, ...],
    one_pass: findings.Pass,
    heard: findings.Chatter,
    teeth: int,
    diameter_m: float,
) -> list[float]:
    """Gain in depth at slower speeds by process damping, the least within the doubt in speed."""
    natural = heard.frequency_hz / math.sqrt(1.0 + 2.0 * ASSUMED_DAMPING)
    doubt = np.linspace(1.0 - SPEED_DOUBT, 1.0 + SPEED_DOUBT, 7)
    n = np.outer((one_pass.spindle.rev_min, *speeds), doubt)
    limit, _ = lobes.relative_limit(
        (teeth * n / 60.0).ravel(),
        natural,
        ASSUMED_DAMPING,
        wavelength_m=(cutting_speed_m_s(1.0, diameter_m) * n / natural).ravel(),
        critical_wavelength_m=lobes.CRITICAL_WAVELENGTH_M[1],
    )
    least = limit.reshape(n.shape).min(axis=1)
    return [float(gain) for gain in least[1:] / least[0]]
