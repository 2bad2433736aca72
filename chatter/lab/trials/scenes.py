"""Scenes for trials: plain recordings of cuts with one fault, at speeds a handbook allows.

The structure, the metal, the cutter and the room are drawn like those of the corpora; what
would only make the listening harder (clipping, a radio, a wrong tooth count) is left out, for
the advice is on trial here and not the ear.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from chatter.job.cut import Job
from chatter.lab.simulate import draw_parts as parts
from chatter.lab.simulate.ranges import ranges_development as RANGES
from chatter.lab.simulate.recording import stated_job
from chatter.lab.simulate.scene import Format, MachinistStatement, PassPlan, Scene
from chatter.lab.simulate.stability import (
    critical_compliance,
    digs_in,
    judge_pass,
    ragged,
    scaled,
)
from chatter.trade.cutting_data import speed_row

#: Turns of steady cutting in a trial's pass, and its least length [s].
TURNS, SECONDS = 16.0, 6.0
#: Chatter wilder than this many chip loads would end the cut instead of being recorded.
_WILDEST = 8.0
_IDLE_S = 2.0
#: Speeds of the invented machines stand in this ratio, as those of a gearbox do.
_GEAR_RATIO = 1.26
_TOOL = {"end_mill": "carbide", "face_mill": "carbide"}


def drawn(seed: int, kind: str, regime: str, *, chatters: bool) -> Scene:
    """Draw one scene of a kind, its set-up soft enough to chatter or stiff enough not to.

    Parameters
    ----------
    seed : int
    kind : str
        A key of ``chatter.lab.simulate.draw.KINDS``.
    regime : str
        Name of a regime of the development ranges.
    chatters : bool
        Whether the dynamics shall be past their limit; they are asked, not told.

    Raises
    ------
    ValueError
        No such scene was found in many draws.
    """
    rng = np.random.default_rng(seed)
    chosen = next(one for one in RANGES.regimes if one.name == regime)
    for _ in range(60):
        scene = _plain(parts.draw_cut(rng, kind, RANGES, chosen), rng)
        scene = _placed(scene, rng, chatters) if scene is not None else None
        if scene is not None:
            return scene
    raise ValueError(f"no scene of kind {kind!r} in the regime {regime!r}: widen the ranges")


def _plain(scene: Scene, rng: np.random.Generator) -> Scene | None:
    """Handbook speed, one pass, a willing phone, honest statements."""
    speeds = speed_row(scene.material, _TOOL.get(scene.form))
    if speeds is None or scene.teeth.count < 3:
        return None
    top = 60.0 * speeds.high_m_s / (math.pi * scene.diameter_m)
    rev_min = float(rng.uniform(0.45, 0.95)) * top
    waves = [60.0 * m.frequency_hz / (scene.teeth.count * rev_min) for m in scene.modes]
    if not 1.0 < max(waves) < 40.0:
        return None
    said = float(f"{rev_min * rng.uniform(0.98, 1.02):.3g}")
    gears = tuple(float(f"{said * _GEAR_RATIO**k:.3g}") for k in range(-6, 5))
    phone = replace(
        scene.phone, peak=0.4, agc_db=0.0, suppression_db=0.0, band_limit_hz=None,
        thumps_per_s=0.0, channels=1,
    )  # fmt: skip
    even = np.ptp(np.diff(scene.teeth.at_turns)) < 1e-9
    return retimed(
        replace(
            scene,
            rev_min=rev_min,
            passes=(replace(scene.passes[0], depth_drift=0.0, rubbing_drift=0.0),),
            phone=phone,
            format=Format("wav", 0),
            distractors=(),
            machine=None if scene.machine is None else replace(scene.machine, level_db=-20.0),
            stated=MachinistStatement(said, scene.teeth.count, True, gears),
        )
    ) if even else None  # fmt: skip


def retimed(scene: Scene, turns: float = TURNS, least_s: float = SECONDS) -> Scene:
    """The scene with its pass long enough at its own speed, idling before and after."""
    length = max(least_s, turns * 60.0 / scene.rev_min)
    ramp = min(0.15 * length, 1.0)
    plan: PassPlan = replace(
        scene.passes[0],
        start_s=_IDLE_S,
        end_s=_IDLE_S + length + 2.0 * ramp,
        entry_s=ramp,
        exit_s=ramp,
    )
    return replace(scene, passes=(plan,), duration_s=plan.end_s + 1.0)


def deepening(scene: Scene, more: float) -> Scene:
    """The scene with a chip that widens along its pass, by ``more`` of its first width, to the
    width it had: where that chatters, the shallow part of the pass may not."""
    plan = scene.passes[0]
    plan = replace(plan, width_m=plan.width_m / (1.0 + more), depth_drift=more)
    return replace(scene, passes=(plan,))


def _placed(scene: Scene, rng: np.random.Generator, chatters: bool) -> Scene | None:
    plan = scene.passes[0]
    even = not ragged(scene.teeth, plan)
    limit = critical_compliance(scene, plan, even_teeth=even)
    if limit is None:
        return None if chatters else scaled(scene, 0.05)
    scene = scaled(scene, limit * float(rng.uniform(1.25, 1.9) if chatters else 0.2))
    answer = judge_pass(scene, plan, even_teeth=even)
    if answer.chatters != chatters or answer.residue > _WILDEST or digs_in(scene, plan):
        return None
    return scene


def attentive_job(scene: Scene, *, overhang: float | None = None) -> Job:
    """What an attentive machinist states of a scene.

    Parameters
    ----------
    scene : Scene
    overhang : float, optional
        Overhang over the cutter's diameter.
    """
    job = stated_job(scene)
    free_m = None if overhang is None else overhang * scene.diameter_m
    cutter = replace(job.cutter, material=_TOOL.get(scene.form, "hss"))
    cut = replace(job.cut, overhang_m=free_m, direction="conventional")
    return replace(job, cutter=cutter, cut=cut, machine=replace(job.machine, table_backlash=False))
