"""Combs for thousands of spacings at once, against plain sums one line after the other."""

from __future__ import annotations

import numpy as np
import pytest

from chatter.listening.clocks import LINE_CAP, Gains, envelope_gains, line_gains, sound_gains
from tests.listening.cuts_made import RATE_HZ, cut, family


def plain_comb(gains: Gains, spacing_hz: float, orders) -> float:
    """The twin: a line at a time, nothing vectorised."""
    total = 0.0
    for order in orders:
        place = order * spacing_hz / gains.step_hz
        if place >= gains.gain.size - 1:
            continue
        i = int(place)
        share = place - i
        total += gains.gain[i] * (1 - share) + gains.gain[i + 1] * share - gains.mean
    return total


def test_combs_against_the_plain_twin(rng):
    for _ in range(5):
        gain = rng.exponential(size=600)
        gain[-3:] = gain.mean()  # the last bin is reached by one and not by the other
        gains = Gains(gain, 0.7, float(gain.mean()))
        spacing = rng.uniform(5.0, 90.0, 40)
        orders = np.sort(rng.choice(np.arange(1, 30), 9, replace=False))
        expected = [plain_comb(gains, one, orders) for one in spacing]
        np.testing.assert_allclose(gains.comb(spacing, orders), expected, atol=2 * gains.mean)
        inside = orders[-1] * spacing < (gain.size - 4) * 0.7
        np.testing.assert_allclose(
            gains.comb(spacing, orders)[inside], np.array(expected)[inside], atol=1e-9
        )


def test_a_comb_takes_what_lies_on_its_lines_and_nothing_else():
    gain = np.zeros(1000)
    gain[[100, 200, 300]] = 4.0
    gains = Gains(gain, 1.0, 0.0)
    told = gains.comb(np.array([100.0, 50.0, 150.0, 70.0, 200.0]), np.arange(1, 5))
    np.testing.assert_allclose(told, [12.0, 8.0, 4.0, 0.0, 4.0])
    # half a bin beside a line half of it is left, at every order by as much as it strays there
    np.testing.assert_allclose(gains.comb(np.array([100.25]), np.array([1, 2])), 3.0 + 2.0)


def test_what_lies_beyond_the_spectrum_adds_nothing():
    gains = Gains(np.ones(50), 1.0, 0.0)
    np.testing.assert_array_equal(gains.at(np.array([48.5, 49.0, 1e6])), [1.0, 0.0, 0.0])
    assert gains.comb(np.zeros(0), np.arange(1, 5)).size == 0


def test_differences_against_every_pair(rng):
    """Mean product of the gains so many bins apart, over their variance: counted out."""
    gain = np.minimum(rng.exponential(size=240), 12.0)
    held = gain - gain.mean()
    gains = Gains(gain, 0.5, float(gain.mean()))
    for lag in (7, 20, 31):
        expected = sum(
            sum(held[i] * held[i + k * lag] for i in range(held.size - k * lag)) for k in (1, 2, 3)
        ) / (held.var() * held.size)
        found = gains.differences(np.array([lag * 0.5]), count=3)[0]
        assert found == pytest.approx(expected, abs=1e-6)


def test_a_family_off_the_comb_is_spaced_by_the_teeth_all_the_same(rng):
    """Lines at (k + 0.3) 57 Hz: no comb from nought finds them, their differences do."""
    x = family(8.0, {(k + 0.3) * 57.0: 0.05 for k in range(3, 25)})
    gains = sound_gains(x + 0.02 * rng.standard_normal(x.size), RATE_HZ, floor_hz=80.0)
    spacing = np.linspace(52.0, 62.0, 401)
    apart, comb = gains.differences(spacing), gains.comb(spacing, np.arange(1, 20))
    assert spacing[np.argmax(apart)] == pytest.approx(57.0, abs=0.1)
    assert comb[np.abs(spacing - 57.0) < 0.06].max() < comb.max()


def test_the_gain_of_a_bin_is_a_likelihood_ratio():
    """Power of noise is exponential of mean 1; against the best exponential of any mean r the
    log-likelihood ratio at r is r - 1 - ln r, and a trough is no line."""
    power = np.full(300, np.log(2.0))  # the floor is a median: ln 2 of the mean
    for r in (0.2, 1.0, 3.0, 8.0, 1e6):
        power[150] = r
        gain, ratio = line_gains(power, 31)
        assert ratio[150] == pytest.approx(r, rel=1e-9)
        expected = min(LINE_CAP, r - 1 - np.log(r)) if r > 1 else 0.0
        assert gain[150] == pytest.approx(expected, abs=1e-9)
    assert line_gains(power, 31, cap=2.0)[0].max() == 2.0


def test_lines_in_noise_are_as_rare_as_the_likelihood_says(rng):
    """Exponential power passes g = r - 1 - ln r with probability exp(-r)."""
    gain, ratio = line_gains(rng.exponential(size=200_000), 501)
    for r in (2.0, 4.0, 7.0):
        assert (gain > r - 1 - np.log(r)).mean() == pytest.approx(np.exp(-r), rel=0.12)
    assert ratio.mean() == pytest.approx(1.0, abs=0.02)


@pytest.mark.parametrize("mains", [50.0, 60.0])
def test_hum_is_left_out(rng, mains):
    hum = family(10.0, {mains * k: 0.1 for k in range(1, 12)})
    gains = sound_gains(hum + 0.01 * rng.standard_normal(hum.size), RATE_HZ, floor_hz=80.0)
    assert gains.at(mains * np.arange(2, 12)).max() <= 0.0
    beside = family(10.0, {mains * k + 7.0: 0.1 for k in range(2, 12)})
    gains = sound_gains(beside + 0.01 * rng.standard_normal(hum.size), RATE_HZ, floor_hz=80.0)
    assert gains.at(mains * np.arange(2, 12) + 7.0).min() > 10.0


def test_strokes_are_heard_in_the_envelope_and_gain_changes_nothing(rng):
    made = cut(rng, 12.0, 150.0, 20, depth=0.6)  # 50 strokes a second, no line in the sound
    spacing = np.linspace(44.0, 56.0, 601)

    def told(x):
        gains = envelope_gains(x, RATE_HZ, spindle_hz=2.5, tooth_hz=50.0)
        return gains.comb(spacing, np.arange(1, 5))

    one = told(made.x)
    assert spacing[np.argmax(one)] == pytest.approx(50.0, abs=0.06)
    np.testing.assert_allclose(told(0.01 * made.x), one, atol=0.05)
    thump = made.x.copy()
    thump[5000:5400] += 3.0 * rng.standard_normal(400).astype(np.float32)
    assert spacing[np.argmax(told(thump))] == pytest.approx(50.0, abs=0.06)


def test_knocks_do_not_drown_faint_strokes(rng):
    """Thirty knocks, a thousand times as loud as the cut, lift the floor of the envelope's
    spectrum unless they are clipped: the comb at the strokes keeps its height."""
    made = cut(rng, 12.0, 150.0, 20, depth=0.15)
    spacing = np.linspace(44.0, 56.0, 601)
    knocked = made.x.copy()
    for at in rng.integers(0, knocked.size - 200, 30):
        knocked[at : at + 100] += 1000.0 * rng.standard_normal(100).astype(np.float32)
    clean, loud = (
        envelope_gains(x, RATE_HZ, spindle_hz=2.5, tooth_hz=50.0).comb(spacing, np.arange(1, 5))
        for x in (made.x, knocked)
    )
    assert spacing[np.argmax(loud)] == pytest.approx(50.0, abs=0.06)
    assert loud.max() > 0.85 * clean.max()


def test_too_little_has_no_envelope(rng):
    assert envelope_gains(rng.standard_normal(200), RATE_HZ, spindle_hz=1.0, tooth_hz=9.0) is None
