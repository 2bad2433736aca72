"""Labels: what is true of each pass, read from its dynamics and never from its sound plan."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from chatter.lab.simulate.chatter_lines import actual_line, course_of_chatter, family_of
from chatter.lab.simulate.course import HOP
from chatter.lab.simulate.cutting import Course, Motion
from chatter.lab.simulate.scene import PassPlan, Scene
from chatter.lab.simulate.stability import KNOCK, Stability, judge_pass, ragged, widest
from chatter.lab.simulate.truth import TruePass

#: Spread of tooth force, (max - min) / mean, from which teeth count as uneven: one missing,
#: or twice as high as the others.  Less is the runout every cutter has; it is a number ...
UNEVEN = 1.2
#: ... and the range in which both answers can be defended.
UNEVEN_MARGIN = (1.0, 1.4)
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
    even = not ragged(scene.teeth, plan)
    answer = judge_pass(scene, plan, even_teeth=even)
    near = replace(plan, width_m=plan.width_m * (0.9 if answer.chatters else 1.1))
    doubtful = judge_pass(scene, near, even_teeth=even, kick=KNOCK).chatters != answer.chatters
    if not even:
        return answer, doubtful
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
    family: tuple[float, ...] = ()
    if stability.chatters:
        hz, width = actual_line(motion.voice[span], rate, stability.frequency_hz)
        onset, share = course_of_chatter(
            motion, forced, span, rate, hz, turn_rate * scene.teeth.count
        )
        family = family_of(motion.voice[span], forced.voice[span], rate, hz)
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
    runout, scatter = true_runout(forces, scene.teeth.at_turns) if len(forces) > 1 else (0.0, 0.0)
    if uneven > UNEVEN:
        causes.append("uneven_teeth")
    marginal |= UNEVEN_MARGIN[0] < uneven < UNEVEN_MARGIN[1]
    if "chatter" not in causes:
        hz, width, onset, share, family = None, None, None, 0.0, ()
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
        chatter_family_hz=family,
        chatter_width_hz=width,
        chatter_kind=stability.kind if hz is not None else None,
        onset_s=onset,
        chatter_share=share,
        chatter_db=loud,
        growth_per_tooth=stability.growth,
        tooth_forces=tuple(round(float(one), 4) for one in forces),
        unevenness=uneven,
        runout_share=runout,
        scatter_share=scatter,
        rubbing_db=rubbing_db,
    )


def true_runout(forces: np.ndarray, at_turns: tuple[float, ...]) -> tuple[float, float]:
    """How the strokes differ: once a turn (amplitude), and besides (r.m.s.); shares of mean."""
    turn = np.exp(2j * np.pi * np.array(at_turns))
    waves = np.stack([np.ones(len(forces)), turn.real, turn.imag], axis=1)
    fit = np.linalg.lstsq(waves, forces, rcond=None)[0]
    left = forces - waves @ fit
    return float(np.hypot(fit[1], fit[2])), float(np.sqrt(np.mean(left**2)))
