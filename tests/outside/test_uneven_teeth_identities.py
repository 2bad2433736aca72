"""Fourier identities of uneven teeth, and synchronous averaging, on the angle domain.

No publication is needed for these: they follow from the Fourier series, and stand in any
text on vibration analysis (for instance Braun, *The synchronous (time domain) average
revisited*, Mech. Syst. Signal Process. 25, 2011, 1087-1102; citation from memory).

* One of N teeth higher by e: every revolution order k that is no multiple of N has
  amplitude e / (N + e) of the tooth-passing line.
* An eccentric cutter, a_j = 1 + r cos(2 pi j / N): tooth-passing orders m N have sidebands
  at m N +- 1 of r / 2 each, and nothing else.
* A tone swelling by (1 + m cos): sidebands of m / 2, for m = 1 -6.02 dB.
* The mean of R turns keeps what repeats every turn, and takes the power of anything
  that does not down by R on the average.
"""

from __future__ import annotations

import numpy as np
import pytest

from chatter.sound.angle import order_lines, synchronous_average

TURNS, POINTS = 24, 960


def spiked(heights):
    """One short stroke a tooth, all alike but for their heights, over whole turns."""
    teeth = len(heights)
    turn = np.zeros(POINTS)
    turn[:: POINTS // teeth] = heights
    return np.tile(turn, TURNS).reshape(1, TURNS, POINTS)


def line_db(lines, order, reference):
    return 10 * np.log10(lines.power[0, order * TURNS] / lines.power[0, reference * TURNS])


@pytest.mark.parametrize(("teeth", "e", "level_db"), [(40, 0.5, -38.17), (4, 0.5, -19.08)])
def test_one_high_tooth(teeth, e, level_db):
    heights = np.ones(teeth)
    heights[teeth // 3] += e
    lines = order_lines(spiked(heights))
    assert level_db == pytest.approx(20 * np.log10(e / (teeth + e)), abs=0.005)
    for k in (1, 2, teeth - 1, teeth + 1, 2 * teeth + 3 if teeth > 6 else teeth + 2):
        assert line_db(lines, k, teeth) == pytest.approx(level_db, abs=0.02)


@pytest.mark.parametrize(("r", "level_db"), [(0.5, -12.04), (0.2, -20.0)])
def test_eccentric_cutter(r, level_db):
    teeth = 40
    lines = order_lines(spiked(1 + r * np.cos(2 * np.pi * np.arange(teeth) / teeth)))
    for order in (teeth - 1, teeth + 1, 2 * teeth - 1, 2 * teeth + 1):
        assert line_db(lines, order, teeth) == pytest.approx(level_db, abs=0.02)
    for order in (2, 5, teeth - 2, teeth + 3):
        assert line_db(lines, order, teeth) < -80


@pytest.mark.parametrize("m", [1.0, 0.5, 0.1])
def test_swelling_tone(m):
    theta = np.arange(TURNS * POINTS) / POINTS
    x = (1 + m * np.cos(2 * np.pi * theta)) * np.cos(2 * np.pi * 100 * theta + 0.4)
    lines = order_lines(x.reshape(1, TURNS, POINTS))
    for order in (99, 101):
        assert line_db(lines, order, 100) == pytest.approx(20 * np.log10(m / 2), abs=0.02)
    assert 20 * np.log10(1.0 / 2) == pytest.approx(-6.02, abs=0.005)


def test_what_repeats_is_kept_exactly():
    rng = np.random.default_rng(3)
    turn = rng.standard_normal((2, 1, POINTS))
    mean, spread, share = synchronous_average(np.repeat(turn, TURNS, axis=1))
    np.testing.assert_allclose(mean, turn[:, 0], atol=1e-12)
    np.testing.assert_allclose(spread, 0.0, atol=1e-12)
    np.testing.assert_allclose(share, 1.0, atol=1e-12)


def test_a_tone_between_orders_is_averaged_down_by_the_number_of_turns():
    """Over all places between two whole orders the mean power left is 1 / R: the mean of
    Fejer's kernel, |sin(pi R d) / (R sin(pi d))|^2, over d = 0 .. 1."""
    theta = np.arange(TURNS * POINTS) / POINTS
    left = []
    for d in (np.arange(200) + 0.5) / 200:
        x = np.sqrt(2) * np.cos(2 * np.pi * (17 + d) * theta)
        mean, _, _ = synchronous_average(x.reshape(1, TURNS, POINTS))
        kernel = (np.sin(np.pi * TURNS * d) / (TURNS * np.sin(np.pi * d))) ** 2
        left.append(np.mean(mean**2))
        assert left[-1] == pytest.approx(kernel, abs=3e-3)
    assert np.mean(left) == pytest.approx(1 / TURNS, rel=0.02)


def test_a_half_order_cancels_over_an_even_number_of_turns():
    theta = np.arange(TURNS * POINTS) / POINTS
    x = np.cos(2 * np.pi * 2.5 * theta).reshape(1, TURNS, POINTS)
    mean, _, share = synchronous_average(x)
    assert np.max(np.abs(mean)) < 1e-9 and share[0] == 0.0
