"""Rows of revolutions: known depths are found, noise gives nothing, the angle is set right."""

from __future__ import annotations

import numpy as np
import pytest

from chatter.comparing.features import NAMES, features, swelling
from chatter.comparing.take import MeasuredTake
from chatter.comparing.turns import Turns, align_revolutions, like_the_rest, repeating, turn_rows
from tests.comparing.made import RATE, TEETH, TURN_S, reader, swelling_noise, tilted


def rows_of(x: np.ndarray, *, turn_s: float = TURN_S, row_s: float = 0.25) -> Turns:
    rows = turn_rows(
        reader(x), 0, len(x), RATE, course=((0.0, 1 / turn_s),), teeth=TEETH,
        fastest_hz=TEETH / TURN_S, row_s=row_s,
    )  # fmt: skip
    assert rows is not None
    return rows


def even(rows: Turns) -> np.ndarray:
    return np.full((1, rows.rows), 1.0 / rows.rows)


def measured(x: np.ndarray) -> MeasuredTake:
    return MeasuredTake(rows_of(x), None, None, None, None, "heard")


def feature(x: np.ndarray, name: str) -> float:
    one = measured(x)
    return float(features(one, one.turns.bands_hz, even(one.turns))[0, NAMES.index(name)])


def true_swell(depth: float) -> float:
    """Trough to peak of 10 lg (1 + depth cos a) from its first three orders, drawn in."""
    order = np.arange(1, 4)
    # ln(1 + d cos a) = const + sum of 2 (-1)^(m+1) q^m / m cos(m a), q = (1 - sqrt(1 - d^2)) / d
    q = (1 - np.sqrt(1 - depth**2)) / depth
    part = 2 * (-1.0) ** (order + 1) * q**order / order * 10 / np.log(10)
    angle = np.linspace(0, 2 * np.pi, 721)
    return 8 * np.arcsinh(np.ptp(part @ np.cos(np.outer(order, angle))) / 8)


@pytest.mark.parametrize("depth", [0.3, 0.6, 0.8])
def test_a_known_swell_is_found(depth):
    # over 24 turns the noise of a half-octave band leaves about 0.3 dB
    found = swelling(rows_of(swelling_noise(turn=depth)), even(rows_of(swelling_noise())))
    assert found.mean() == pytest.approx(true_swell(depth), abs=0.5)


def test_one_loud_turn_does_not_make_a_swell():
    """A chip wedged once is no rubbing: a mean of powers would swell by some 7 dB."""
    x = swelling_noise()
    n = int(TURN_S * RATE)
    x[10 * n : 10 * n + n // 6] *= 10.0
    quiet = swelling(rows_of(swelling_noise()), even(rows_of(x))).mean()
    assert swelling(rows_of(x), even(rows_of(x))).mean() == pytest.approx(quiet, abs=1.0)


def test_noise_alone_swells_by_about_a_decibel():
    found = swelling(rows_of(swelling_noise()), even(rows_of(swelling_noise())))
    assert found.mean() < 1.5


@pytest.mark.parametrize("name", ["tooth_low", "tooth_mid", "tooth_high"])
def test_a_known_tooth_depth_is_found(name):
    # a frame as long as half a stroke averages it a little: 1 dB
    assert feature(swelling_noise(tooth=0.5), name) == pytest.approx(10 * np.log10(0.5), abs=1.0)


def test_strokes_that_wax_and_wane_have_sidebands():
    # (1 + s cos a) cos N a: two sidebands of s/2, so their power is s^2/2 of the line's
    found = feature(swelling_noise(tooth=0.7, side=0.6), "side")
    assert found == pytest.approx(5 * np.log10(0.6**2 / 2), abs=1.2)
    assert feature(swelling_noise(tooth=0.7), "side") < found - 4.0


def test_the_known_difference_between_two_cutters_is_found():
    """The closed check: power by 9 to 1 over the turn against 2 to 1, nothing below 1200 Hz."""
    strong = swelling_noise(turn=0.8, tooth=0.3, high_only=True, seed=1)
    weak = swelling_noise(turn=1 / 3, tooth=0.3, high_only=True, seed=2)
    difference = feature(weak, "swell_high") - feature(strong, "swell_high")
    assert difference == pytest.approx(true_swell(1 / 3) - true_swell(0.8), abs=0.6)
    assert abs(feature(weak, "swell_low") - feature(strong, "swell_low")) < 0.8
    assert abs(feature(weak, "tooth_high") - feature(strong, "tooth_high")) < 1.0


def test_gain_and_microphone_change_nothing():
    x = swelling_noise(turn=0.6, tooth=0.4)
    for name in NAMES[:7]:
        # the tilt shifts the middle of each half-octave band; its own noise is the same
        assert feature(tilted(x, 0.03, 4.0), name) == pytest.approx(feature(x, name), abs=0.35)


def test_what_does_not_repeat_has_mean_zero():
    rng = np.random.default_rng(5)
    noise = rng.standard_normal((1, 4000, 3)) + 1j * rng.standard_normal((1, 4000, 3))
    # variance 2 a product; the mean over 4000 has a standard error of about 0.04
    assert np.abs(repeating(noise).mean(axis=1)).max() < 0.15
    assert repeating(noise + 3.0).mean() == pytest.approx(9.0, abs=0.4)


def test_a_revolution_is_held_against_its_neighbours_alone():
    rng = np.random.default_rng(6)
    for turns in (4, 7, 9, 30):
        x = rng.standard_normal((2, turns, 3)) + 1j * rng.standard_normal((2, turns, 3))
        found = repeating(x)
        for r in range(turns):
            near = [s for s in range(max(0, r - 4), min(turns, r + 5)) if s != r]
            mean = np.mean(x[:, near], axis=1)
            np.testing.assert_allclose(found[:, r], (x[:, r] * mean.conj()).real)


def test_a_long_take_of_a_quick_spindle_is_compared_in_bounded_memory():
    """Five minutes at 6000 rev/min: 30 000 turns, every one against every other is 7 GB."""
    import tracemalloc

    rate, turn_hz = 8000, 100.0
    x = np.tile(swelling_noise(turns=100.0)[: 10 * rate], 30)
    tracemalloc.start()
    rows = turn_rows(
        reader(x), 0, len(x), rate, course=((0.0, turn_hz),), teeth=4,
        fastest_hz=4 * turn_hz, row_s=0.25,
    )  # fmt: skip
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert rows.rows * 25 <= 3000  # the middle of it
    assert peak < 150e6


def test_a_speed_that_is_off_is_set_right_by_the_teeth():
    turn = np.arange(40)
    order = np.arange(3 * TEETH + 1)
    off = np.exp(2j * np.pi * 0.004 * np.outer(turn, order))[None]
    assert abs(off[:, :, TEETH].mean()) < 0.7
    # steps of a hundredth of a tooth leave at most 0.005 tooth a turn, 0.2 over 40 turns
    assert abs(align_revolutions(off, TEETH)[:, :, TEETH].mean()) > 0.93


def test_a_wrong_speed_by_a_fifth_percent_costs_no_tooth_depth():
    x = swelling_noise(tooth=0.5)
    right, wrong = (rows_of(x, turn_s=TURN_S * k).tooth.mean() for k in (1.0, 1.002))
    assert 5 * np.log10(wrong / right) == pytest.approx(0.0, abs=0.5)


def test_a_stretch_of_idling_is_left_out():
    x = swelling_noise(tooth=0.4)
    n = len(x) // 5
    x[:n] = tilted(x[:n], 0.5, -5.0)
    keep = like_the_rest(rows_of(x))
    rows = len(keep)
    assert not keep[: rows // 5 - 1].any()
    assert keep[rows // 5 + 1 :].all()


def test_quick_turns_are_put_together():
    x = swelling_noise(turn_s=0.05, turns=200, tooth=0.4)
    rows = turn_rows(
        reader(x), 0, len(x), RATE, course=((0.0, 20.0),), teeth=TEETH,
        fastest_hz=240.0, row_s=0.25,
    )  # fmt: skip
    assert rows.rows == 39
    assert np.diff(rows.time_s, axis=1).mean() == pytest.approx(0.25, abs=1e-3)


def test_too_short_a_stretch_gives_nothing():
    x = swelling_noise(turns=3.5)
    assert (
        turn_rows(
            reader(x), 0, len(x), RATE, course=((0.0, 1 / TURN_S),), teeth=TEETH,
            fastest_hz=15.0, row_s=0.25,
        )
        is None
    )  # fmt: skip
