"""Structure: the few modes of arbor, cutter, work and table that a cut can excite."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class StructureMode:
    """One mode of the cutter against the work.

    Attributes
    ----------
    frequency_hz, damping, stiffness_n_m : float
        Natural frequency [Hz], damping ratio [-], modal stiffness at the cutter [N/m].
    angle_rad : float
        Direction of motion, from the feed direction x towards y.
    loudness : float
        Sound radiated per modal acceleration, relative to the other modes.
    """

    frequency_hz: float
    damping: float
    stiffness_n_m: float
    angle_rad: float
    loudness: float = 1.0

    @property
    def mass_kg(self) -> float:
        """Modal mass [kg]."""
        return self.stiffness_n_m / (2 * np.pi * self.frequency_hz) ** 2


@dataclass(frozen=True)
class Stepped:
    """Modes ready for stepping with a force held over each step of ``dt_s``."""

    transition: np.ndarray  # (modes, 4)
    response: np.ndarray  # (modes, 2)
    direction: np.ndarray  # (modes, 2)
    decay: np.ndarray  # (modes, 2)
    mass_kg: np.ndarray  # (modes,)
    loudness: np.ndarray  # (modes,)


def stepped(modes: tuple[StructureMode, ...], dt_s: float) -> Stepped:
    """Exact free response and held-force response over one step.

    Parameters
    ----------
    modes : tuple of StructureMode
        At least one, with damping below 1.
    dt_s : float
        Length of a step [s].

    Returns
    -------
    Stepped
        For q'' + 2 zeta w q' + w^2 q = p/m: [q, v] <- A [q, v] + B p.
    """
    rows_a, rows_b, rows_d, decay = [], [], [], []
    for mode in modes:
        w = 2 * np.pi * mode.frequency_hz
        z = mode.damping
        wd = w * np.sqrt(1 - z * z)
        e, s, c = np.exp(-z * w * dt_s), np.sin(wd * dt_s), np.cos(wd * dt_s)
        qq = e * (c + z * w / wd * s)
        qv = e * s / wd
        vq = -e * w * w / wd * s
        vv = e * (c - z * w / wd * s)
        rows_a.append((qq, qv, vq, vv))
        rows_b.append(((1 - qq) / mode.stiffness_n_m, -vq / mode.stiffness_n_m))
        rows_d.append((np.cos(mode.angle_rad), np.sin(mode.angle_rad)))
        decay.append((2 * z * w, w * w))
    return Stepped(
        np.array(rows_a),
        np.array(rows_b),
        np.array(rows_d),
        np.array(decay),
        np.array([mode.mass_kg for mode in modes]),
        np.array([mode.loudness for mode in modes]),
    )


def draw_modes(
    rng: np.random.Generator,
    count: int,
    frequency_hz: tuple[float, float],
    damping: tuple[float, float],
    stiffness_n_m: tuple[float, float],
) -> tuple[StructureMode, ...]:
    """Draw ``count`` modes, log-uniform in frequency, damping and stiffness.

    Neighbours are kept at least 8 % apart so that each is a mode of its own.
    """
    found: list[StructureMode] = []
    while len(found) < count:
        f = _log(rng, frequency_hz)
        if any(abs(np.log(f / other.frequency_hz)) < 0.08 for other in found):
            continue
        found.append(
            StructureMode(
                frequency_hz=f,
                damping=_log(rng, damping),
                stiffness_n_m=_log(rng, stiffness_n_m),
                angle_rad=float(rng.uniform(0, np.pi)),
                loudness=float(10 ** (rng.uniform(-8, 8) / 20)),
            )
        )
    return tuple(sorted(found, key=lambda mode: mode.frequency_hz))


def _log(rng: np.random.Generator, bounds: tuple[float, float]) -> float:
    return float(np.exp(rng.uniform(np.log(bounds[0]), np.log(bounds[1]))))
