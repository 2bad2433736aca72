"""Draw: random scenes of a given kind; the dynamics have the last word on chatter."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from chatter.lab.simulate import draw_parts as parts
from chatter.lab.simulate.chance import arc_of
from chatter.lab.simulate.course import course_of
from chatter.lab.simulate.cutting import run_cut
from chatter.lab.simulate.ranges import Ranges, Regime
from chatter.lab.simulate.scene import PassPlan, Scene
from chatter.lab.simulate.stability import (
    KNOCK,
    critical_compliance,
    digs_in,
    judge_pass,
    ragged,
    scaled,
    softest,
    widest,
)

#: Kinds of scene, and the causes each is meant to have.
KINDS = {
    "normal": (),
    "side_rubbing": ("side_rubbing",),
    "chatter_hopf": ("chatter",),
    "chatter_flip": ("chatter",),
    "uneven_teeth": ("uneven_teeth",),
    "machine_only": (),
    "no_cutting": (),
    "chatter_uneven": ("chatter", "uneven_teeth"),
    "rubbing_chatter": ("chatter", "side_rubbing"),
    "rubbing_uneven": ("side_rubbing", "uneven_teeth"),
}
#: Stiffness outside this would be no machine [N/m].
STIFFNESS_N_M = (5e4, 5e10)
#: Chatter wilder than this many chip loads would end the cut, not be recorded.
MOST_RESIDUE = 15.0
#: The same for the greatest displacement in a rehearsal with scatter and uneven teeth.
MOST_MOTION = 60.0


def draw_scene(
    rng: np.random.Generator, kind: str, ranges: Ranges, *, regime: str | None = None
) -> Scene:
    """Draw one scene.

    Parameters
    ----------
    rng : Generator
    kind : str
        A key of ``KINDS``, or "chatter" for either sort.
    ranges : Ranges
        ``ranges_development`` or ``ranges_reporting``.
    regime : str, optional
        Name of a regime to hold to.

    Returns
    -------
    Scene
        Whether it chatters is asked of its noise-free dynamics until the kind is met; how
        far it lies from the limit is drawn from the ranges.

    Raises
    ------
    ValueError
        Unknown kind or regime.
    """
    if kind == "chatter":
        kind = "chatter_flip" if rng.random() < 0.25 else "chatter_hopf"
    if kind not in KINDS:
        raise ValueError(f"kind {kind!r} is unknown: use one of {', '.join(KINDS)}")
    wants = KINDS[kind]
    for _ in range(200):
        chosen = _regime(rng, kind, ranges, regime)
        scene = parts.draw_cut(rng, kind, ranges, chosen)
        if not scene.passes:
            return scene
        found = _placed(rng, scene, kind, "chatter" in wants, ranges)
        if found is not None and ("chatter" not in wants or _survives(found, rng)):
            return found
    raise ValueError(f"no scene of kind {kind!r} found in these ranges: widen them")


def draw_any(
    rng: np.random.Generator, shares: dict[str, float], ranges: Callable[[str], Ranges], tries: int
) -> Scene:
    """Draw one scene of a drawn kind, and another where the kind cannot be met.

    Parameters
    ----------
    rng : Generator
    shares : dict
        Kind -> how often it is drawn; they need not sum to one.
    ranges : callable
        Kind -> what it is drawn from.
    tries : int
        Kinds drawn before giving up.

    Raises
    ------
    ValueError
        None of them could be met.
    """
    share = np.array(list(shares.values())) / sum(shares.values())
    for attempt in range(tries):
        kind = str(rng.choice(list(shares), p=share))
        try:
            return draw_scene(rng, kind, ranges(kind))
        except ValueError:
            if attempt == tries - 1:
                raise
    raise ValueError("no try was allowed")


def _regime(rng: np.random.Generator, kind: str, ranges: Ranges, name: str | None) -> Regime:
    able = [one for one in ranges.regimes if name in (None, one.name)]
    if "rubbing" in kind:
        able = [one for one in able if one.name in ("saw", "side_mill")]
    if kind == "chatter_flip":
        able = [one for one in able if one.name == "end_mill"]
    if "uneven" in kind:
        able = [one for one in able if one.name != "turning"]
    if not able:
        raise ValueError(f"kind {kind!r} cannot be drawn in the regime {name!r}: leave it open")
    weight = np.array([one.share for one in able])
    return able[int(rng.choice(len(able), p=weight / weight.sum()))]


def _placed(
    rng: np.random.Generator, scene: Scene, kind: str, chatters: bool, ranges: Ranges
) -> Scene | None:
    """Set the stiffness so that the cut lies where the kind wants it; None if it cannot."""
    if kind == "chatter_flip":
        scene = _towards_flip(rng, scene)
    plans = {_condition(plan): widest(plan) for plan in scene.passes}
    even = {name: not ragged(scene.teeth, plan) for name, plan in plans.items()}
    limits = {
        name: critical_compliance(scene, plan, 7 if chatters else 5, even_teeth=even[name])
        for name, plan in plans.items()
    }
    known = [one for one in limits.values() if one is not None]
    most = min(softest(scene, plan) for plan in plans.values())
    if chatters:
        if not known:
            return None
        least, most_excess = ranges.chatter_excess
        if kind == "chatter_flip":  # barely unstable flips drown in the forced motion
            least = np.sqrt(least * most_excess)
        factor = min(known) * np.exp(rng.uniform(*np.log((least, most_excess))))
    else:
        factor = min(known, default=most) * np.exp(rng.uniform(*np.log(ranges.stable_share)))
    if factor > most:
        return None
    scene = scaled(scene, float(factor))
    stiff = [mode.stiffness_n_m for mode in scene.modes]
    if min(stiff) < STIFFNESS_N_M[0] or max(stiff) > STIFFNESS_N_M[1]:
        return None
    if any(digs_in(scene, plan) for plan in plans.values()):
        return None
    # What is meant to be stable must stand a knock, what chatters must not tear itself out.
    answers = {
        name: judge_pass(scene, plan, even_teeth=even[name], kick=KNOCK)
        for name, plan in plans.items()
    }
    if any(one.residue > MOST_RESIDUE for one in answers.values()):
        return None
    if any(one.chatters for one in answers.values()) != chatters:
        return None
    if kind.startswith("chatter_") and kind != "chatter_uneven":
        wanted = kind.removeprefix("chatter_")
        if not any(one.kind == wanted for one in answers.values()):
            return None
    return scene


def _condition(plan: PassPlan) -> tuple:
    """What stability depends on."""
    return plan.direction, plan.arc_turns, widest(plan).width_m, plan.chip_load_m


def _survives(scene: Scene, rng: np.random.Generator) -> bool:
    """Whether the cut, with all its chance, stays a cut: rehearsed once."""
    motion = run_cut(course_of(scene, rng), scene.teeth, scene.metal, scene.modes, rng)
    most = MOST_MOTION * min(plan.chip_load_m for plan in scene.passes)
    return bool(np.abs(motion.displacement_m).max() < most)


def _towards_flip(rng: np.random.Generator, scene: Scene) -> Scene:
    """Low immersion, few teeth, and a half-order of the teeth near a mode."""
    mode = scene.modes[int(rng.integers(len(scene.modes)))]
    lobe = int(rng.integers(0, 4)) + 0.5
    teeth = scene.teeth.count
    rev_min = 60 * mode.frequency_hz / (teeth * lobe) * rng.uniform(0.9, 1.02)
    rev_min = float(np.clip(rev_min, 200, 12_000))
    immersion = min(scene.immersion, float(rng.uniform(0.03, 0.15)))
    arc = arc_of(immersion)
    passes = tuple(replace(plan, arc_turns=arc) for plan in scene.passes)
    ratio = scene.stated.rev_min / scene.rev_min
    stated = replace(scene.stated, rev_min=float(f"{rev_min * ratio:.3g}"))
    # Nearly one direction across the feed: the flip lobes need an interrupted, lean chip.
    return replace(scene, rev_min=rev_min, immersion=immersion, passes=passes, stated=stated)
