"""Unequal pitch: semi-discretization against a plain simulation in time, and its limits."""

from __future__ import annotations

import math

import numpy as np
import pytest

from chatter.trade.directions import immersion
from chatter.trade.semidiscretization import (
    Milling,
    depth_limit,
    driven_by_powers,
    exponentials,
    unequal_pitches,
)
from chatter.trade.unequal import best_difference, compare_pitch
from chatter.trade.zero_order import Oscillator, averaged_limit


def growth(cut: Milling, rev_min: float, depth_m: float, turns: int = 60) -> float:
    """Slow, readable twin: step the delay equation in time; log growth per turn."""
    mode = cut.mode
    w = 2 * math.pi * mode.frequency_hz
    mass = mode.stiffness_n_m / w**2
    turn_s = 60 / rev_min
    steps = 1500
    dt = turn_s / steps
    lag = np.cumsum(cut.pitches)
    back = [round(p * steps) for p in cut.pitches]
    x = np.zeros(turns * steps + 1)
    v, size = 1.0, []
    for i in range(turns * steps):
        angle = (2 * math.pi * (i + 0.5) / steps - 2 * math.pi * lag) % (2 * math.pi)
        push = 0.0
        for a, r in zip(angle, back, strict=True):
            if cut.entry < a < cut.leave:
                factor = math.sin(a) * (
                    cut.tangential_n_m2 * math.cos(a) + cut.radial_n_m2 * math.sin(a)
                )
                push += factor * (x[i] - (x[i - r] if i >= r else 0.0))
        v += dt * (-2 * mode.damping_ratio * w * v - w * w * x[i] - depth_m * push / mass)
        x[i + 1] = x[i] + dt * v
        if (i + 1) % steps == 0:
            size.append(np.sqrt(np.mean(x[i + 1 - steps : i + 1] ** 2)))
    half = len(size) // 2
    return float(np.polyfit(np.arange(half, len(size)), np.log(size[half:]), 1)[0])


@pytest.mark.parametrize(("teeth", "difference", "ratio"), [(4, 0.2, 0.5), (3, 0.15, 1.0)])
def test_against_a_simulation_in_time(teeth, difference, ratio):
    """Below the limit the motion dies away, above it grows.

    5 % either side: the simulation's steps are 1/1500 of a turn, first order.
    """
    cut = Milling(
        Oscillator(700.0, 0.02, 2e6),
        unequal_pitches(teeth, difference),
        *immersion(ratio, "conventional"),
        6e8,
        2e8,
    )
    limit, _ = depth_limit(cut, 4300.0, ceiling_m=0.05)
    assert growth(cut, 4300.0, 0.95 * limit) < 0 < growth(cut, 4300.0, 1.05 * limit)


def test_equal_pitches_are_a_special_case():
    mode = Oscillator(700.0, 0.02, 2e6)
    entry, leave = immersion(0.5, "conventional")
    every = [
        depth_limit(Milling(mode, p, entry, leave, 6e8, 2e8), 4300.0, ceiling_m=0.05)[0]
        for p in (
            unequal_pitches(4, 0.0),
            unequal_pitches(4, 0.0, "rising"),
            unequal_pitches(4, 1e-9),
        )
    ]
    assert every == pytest.approx([every[0]] * 3, rel=3e-3)


def test_many_teeth_in_the_cut_make_the_averaged_force_exact():
    mode = Oscillator(505.0, 0.03, 1e7)
    for difference in (0.0, 0.045):
        cut = Milling(mode, unequal_pitches(48, difference), 0.0, math.pi, 2e9, 6e8)
        exact = depth_limit(cut, 57.0, ceiling_m=1.0)[0]
        averaged = averaged_limit(57.0, mode, cut.pitches, cut.mean_factor_n_m2)[0]
        assert exact == pytest.approx(averaged, rel=0.02)


def test_half_a_wave_breaks_it_best_and_a_whole_wave_does_nothing():
    waves = 60 * 505.0 / (48 * 57.0)
    half = compare_pitch(505.0, 0.03, 48, 57.0, depth_ratio=0.08)
    whole = compare_pitch(505.0, 0.03, 48, 57.0, depth_ratio=0.08, difference=1 / waves)
    assert half.difference == pytest.approx(best_difference(waves))
    assert half.here > 3.0
    assert half.here == pytest.approx(half.averaged, rel=0.1)
    assert whole.here < 1.3


@pytest.mark.parametrize(("teeth", "difference"), [(1, None), (4, 2.0), (4, -0.1)])
def test_impossible_cutters_are_refused(teeth, difference):
    with pytest.raises(ValueError, match=r"tooth|pitches"):
        compare_pitch(505.0, 0.03, teeth, 57.0, difference=difference)


@pytest.mark.parametrize("kind", ["alternating", "rising"])
@pytest.mark.parametrize("teeth", [2, 5, 12])
def test_pitches_make_a_turn(kind, teeth):
    pitches = unequal_pitches(teeth, 0.05, kind)
    assert sum(pitches) == pytest.approx(1.0)
    assert pitches[0] != pitches[1]


def test_driven_motion_within_a_step_is_exact_for_a_cubic():
    """x'' = s^m from rest over one step: x(1) = m! / (m + 2)!, when nothing pulls back."""
    chain = np.zeros((1, 6, 6))
    chain[0, 0, 1] = chain[0, 1, 2] = 1.0
    chain[0, 2, 3] = chain[0, 3, 4] = chain[0, 4, 5] = 1.0
    for m in range(4):
        exact = math.factorial(m) / math.factorial(m + 2)
        assert driven_by_powers(exponentials(chain))[0, 0, m] == pytest.approx(exact, rel=1e-12)
