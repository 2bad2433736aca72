"""A wrong dial or tooth count is doubted by what fits, whether or not the machine's speeds are
known; slip and simple ratios are not."""

from __future__ import annotations

import numpy as np
import pytest

from chatter.listening import numbers
from chatter.listening.hypotheses import anywhere
from chatter.listening.numbers import candidates, weigh_numbers
from chatter.listening.spindle import SLIP, SpeedPosterior, log_ratios
from tests.listening.cuts_made import RATE_HZ, cut
from tests.listening.rates_made import rates_of
from tests.listening.speed_made import weighed


def doubts(made, rev_min, teeth):
    """The numbers that fit far better, where no machine card is at hand."""
    return weigh_numbers(rates_of(made.x), rev_min=rev_min, teeth=teeth, speeds=())


def test_the_pairs_hold_every_speed_from_half_to_twice_with_none_between():
    first, *others = anywhere(100.0, 24)
    assert first.dialled and not any(one.dialled for one in others)
    middles = sorted(np.log(one.rev_min / 100.0) for one in (first, *others))
    assert np.allclose(np.diff(middles), 2.0 * SLIP)
    assert middles[0] - SLIP < np.log(0.5) and middles[-1] + SLIP > np.log(2.0)


@pytest.mark.parametrize("factor", [0.77, 0.85, 1.2, 1.28])
def test_a_wrong_dial_is_doubted_and_the_speed_that_fits_is_named(rng, factor):
    found = doubts(cut(rng, 24.0, 57.0, 48, ticks=0.3), 57.0 * factor, 48)
    assert found.rev_min == pytest.approx(57.0, rel=0.005)
    assert found.count == pytest.approx(48 / factor, abs=0.6)  # or so many at the stated speed


@pytest.mark.parametrize(("teeth", "stated"), [(48, 37), (48, 57), (48, 41), (24, 28)])
def test_a_wrong_tooth_count_is_doubted(rng, teeth, stated):
    found = doubts(cut(rng, 20.0, 57.0, teeth, ticks=0.3), 57.0, stated)
    # what fits is the frequency at which the teeth pass
    assert found.rev_min * stated == pytest.approx(57.0 * teeth, rel=0.005)


@pytest.mark.parametrize("off", [-0.05, 0.0, 0.05])
@pytest.mark.parametrize("rev_min", [143.0, 150.0])  # 57.2 Hz; 60 Hz, masked with the mains
def test_slip_is_not_doubted(rng, off, rev_min):
    heights = np.clip(1 + 0.3 * rng.standard_normal(24), 0.2, 2.0)
    made = cut(rng, 12.0, rev_min, 24, ticks=0.3, heights=heights)
    assert doubts(made, rev_min * (1 + off), 24).rev_min is None


def test_noise_doubts_nobody(rng):
    """Never in twelve."""
    for i in range(12):
        x = 0.1 * rng.standard_normal(6 * RATE_HZ)
        rev_min, teeth = [(57, 48), (200, 20), (600, 4), (3000, 6)][i % 4]
        found = weigh_numbers(rates_of(x), rev_min=rev_min, teeth=teeth, speeds=())
        assert found.rev_min is None and found.count is None


def test_nothing_is_doubted_for_teeth_that_are_not_heard(rng, monkeypatch):
    """However well other numbers fit: idling fits some by chance."""
    wrong = cut(rng, 24.0, 57.0, 48, ticks=0.3), 57.0 * 1.2, 48
    assert doubts(*wrong).rev_min is not None
    monkeypatch.setattr(numbers, "AUDIBLE", 1e9)  # no teeth are as loud as that
    found = doubts(*wrong)
    assert found.rev_min is None and found.count is None


def test_few_teeth_are_not_miscounted_the_speed_is_doubted(rng):
    found = doubts(cut(rng, 12.0, 600.0, 6, ticks=0.3), 760.0, 6)
    assert found.rev_min == pytest.approx(600.0, rel=0.005) and found.count is None


def test_a_speed_that_no_slip_explains_stands_out_when_the_dial_is_wrong(rng):
    made = cut(rng, 20.0, 57.0, 48, ticks=0.3)
    assert weighed(made, 57.0 * 1.2, 48).margin_elsewhere > 20.0
    assert weighed(made, 57.0 * 1.02, 48).margin_elsewhere < -20.0


def posterior(*peaks, teeth=48, floor=-5.0):
    """Made by hand: a log posterior of narrow peaks (ratio, height) over a floor."""
    grid = log_ratios()
    log_p = np.full(grid.size, floor)
    for ratio, height in peaks:
        log_p = np.maximum(log_p, height - 0.5 * ((grid - np.log(ratio)) / 5e-4) ** 2)
    return SpeedPosterior(1.0, teeth, 1.0, 5e-4, log_p, {})


def test_candidates_are_apart_likeliest_first_and_share_the_whole():
    found = candidates(posterior((1.0, 0.0), (1.002, -0.5), (1.17, 1.0), (0.8, -1.0), floor=-40.0))
    told = [(one.rev_min, one.probability) for one in found]
    assert [round(rev_min, 1) for rev_min, _ in told] == [70.2, 60.0, 48.0]
    assert [p for _, p in told] == sorted((p for _, p in told), reverse=True)
    # heights 1, (0 and -0.5 together, partly one under the other), -1
    assert 0.4 < told[0][1] < 0.65 and sum(p for _, p in told) == pytest.approx(1.0, abs=0.01)


def test_one_clear_speed_is_the_only_candidate(rng):
    (one,) = candidates(weighed(cut(rng, 20.0, 57.0, 48, ticks=0.3), 58.0, 48))
    assert one.rev_min == pytest.approx(57.0, rel=2.5e-3) and one.probability > 0.95
