"""Labels: what is true of each pass, read from its dynamics and never from its sound plan."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from chatter.lab.simulate.course import HOP
from chatter.lab.simulate.cutting import Course, Motion
from chatter.lab.simulate.scene import PassPlan, Scene
from chatter.lab.simulate.stability import KNOCK, Stability, judge_pass, widest
from chatter.lab.simulate.truth import TruePass

#: Spread of tooth force, (max - min) / mean, from which teeth count as uneven ...
UNEVEN = 0.6
#: ... and the range in which both answers can be defended.
UNEVEN_MARGIN = (0.35, 0.9)
#: Rubbing sound re cutting sound from which a pass counts as rubbing, and its doubtful range.
RUBBING_DB = -6.0
RUBBING_MARGIN_DB = (-12.0, -3.0)
#: Chatter fainter than this re the rest of the cut's sound is doubtful ...
FAINT_DB = -12.0
#: ... a stable cut whose motion regeneration swells by more than this is doubtful as well ...
SWOLLEN_DB = 3.0
#: ... and so is chatter in less than this share of the pass.
BRIEF = 0.15


@dataclass(frozen=True)
class Levels:
    """Levels of one pass: rubbing, and what regeneration adds, re the forced cut [dB]."""

    rubbing_db: float | None
    regeneration_db: float


def label_passes(
    scene: Scene, course: Course, motion: Motion, forced: Motion, levels: list[Levels]
) -> tuple[TruePass, ...]:
    """Label every pass.

    Parameters
    ----------
    scene, course
        As simulated.
    motion, forced : Motion
        The cut, and the same cut without regeneration.
    levels : list of Levels
        One per pass.
    """
    known: dict[tuple, tuple[Stability, bool]] = {}
    labels = []
    for index, plan in enumerate(scene.passes):
        condition = (plan.direction, plan.arc_turns, widest(plan).width_m, plan.chip_load_m)
        if condition not in known:
            known[condition] = _stability(scene, widest(plan))
        stability, doubtful = known[condition]
        labels.append(
            _label(scene, course, motion, forced, index, stability, doubtful, levels[index])
        )
    return tuple(labels)


def _stability(scene: Scene, plan: PassPlan) -> tuple[Stability, bool]:
    """Answer, and whether 10 % more or less width of cut would turn it.

    The neighbour is knocked as well: chance in the real cut may do so.
    """
    answer = judge_pass(scene, plan)
    near = replace(plan, width_m=plan.width_m * (0.9 if answer.chatters else 1.1))
    doubtful = judge_pass(scene, near, kick=KNOCK).chatters != answer.chatters
    height = np.ptp(scene.teeth.height_m) / plan.chip_load_m
    if height > 0.1 or np.ptp(scene.teeth.bluntness) > 0.1:
        real = judge_pass(scene, plan, even_teeth=False)
        # With uneven teeth a flip can hide in the turn-periodic motion; a Hopf cannot.
        if real.chatters != answer.chatters and answer.kind != "flip":
            doubtful = True
            answer = real
    return answer, doubtful


def _label(
    scene: Scene,
    course: Course,
    motion: Motion,
    forced: Motion,
    index: int,
    stability: Stability,
    doubtful: bool,
    levels: Levels,
) -> TruePass:
    plan = scene.passes[index]
    rubbing_db = levels.rubbing_db
    blocks = np.flatnonzero((course.width_m > 0) & (course.pass_of == index))
    span = slice(int(blocks[0]) * HOP, int(blocks[-1] + 1) * HOP) if len(blocks) else slice(0, 0)
    turn_rate = float(course.turn_rate[blocks].mean()) if len(blocks) else scene.rev_min / 60
    rate = course.rate_hz
    causes: list[str] = []
    marginal = doubtful
    onset, share, loud, hz, width = None, 0.0, None, None, None
    if stability.chatters:
        hz, width = _actual_line(motion.voice[span], rate, stability.frequency_hz)
        onset, share = _course_of_chatter(
            motion, forced, span, rate, hz, turn_rate * scene.teeth.count
        )
        loud = levels.regeneration_db
        if share > 0:
            causes.append("chatter")
        marginal |= share < BRIEF or loud < FAINT_DB
    else:
        marginal |= levels.regeneration_db > SWOLLEN_DB
    if rubbing_db is not None:
        if rubbing_db > RUBBING_DB:
            causes.append("side_rubbing")
        marginal |= RUBBING_MARGIN_DB[0] < rubbing_db < RUBBING_MARGIN_DB[1]
    forces = forced.tooth_force[index] / max(forced.tooth_force[index].mean(), 1e-12)
    uneven = float(np.ptp(forces))
    if uneven > UNEVEN:
        causes.append("uneven_teeth")
    marginal |= UNEVEN_MARGIN[0] < uneven < UNEVEN_MARGIN[1]
    if "chatter" not in causes:
        hz, width, onset, share = None, None, None, 0.0
    return TruePass(
        start_s=plan.start_s,
        end_s=plan.end_s,
        verdict=causes[0] if causes else "normal",
        also=tuple(causes[1:]),
        rev_min=turn_rate * 60,
        tooth_passing_hz=turn_rate * scene.teeth.count,
        direction=None if scene.turning else plan.direction,
        marginal=bool(marginal),
        chatter_hz=hz,
        chatter_width_hz=width,
        chatter_kind=stability.kind if hz is not None else None,
        onset_s=onset,
        chatter_share=share,
        chatter_db=loud,
        growth_per_tooth=stability.growth,
        tooth_forces=tuple(round(float(one), 4) for one in forces),
        unevenness=uneven,
        rubbing_db=rubbing_db,
    )


def _actual_line(voice: np.ndarray, rate_hz: float, near_hz: float) -> tuple[float, float]:
    """Frequency and equivalent width [Hz] of the motion within 6 % of ``near_hz``.

    The width is (sum P)^2 / sum P^2 over bins of about a hertz: under 3 Hz for a steady
    tone, tens of hertz where the teeth jump clear at random and the phase is lost.
    """
    late = voice[len(voice) // 3 :].astype(float)
    size = int(min(len(late), rate_hz))
    if size < 64:
        return near_hz, 0.0
    starts = range(0, len(late) - size + 1, max(1, size // 2))
    window = np.hanning(size)
    fine = 4 * size
    power = sum(np.abs(np.fft.rfft(late[i : i + size] * window, fine)) ** 2 for i in starts)
    hz = np.fft.rfftfreq(fine, 1 / rate_hz)
    band = np.flatnonzero((hz > 0.94 * near_hz) & (hz < 1.06 * near_hz))
    inside = power[band]
    width = float(inside.sum() ** 2 / np.sum(inside**2) * hz[1])
    return float(hz[band[np.argmax(inside)]]), width


def _course_of_chatter(
    motion: Motion, forced: Motion, span: slice, rate_hz: float, hz: float, tooth_hz: float
) -> tuple[float | None, float]:
    """Onset [s] and share of the pass in which motion near ``hz`` dwarfs the forced twin's.

    Active: more than four times the twin's median power and more than a tenth of the
    90th percentile of its own.
    """
    # Chatter may die between teeth: a block must span two tooth passings, within reason.
    block_s = max(20 / hz, min(2 / tooth_hz, 0.4))
    real = _band_power(motion.voice[span], rate_hz, hz, block_s)
    twin = _band_power(forced.voice[span], rate_hz, hz, block_s)
    if len(real) < 4:
        return None, 0.0
    active = (real > 4 * np.median(twin)) & (real > 0.1 * np.quantile(real, 0.9))
    if not active.any():
        return None, 0.0
    # Exact to one block, the remainder of under a block being spread over the others.
    spread_s = (span.stop - span.start) / rate_hz / len(real)
    return span.start / rate_hz + float(np.argmax(active)) * spread_s, float(active.mean())


def _band_power(x: np.ndarray, rate_hz: float, hz: float, block_s: float) -> np.ndarray:
    """Power within about 6 % of ``hz`` per block, over pieces of twenty cycles in it."""
    pieces = max(1, round(block_s * hz / 20))
    power = _piece_power(x, rate_hz, hz)
    whole = len(power) // pieces * pieces
    return power[:whole].reshape(-1, pieces).mean(axis=1)


def _piece_power(x: np.ndarray, rate_hz: float, hz: float) -> np.ndarray:
    """Power at 0.97, 1 and 1.03 times ``hz`` together, in pieces of twenty cycles."""
    hop = max(64, int(20 * rate_hz / hz))
    count = len(x) // hop
    if count < 1:
        return np.zeros(0)
    blocks = x[: count * hop].reshape(count, hop).astype(float)
    at = np.arange(hop) / rate_hz
    window = np.hanning(hop)
    probe = np.exp(-2j * np.pi * np.outer((0.97 * hz, hz, 1.03 * hz), at)) * window
    return (np.abs(blocks @ probe.T) ** 2).sum(axis=1)
