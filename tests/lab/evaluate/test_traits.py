"""Traits: measured on sounds whose figures are known by construction."""

from __future__ import annotations

import json

import numpy as np
import pytest

from chatter.lab.evaluate.corpus_table import ROWS, of_folder, pass_traits, traits_table
from chatter.lab.evaluate.traits import NAMES, Given, traits_of

RATE = 16_000
TURN_HZ, TEETH, SECONDS = 25.0, 4, 12


def noise(n: int, seed: int = 0) -> np.ndarray:
    return np.random.default_rng(seed).standard_normal(n)


def line(hz: float, db: float) -> np.ndarray:
    """A sine ``db`` over unit noise, in Hann windows of a second."""
    t = np.arange(SECONDS * RATE) / RATE
    return np.sqrt(2 * 1.5 * 2 / RATE * 10 ** (db / 10)) * np.sin(2 * np.pi * hz * t)


def cut(**more) -> Given:
    x = noise(SECONDS * RATE)
    for order, db in {4: 40, 1: 20, 3: 15, 5: 18, 9: 14, 30: 12}.items():
        x = x + line(order * TURN_HZ, db)
    return Given(x, RATE, 60 * TURN_HZ * 1.002, TEETH, **more)


def test_orders_of_the_turn_are_counted_without_the_teeth():
    found = traits_of(cut())
    assert found.turn_orders == 5  # 1, 3, 5, 9, 30; not 4
    assert found.turn_first_db == pytest.approx(20, abs=2.0)
    assert found.tooth_db == pytest.approx(40, abs=2.0)
    # The best of five bins of noise stands 2 to 4 dB over the median, most orders are that.
    assert 0 < found.turn_median_db < 4
    assert found.lines == 5  # all but the first order, which lies below 60 Hz


def test_side_lines_are_told_re_their_tooth_line():
    found = traits_of(cut())
    expected = 10 * np.log10((10**1.5 + 10**1.8) / 2 / 10**4.0)
    assert found.side_db == pytest.approx(expected, abs=1.5)


def test_strongest_line_and_its_place():
    found = traits_of(cut())
    assert found.wander_hz < 0.3
    assert found.off_grid_turns < 0.02 and found.off_grid_teeth < 0.02
    free = Given(noise(SECONDS * RATE) + line(9.3 * TURN_HZ, 40), RATE, 60 * TURN_HZ, TEETH)
    # The speed is looked for within half a per cent: at order 9.3 that moves by 0.05.
    assert traits_of(free).off_grid_turns == pytest.approx(0.3, abs=0.06)


def test_strokes_that_rise_and_fall_once_a_turn():
    t = np.arange(SECONDS * RATE) / RATE
    angle = 2 * np.pi * TURN_HZ * t
    for share in (0.1, 0.3):
        swell = 1 + share * np.cos(angle) + 0.5 * np.cos(TEETH * angle)
        found = traits_of(Given(noise(len(t)) * swell, RATE, 60 * TURN_HZ, TEETH))
        assert found.once_share == pytest.approx(share, abs=0.04)
        assert found.scatter_share < 0.06


def test_contrast_and_chatter_family():
    hz = 733.0
    x = noise(SECONDS * RATE)
    for k, db in {0: 35, -1: 20, 1: 20, -2: 20, 2: 20}.items():
        x = x + line(hz + k * TURN_HZ * TEETH, db)
    rest = 0.5 * noise(4 * RATE, 1)
    found = traits_of(Given(x, RATE, 60 * TURN_HZ, TEETH, rest, hz))
    assert found.contrast_db == pytest.approx(20 * np.log10(np.std(x) / 0.5), abs=0.2)
    assert found.family_db == pytest.approx(20, abs=2.0)
    assert found.chatter_db == pytest.approx(35, abs=2.0)


def test_a_folder_is_measured_and_printed(tmp_path):
    import soundfile

    given = cut()
    sound = np.concatenate([0.3 * noise(2 * RATE, 4), given.part])
    soundfile.write(tmp_path / "a.wav", sound / 20, RATE)
    span = {"start_s": 2.0, "end_s": 14.0, "verdict": "normal", "rev_min": given.rev_min}
    row = {"file": "a.wav", "teeth": 5, "true_teeth": TEETH, "passes": [span]}
    (tmp_path / "index.json").write_text(json.dumps([row]))
    passes = next(of_folder(tmp_path))
    assert len(passes) == 1 and set(NAMES) <= set(passes[0])
    assert passes[0]["contrast_db"] > 8 and passes[0]["turn_orders"] == 5
    text = traits_table({"made": passes * 3})
    assert all(words in text for words, _, _ in ROWS.values())
    assert "5.0 / 5.0 / 5.0 (3)" in text


def test_passes_too_short_to_be_measured_are_left_out(tmp_path):
    import soundfile

    soundfile.write(tmp_path / "a.wav", noise(2 * RATE) / 10, RATE)
    span = {"start_s": 0.5, "end_s": 1.2, "verdict": "normal", "rev_min": 60.0}
    assert pass_traits(tmp_path / "a.wav", [span], 4) == []
