"""Chance: how numbers are drawn, and the arc of a cut."""

from __future__ import annotations

import numpy as np

from chatter.lab.simulate.ranges import Pair, Regime

Rng = np.random.Generator


def uniform(rng: Rng, pair: Pair) -> float:
    """Evenly between the bounds."""
    return float(rng.uniform(*pair))


def log_uniform(rng: Rng, pair: Pair) -> float:
    """Evenly in the logarithm between positive bounds."""
    return float(np.exp(rng.uniform(np.log(pair[0]), np.log(pair[1]))))


def arc_of(immersion: float) -> float:
    """Angle of contact [turns] for a radial immersion over diameter: acos(1 - 2 x)."""
    return float(np.arccos(1 - 2 * min(immersion, 1.0)) / (2 * np.pi))


def mean_chip(regime: Regime, immersion: float, chip: float) -> float:
    """Mean chip thickness [m] over the arc of contact, f_z 2 x / phi_s."""
    if regime.form == "single_point":
        return chip
    return chip * 2 * immersion / (2 * np.pi * arc_of(immersion))
