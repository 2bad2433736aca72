"""Cutting: a cutter with its teeth, the course of the cut, and the simulated motion."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from chatter.lab.simulate import kernel
from chatter.lab.simulate.structure import StructureMode, stepped


@dataclass(frozen=True)
class Teeth:
    """The teeth as they really are.

    Attributes
    ----------
    at_turns : tuple of float
        Angle of each tooth [turns], equal or unequal.
    height_m : tuple of float
        Height of each above nominal [m]; runout, high, low and missing teeth.
    bluntness : tuple of float
        Factor on the force of each tooth (1 = sharp).
    helix_lag_turns : float
        How far the top of the flute trails its tip [turns]; 0 for straight teeth.
    slices : int
        Axial slices that stand for the helix (1 for straight teeth).
    """

    at_turns: tuple[float, ...]
    height_m: tuple[float, ...]
    bluntness: tuple[float, ...]
    helix_lag_turns: float = 0.0
    slices: int = 1

    @property
    def count(self) -> int:
        """Number of teeth."""
        return len(self.at_turns)


@dataclass(frozen=True)
class Metal:
    """How the work resists."""

    kt_n_m2: float  # tangential force per chip area
    kr: float  # normal / tangential
    edge_n_m: float  # force per width that does not depend on the chip
    damping_n_m: float  # process damping, force per width and unit v/V
    scatter: float  # relative spread of force from stroke to stroke
    grain: float  # relative fluctuation of force in time
    jitter_turns: float  # spread of the angle of first contact


@dataclass(frozen=True)
class Course:
    """What the machine does, in blocks of ``hop`` steps (each array has shape (blocks,))."""

    rate_hz: float
    hop: int
    turn_rate: np.ndarray  # spindle turns per second
    feed_m_s: np.ndarray
    arc_low: np.ndarray  # contact from this angle [turns] ...
    arc_high: np.ndarray  # ... to this
    width_m: np.ndarray  # 0 = clear of the work
    pass_of: np.ndarray  # int64, index of the pass
    surface_speed_m_s: float
    fixed_angle: bool = False  # turning and boring


@dataclass(frozen=True)
class Motion:
    """What the cut does (float32; n = blocks x hop steps)."""

    displacement_m: np.ndarray  # (n, 2)
    force_n: np.ndarray  # (n, 2)
    chip_m2: np.ndarray  # (n,)
    voice: np.ndarray  # (n,) acceleration of the modes, weighted by their loudness
    tooth_force: np.ndarray  # (passes, teeth), summed over steps


def run_cut(
    course: Course,
    teeth: Teeth,
    metal: Metal,
    modes: tuple[StructureMode, ...],
    rng: np.random.Generator | None,
    *,
    regenerate: bool = True,
    kick_m: float = 0.0,
    plain: bool = False,
) -> Motion:
    """Simulate the cut in the time domain.

    Parameters
    ----------
    course, teeth, metal, modes
        Everything that is given.
    rng : Generator or None
        Source of scatter; None gives the noise-free cut.
    regenerate : bool
        False makes the chip independent of vibration: the forced twin, which cannot chatter.
    kick_m : float
        Initial displacement of every mode [m].
    plain : bool
        Use the slow readable twin of the inner loop (for tests).

    Returns
    -------
    Motion
    """
    dt = 1.0 / course.rate_hz
    n = len(course.turn_rate) * course.hop
    step = stepped(modes, dt)
    scatter, jitter, grain = _randomness(n, metal, course.rate_hz, rng)
    bins = int(np.clip(0.9 * course.rate_hz / np.max(course.turn_rate), 48, 2**17))
    motion = np.zeros((n, 2), np.float32)
    force = np.zeros((n, 2), np.float32)
    chip = np.zeros(n, np.float32)
    voice = np.zeros(n, np.float32)
    tooth_force = np.zeros((int(course.pass_of.max()) + 1, teeth.count))
    lag = teeth.helix_lag_turns * (np.arange(teeth.slices) + 0.5) / teeth.slices
    if plain:
        from chatter.lab.simulate.kernel_plain import cut_steps as steps
    else:
        steps = kernel.compiled()
    steps(
        dt,
        course.hop,
        np.ascontiguousarray(course.turn_rate, float),
        np.ascontiguousarray(course.feed_m_s, float),
        np.ascontiguousarray(course.arc_low, float),
        np.ascontiguousarray(course.arc_high, float),
        np.ascontiguousarray(course.width_m, float),
        np.ascontiguousarray(course.pass_of, np.int64),
        course.fixed_angle,
        np.array(teeth.at_turns, float),
        np.array(teeth.height_m, float),
        np.array(teeth.bluntness, float),
        lag,
        metal.kt_n_m2,
        metal.kr,
        metal.edge_n_m,
        metal.damping_n_m,
        course.surface_speed_m_s,
        scatter,
        jitter,
        grain,
        regenerate,
        step.transition,
        step.response,
        step.direction,
        step.decay,
        step.mass_kg,
        step.loudness,
        np.full(len(modes), kick_m),
        bins,
        motion,
        force,
        chip,
        voice,
        tooth_force,
    )
    return Motion(motion, force, chip, voice, tooth_force)


def _randomness(
    n: int, metal: Metal, rate_hz: float, rng: np.random.Generator | None
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    if rng is None:
        return np.ones(kernel.TABLE), np.zeros(kernel.TABLE), np.zeros(n, np.float32)
    scatter = np.exp(metal.scatter * rng.standard_normal(kernel.TABLE))
    jitter = metal.jitter_turns * np.abs(rng.standard_normal(kernel.TABLE))
    grain = metal.grain * rng.standard_normal(n, dtype=np.float32)
    # Chip formation fluctuates up to a few kilohertz: a one-pole fall from 4 kHz.
    from scipy.signal import lfilter

    keep = float(np.exp(-2 * np.pi * 4000.0 / rate_hz))
    gain = np.sqrt((1 + keep) / (1 - keep))
    grain = lfilter([1 - keep], [1, -keep], grain).astype(np.float32) * np.float32(gain)
    return scatter, jitter, np.maximum(grain, -0.9)
