"""Levers: what a remedy turns, done to a simulated scene; and those that cannot be."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from chatter.lab.simulate.chance import arc_of
from chatter.lab.simulate.cutting import Teeth
from chatter.lab.simulate.recording import DISCS
from chatter.lab.simulate.scene import Scene
from chatter.lab.trials.scenes import retimed
from chatter.trade.semidiscretization import unequal_pitches


@dataclass(frozen=True)
class Turned:
    """Which lever is turned, how far, and against which chatter."""

    lever: str
    quantity: float | None
    chatter_hz: float | None = None  # the true frequency, when the cut chatters
    regrind: bool = False  # the edges are ground as well


#: Rules with a lever that the simulator cannot turn, and why.
NOT_TRIED = {
    "set_feed": "the simulator has no least chip below which an edge rubs",
    "sharpen": "the simulator has no dull corners that rub",
    "clear_chips": "wedged chips and the plate's drag share one set level in the simulator",
    "lubricate": "the simulator has no friction that a fluid could lower",
    "repair": "the simulator's machine has no faults to repair",
    "none": "the rule turns nothing",
}

#: Single rules whose lever could be turned, but not in the sense of the rule.
RULES_NOT_TRIED = {
    "climb_with_backlash": "it averts a danger; backlash is not simulated",
    "over_cutting_speed": "it saves the cutter, not the cut; dulling is not simulated",
    "carbide_too_slow": "edges that chip at low speed are not simulated",
    "chip_by_gear": "the simulator has no least chip below which an edge rubs",
    "no_step_helps": "it says to keep the speed; nothing is turned",
    "turn_slower": "no turned work in these trials; the lever is that of slower_for_damping",
    "drill_slower": "no drills are simulated",
    "check_tool_post": "the same lever as check_tool_holding, and no turned work in these trials",
    "check_bar": "the same lever as long_overhang, and no boring in these trials",
    "check_drill": "no drills are simulated",
    "check_band": "no band saws are simulated",
    "long_overhang": "the same lever as long_tool, tried there",
    "long_bar": "the same lever as long_tool, tried there",
    "support_turned_work": "no turned work in these trials",
    "less_depth_unknown": "the same lever as less_depth, without a form",
    "crowded_slot": "how chips fill a slot is not simulated",
    "contradiction": "it asks to check what was stated; nothing is turned",
    "not_cutting": "there is no cut that could get better",
    "tap_test": "its outcome is tried as stiffen_tapped_mode",
    "record_again": "tried with its reasons: mend_recording and longer_pass",
    "true_the_disc": "wobble sets how rubbing swells in the simulator, not how hard it rubs",
    "slot_in_steps": "how hard the plate drags does not depend on depth in the simulator",
    "squeal_collars": "larger collars move the squeal in the simulator, but cannot damp it",
    "slab_end_rubs": "no slab mills are simulated",
    "face_mill_drags": "no dragging face is simulated",
    "unknown_form_rubs": "it asks what form the cutter has",
    "single_point_beat": "uneven work is not simulated",
    "exact_speed": "the same lever as speed_step, without a list of speeds",
    "slower_step": "the same lever as slower_for_damping, without a diameter",
}


def turn(scene: Scene, how: Turned) -> Scene:
    """Turn one lever.

    Raises
    ------
    KeyError
        The simulator has no such lever (``NOT_TRIED``).
    """
    return retimed(_TURN[how.lever](scene, how))


def _speed(scene: Scene, how: Turned) -> Scene:
    """The true speed changes as the dial does; the chip load is kept."""
    stated = replace(scene.stated, rev_min=float(how.quantity))
    return replace(
        scene, rev_min=scene.rev_min * stated.rev_min / scene.stated.rev_min, stated=stated
    )


def _depth(scene: Scene, how: Turned) -> Scene:
    """Depth is radial for a disc (arc of contact), axial for an end or face mill (width)."""
    plan = scene.passes[0]
    if scene.form not in DISCS:
        return _passed(scene, replace(plan, width_m=plan.width_m * how.quantity))
    immersion = scene.immersion * how.quantity
    return _passed(replace(scene, immersion=immersion), replace(plan, arc_turns=arc_of(immersion)))


def _stagger(scene: Scene, how: Turned) -> Scene:
    pitches = unequal_pitches(scene.teeth.count, how.quantity)
    at = np.concatenate([[0.0], np.cumsum(pitches)[:-1]])
    return replace(scene, teeth=replace(scene.teeth, at_turns=tuple(map(float, at))))


def _fewer(scene: Scene, how: Turned) -> Scene:
    """At the same table feed the chip load grows as the teeth get fewer."""
    old = scene.teeth
    count = max(1, round(old.count * how.quantity))
    keep = [round(i * old.count / count) for i in range(count)]
    teeth = Teeth(
        tuple(i / count for i in range(count)),
        tuple(old.height_m[i] for i in keep),
        tuple(old.bluntness[i] for i in keep),
        old.helix_lag_turns,
        old.slices,
    )
    plan = scene.passes[0]
    return _passed(
        replace(scene, teeth=teeth, stated=replace(scene.stated, teeth=count)),
        replace(plan, chip_load_m=plan.chip_load_m * old.count / count),
    )


def _relieve(scene: Scene, _how: Turned) -> Scene:
    return replace(scene, rub=None)


def _even(scene: Scene, how: Turned) -> Scene:
    """Teeth to one height within the total runout that is left; ground alike by a regrind."""
    height = np.array(scene.teeth.height_m)
    spread = float(np.ptp(height))
    height = (height - height.mean()) * min(1.0, how.quantity / max(spread, 1e-12))
    blunt = (1.0,) * scene.teeth.count if how.regrind else scene.teeth.bluntness
    return replace(
        scene, teeth=replace(scene.teeth, height_m=tuple(map(float, height)), bluntness=blunt)
    )


def _stiffen(scene: Scene, how: Turned) -> Scene:
    """The mode that chatters, ``quantity`` times as stiff with the same mass and damping ratio."""
    below = [m for m in scene.modes if m.frequency_hz < 1.02 * (how.chatter_hz or np.inf)]
    weak = max(below or scene.modes, key=lambda m: m.frequency_hz)
    stiff = replace(
        weak,
        stiffness_n_m=weak.stiffness_n_m * how.quantity,
        frequency_hz=weak.frequency_hz * how.quantity**0.5,
    )
    return replace(scene, modes=tuple(stiff if m is weak else m for m in scene.modes))


def _direction(scene: Scene, how: Turned) -> Scene:
    word = "conventional" if how.quantity > 0 else "climb"
    return _passed(scene, replace(scene.passes[0], direction=word))


def _record(scene: Scene, _how: Turned) -> Scene:
    """The phone further off, and a pass of full length (see ``turn``)."""
    return replace(scene, phone=replace(scene.phone, peak=0.4))


def _passed(scene: Scene, plan) -> Scene:
    return replace(scene, passes=(plan,))


_TURN: dict[str, Callable[[Scene, Turned], Scene]] = {
    "set_speed": _speed,
    "scale_depth": _depth,
    "stagger": _stagger,
    "fewer_teeth": _fewer,
    "relieve_sides": _relieve,
    "even_teeth": _even,
    "stiffen": _stiffen,
    "set_direction": _direction,
    "record_again": _record,
}
