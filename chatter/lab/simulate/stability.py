"""Stability: does this cut chatter?  Asked of the noise-free dynamics, never set by hand."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from chatter.lab.simulate.course import contact_arc, surface_speed
from chatter.lab.simulate.cutting import Course, Teeth, run_cut
from chatter.lab.simulate.scene import PassPlan, Scene

#: Residual motion / chip load above which the disturbance has won.
WON = 0.03
#: ... and below which it has died out.
LOST = 0.003
#: Spread of the strokes, (max - min) / mean, above which even teeth are no model of them.
RAGGED = 0.5
#: Chip loads by which a stable cut is displaced to see whether it stays stable.
KNOCK = 2.0
#: Motion / chip load beyond which something would have broken (a tooth that dives into the
#: work on a structure softer than the cut); such cuts are not used.
BROKEN = 300.0


@dataclass(frozen=True)
class Stability:
    """Answer of the noise-free twin of one pass.

    ``growth`` is the change of the logarithm of the disturbance per tooth passing, seen
    over the middle of the run; ``frequency_hz`` the strongest line of the motion that does
    not repeat from tooth to tooth.
    """

    chatters: bool
    growth: float
    residue: float  # rms of the unrepeated motion / chip load, at the end; inf when it broke
    frequency_hz: float | None
    kind: str | None  # "hopf" or "flip"


def judge_pass(
    scene: Scene, plan: PassPlan, *, even_teeth: bool = True, kick: float = 0.0
) -> Stability:
    """Run the steady part of a pass without noise and see whether it repeats itself.

    With equal, evenly spaced teeth a stable cut repeats at every tooth; any other at every
    revolution.  Motion that never repeats is chatter: period-doubled (flip) when it
    repeats at every second tooth, otherwise a free frequency (Hopf).

    Parameters
    ----------
    scene, plan
        The cut.
    even_teeth : bool
        Judge with all teeth at nominal height and sharpness (True), or as they are.
    kick : float
        Initial displacement of every mode in chip loads.  A cut that process damping holds
        stable can be knocked into chatter, because that damping has a ceiling.

    Returns
    -------
    Stability
    """
    teeth = scene.teeth
    if even_teeth:
        teeth = replace(teeth, height_m=(0.0,) * teeth.count, bluntness=(1.0,) * teeth.count)
    gaps = np.diff(np.append(teeth.at_turns, teeth.at_turns[0] + 1))
    every_tooth = even_teeth and np.ptp(gaps) < 1e-9
    turn_rate = scene.rev_min * (1 - scene.droop) / 60.0
    per_turn = teeth.count if every_tooth else 1
    period_s = 1.0 / (turn_rate * per_turn)
    lowest_hz = min(mode.frequency_hz for mode in scene.modes)
    # At least 60 tooth passings and 60 cycles of the slowest mode, and 12 periods.
    run_s = max(60.0 / (turn_rate * teeth.count), 60.0 / lowest_hz, 12 * period_s)
    if not even_teeth:  # few teeth may cut: what regenerates then grows from turn to turn
        run_s = max(run_s, 20 / turn_rate)
    steps = max(32, round(scene.synthesis_rate_hz * period_s))
    periods = int(np.ceil(run_s / period_s))
    course = _steady(scene, plan, turn_rate, steps / period_s, steps, periods)
    kick_m = max(1e-6, kick * plan.chip_load_m)
    motion = run_cut(course, teeth, scene.metal, scene.modes, None, kick_m=kick_m)
    moves = motion.displacement_m.astype(float).reshape(periods, steps, 2)
    return _judged(moves, plan.chip_load_m, per_turn / teeth.count, steps / period_s)


def _steady(
    scene: Scene, plan: PassPlan, turn_rate: float, rate_hz: float, steps: int, periods: int
) -> Course:
    full = np.ones(periods)
    low, high = contact_arc(plan, full)
    return Course(
        rate_hz=rate_hz,
        hop=steps,
        turn_rate=full * turn_rate,
        feed_m_s=full * plan.chip_load_m * scene.teeth.count * turn_rate,
        arc_low=low,
        arc_high=high,
        width_m=full * plan.width_m,
        pass_of=np.zeros(periods, np.int64),
        surface_speed_m_s=surface_speed(scene),
        fixed_angle=scene.turning,
    )


def _judged(moves: np.ndarray, chip_load_m: float, tooth_share: float, rate_hz: float) -> Stability:
    """``moves``: motion of shape (periods, steps, 2)."""
    if not np.all(np.abs(moves) < BROKEN * chip_load_m):
        return Stability(True, np.inf, np.inf, None, None)
    change = np.sqrt(np.mean(np.diff(moves, axis=0) ** 2, axis=(1, 2))) + 1e-18
    count = len(change)
    middle = np.arange(count // 4, max(count // 4 + 4, (3 * count) // 4))
    middle = middle[middle < count]
    growth = float(np.polyfit(middle, np.log(change[middle]), 1)[0]) * tooth_share
    late = change[-max(3, count // 5) :]
    residue = float(np.sqrt(np.mean(late**2)) / chip_load_m)
    chatters = residue > WON or (residue > LOST and growth > 0)
    if not chatters:
        return Stability(False, growth, residue, None, None)
    half = moves[count // 2 :]
    twice = np.sqrt(np.mean((half[2:] - half[:-2])[-8:] ** 2))
    once = np.sqrt(np.mean((half[1:] - half[:-1])[-8:] ** 2))
    kind = "flip" if twice < 0.2 * once and tooth_share == 1.0 else "hopf"
    free = half - half.mean(axis=0)
    return Stability(True, growth, residue, _strongest(free.reshape(-1, 2), rate_hz), kind)


def _strongest(free: np.ndarray, rate_hz: float) -> float:
    """Strongest line of the velocity of ``free``, shape (n, 2)."""
    from scipy.fft import next_fast_len, rfft

    n = next_fast_len(len(free), real=True)
    window = np.hanning(len(free))[:, None]
    power = (np.abs(rfft(free * window, n, axis=0)) ** 2).sum(axis=1)
    hz = np.fft.rfftfreq(n, 1 / rate_hz)
    power *= hz**2
    top = int(np.argmax(power[1:-1])) + 1
    a, b, c = np.log(power[top - 1 : top + 2] + 1e-300)
    return float(hz[top] + 0.5 * (a - c) / (a - 2 * b + c) * hz[1])


def scaled(scene: Scene, compliance: float) -> Scene:
    """Return the scene with every mode ``compliance`` times as soft (same frequencies)."""
    modes = tuple(replace(m, stiffness_n_m=m.stiffness_n_m / compliance) for m in scene.modes)
    return replace(scene, modes=modes)


def widest(plan: PassPlan) -> PassPlan:
    """Return the pass as it is where its chip is widest (depth may drift along a pass)."""
    return replace(plan, width_m=plan.width_m * max(1.0, 1.0 + plan.depth_drift))


def softest(scene: Scene, plan: PassPlan) -> float:
    """Greatest compliance factor at which time steps still resolve the cut.

    Where the cut itself is so much stiffer than the structure that it would move within a
    few steps, no machine is meant any more and the stepping would not be sound.
    """
    dt = 1.0 / scene.synthesis_rate_hz
    in_cut = max(1.0, scene.teeth.count * plan.arc_turns) if not scene.turning else 1.0
    stiff = scene.metal.kt_n_m2 * (1 + scene.metal.kr) * plan.width_m * in_cut
    drag = 1.3 * scene.metal.damping_n_m * plan.width_m * in_cut / surface_speed(scene)
    lightest = min(mode.mass_kg for mode in scene.modes)
    return lightest * min(0.35 / (drag * dt + 1e-30), 0.1 / (stiff * dt**2))


def digs_in(scene: Scene, plan: PassPlan) -> bool:
    """Whether a tooth could pull itself into the work faster than the structure holds it.

    At some angles the cutting force grows in the direction in which the chip thickens; where
    that outweighs the stiffness of a mode, a chance push ends in a broken tooth, not in a
    vibration.  Asked of each mode by itself, with all teeth that are in the cut at once; a
    fifth of the stiffness must remain.
    """
    low, high = contact_arc(plan, np.ones(1))
    first = np.linspace(0, 1, 400, endpoint=False)
    at = (first[:, None] + np.array(scene.teeth.at_turns)) % 1.0
    inside = (at >= low[0]) & (at < high[0])
    phi = np.full_like(at, np.pi / 2) if scene.turning else 2 * np.pi * at
    sin, cos = np.sin(phi), np.cos(phi)
    per_width = scene.metal.kt_n_m2 * plan.width_m
    for mode in scene.modes:
        ux, uy = np.cos(mode.angle_rad), np.sin(mode.angle_rad)
        push = (-cos - scene.metal.kr * sin) * ux + (sin - scene.metal.kr * cos) * uy
        pull = per_width * np.sum(push * (sin * ux + cos * uy) * inside, axis=1)
        if pull.max() > 0.8 * mode.stiffness_n_m:
            return True
    return False


def strokes(teeth: Teeth, plan: PassPlan) -> np.ndarray:
    """Thickness of the chip that each tooth would cut on a rigid machine, over their mean.

    A tooth that stands low leaves its chip, or part of it, to the next one.  Heights are
    held against the mean chip over the arc of contact.
    """
    chip = plan.chip_load_m
    if plan.direction != "turning":
        span = 2 * np.pi * plan.arc_turns
        chip *= (1 - np.cos(span)) / span
    height = np.array(teeth.height_m)
    order = np.argsort(teeth.at_turns)[::-1]  # in the order in which they come to the work
    gaps = np.diff(np.append(np.sort(teeth.at_turns), np.min(teeth.at_turns) + 1))[::-1]
    cut = np.zeros(teeth.count)
    surface = float(height.max())
    for _ in range(3):
        for place, one in enumerate(order):
            surface -= chip * gaps[place] * teeth.count  # the work has come on by this much
            cut[one] = max(0.0, height[one] - surface)
            surface = max(surface, float(height[one]))
    force = cut * np.array(teeth.bluntness)
    return force / max(force.mean(), 1e-30)


def ragged(teeth: Teeth, plan: PassPlan) -> bool:
    """Whether the teeth differ so much that stability must be asked of them as they are."""
    return bool(teeth.count > 1 and np.ptp(strokes(teeth, plan)) > RAGGED)


def critical_compliance(
    scene: Scene, plan: PassPlan, steps: int = 7, *, even_teeth: bool = True
) -> float | None:
    """Factor on the compliance of all modes at which the pass begins to chatter.

    Found by bisection between 1/300 and the smaller of 300 and :func:`softest`
    (geometric); None when the cut is stable even there, as process damping can make it.
    """
    low, high = 1 / 300.0, min(300.0, softest(scene, plan))
    if high <= low or not judge_pass(scaled(scene, high), plan, even_teeth=even_teeth).chatters:
        return None
    for _ in range(steps):
        middle = float(np.sqrt(low * high))
        if judge_pass(scaled(scene, middle), plan, even_teeth=even_teeth).chatters:
            high = middle
        else:
            low = middle
    return high
