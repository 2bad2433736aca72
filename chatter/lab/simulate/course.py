"""Course: spindle speed, feed and contact over the time of a recording."""

from __future__ import annotations

import numpy as np

from chatter.lab.simulate.cutting import Course
from chatter.lab.simulate.scene import PassPlan, Scene

#: Steps per block of the control arrays.
HOP = 64


def course_of(scene: Scene, rng: np.random.Generator) -> Course:
    """Lay out the whole recording in blocks of ``HOP`` steps.

    The speed wanders slowly (filtered noise), sags by ``scene.droop`` with a lag of about
    a third of a second while cutting, and runs up and down when the spindle is switched.
    """
    rate = scene.synthesis_rate_hz
    blocks = int(np.ceil(scene.duration_s * rate / HOP))
    t = (np.arange(blocks) + 0.5) * HOP / rate
    load = np.zeros(blocks)
    feed, low, high, width = (np.zeros(blocks) for _ in range(4))
    which = np.zeros(blocks, np.int64)
    for index, plan in enumerate(scene.passes):
        inside = (t >= plan.start_s) & (t < plan.end_s)
        depth = engaged_share(plan, t[inside])
        load[inside] = depth
        low[inside], high[inside] = contact_arc(plan, depth)
        along = (t[inside] - plan.start_s) / (plan.end_s - plan.start_s)
        width[inside] = np.where(depth > 0, plan.width_m * (1 + plan.depth_drift * along), 0.0)
        feed[inside] = plan.chip_load_m * scene.teeth.count * scene.rev_min / 60.0
        which[inside] = index
    speed = 1 + scene.wander * slow_noise(blocks, HOP / rate, 3.0, rng)
    speed -= scene.droop * _lagged(load, 0.35 * rate / HOP)
    speed *= _switched(scene, t)
    return Course(
        rate_hz=rate,
        hop=HOP,
        turn_rate=np.maximum(speed, 1e-3) * scene.rev_min / 60.0,
        feed_m_s=feed,
        arc_low=low,
        arc_high=high,
        width_m=width,
        pass_of=which,
        surface_speed_m_s=surface_speed(scene),
        fixed_angle=scene.turning,
    )


def surface_speed(scene: Scene) -> float:
    """Cutting speed [m/s]."""
    return np.pi * scene.diameter_m * scene.rev_min / 60.0


def engaged_share(plan: PassPlan, t: np.ndarray) -> np.ndarray:
    """Share of the full cut, 0..1, over time: rises on entry, falls on exit."""
    rise = np.clip((t - plan.start_s) / max(plan.entry_s, 1e-6), 0, 1)
    fall = np.clip((plan.end_s - t) / max(plan.exit_s, 1e-6), 0, 1)
    return np.minimum(rise, fall)


def load_of(scene: Scene, blocks: int) -> np.ndarray:
    """How hard the cut loads the drive, 0..1, per block; shape (blocks,)."""
    t = (np.arange(blocks) + 0.5) * HOP / scene.synthesis_rate_hz
    load = np.zeros(blocks)
    for plan in scene.passes:
        inside = (t >= plan.start_s) & (t < plan.end_s)
        load[inside] = engaged_share(plan, t[inside])
    return _lagged(load, 0.05 * scene.synthesis_rate_hz / HOP)


def contact_arc(plan: PassPlan, depth: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Start and end of contact [turns] for a share ``depth`` of the full cut."""
    if plan.direction == "turning":
        return np.full_like(depth, -1.0), np.full_like(depth, 2.0)
    arc = plan.arc_turns * np.sqrt(depth)
    if plan.direction == "climb":
        return 0.5 - arc, np.full_like(arc, 0.5)
    return np.zeros_like(arc), arc


def turns_of(course: Course) -> np.ndarray:
    """Angle of the spindle [turns] at every step, shape (n,), float64."""
    return np.cumsum(np.repeat(course.turn_rate, course.hop)) / course.rate_hz


def stretched(values: np.ndarray, hop: int = HOP) -> np.ndarray:
    """Control values at every step, linearly between blocks, float32."""
    n = len(values) * hop
    at = (np.arange(len(values)) + 0.5) * hop
    return np.interp(np.arange(n), at, values).astype(np.float32)


def slow_noise(
    blocks: int, block_s: float, corner_s: float, rng: np.random.Generator
) -> np.ndarray:
    """Unit-variance noise that changes over about ``corner_s`` seconds."""
    from scipy.signal import lfilter

    keep = np.exp(-block_s / corner_s)
    lead = int(4 * corner_s / block_s)
    raw = lfilter([np.sqrt(1 - keep**2)], [1, -keep], rng.standard_normal(lead + blocks))[lead:]
    smooth = max(1, int(0.2 / block_s))
    return np.convolve(np.pad(raw, smooth, mode="edge"), np.ones(smooth) / smooth, "same")[
        smooth : smooth + blocks
    ]


def _lagged(values: np.ndarray, blocks: float) -> np.ndarray:
    from scipy.signal import lfilter

    keep = np.exp(-1.0 / max(blocks, 1e-6))
    return lfilter([1 - keep], [1, -keep], values)


def _switched(scene: Scene, t: np.ndarray) -> np.ndarray:
    """Speed over the set speed: run-up in 1.2 s, run-down, and changes of gear in 0.4 s."""
    up = np.clip((t - scene.spindle_from_s) / 1.2, 0, 1) if scene.spindle_from_s > 0 else 1.0
    up = up * np.ones_like(t)
    before = 1.0
    for from_s, factor in scene.speed_steps:
        up *= 1 + (factor / before - 1) * np.clip((t - from_s) / 0.4, 0, 1)
        before = factor
    if scene.spindle_to_s is None:
        return up
    return up * np.clip(1 - (t - scene.spindle_to_s) / scene.run_down_s, 0, 1)
