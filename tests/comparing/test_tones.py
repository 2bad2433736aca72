"""Tones against their own neighbourhood."""

from __future__ import annotations

import numpy as np
import pytest

from chatter.comparing.features import share_of_time, tone_prominence
from chatter.comparing.tones import tone_rows
from tests.comparing.made import RATE, reader, tilted

ROWS = np.stack([np.arange(0.0, 9.5, 0.5), np.arange(0.5, 10.0, 0.5)], axis=1)
EVEN = np.full((1, len(ROWS)), 1.0 / len(ROWS))


def sound(level_db: float, hz: float = 913.0, until_s: float = 10.0, seed: int = 0) -> np.ndarray:
    """White noise of unit power per bin and a tone so far above it in a 4096-point frame."""
    n = 10 * RATE
    t = np.arange(n) / RATE
    # a Hann frame of n points lifts a tone of power p to p n / 3 in its bin, and the two beside
    # it to a quarter of that: the mean of the three is p n / 6
    power = 10 ** (level_db / 10) * 6 / 4096
    tone = np.sqrt(2 * power) * np.sin(2 * np.pi * hz * t) * (t < until_s)
    return (np.random.default_rng(seed).standard_normal(n) + tone).astype(np.float32)


@pytest.mark.parametrize("level_db", [10.0, 20.0, 30.0])
def test_a_tone_stands_out_by_what_it_was_made_with(level_db):
    found = tone_rows(reader(sound(level_db)), RATE, ROWS, [910.0])
    assert found.frequency_hz[0] == pytest.approx(913.0, abs=6.0)
    # only the quieter bins count as neighbourhood: noise looks up to 1 dB fainter
    expected = 10 * np.log10(1 + 10 ** (level_db / 10))
    assert tone_prominence(found, EVEN)[0] == pytest.approx(expected, abs=1.5)


def test_gain_and_tilt_change_nothing():
    x = sound(15.0)
    one, other = (
        tone_prominence(tone_rows(reader(y), RATE, ROWS, [913.0]), EVEN)[0]
        for y in (x, tilted(x, 0.01, 6.0))
    )
    assert other == pytest.approx(one, abs=0.3)


def test_noise_alone_hardly_stands_out():
    found = tone_rows(reader(sound(-60.0)), RATE, ROWS, [913.0])
    assert tone_prominence(found, EVEN)[0] < 4.0
    assert share_of_time(found, EVEN)[0] < 0.1


def test_the_share_of_time_is_what_was_made():
    found = tone_rows(reader(sound(25.0, until_s=4.0)), RATE, ROWS, [913.0])
    assert share_of_time(found, EVEN)[0] == pytest.approx(0.4, abs=0.08)


def test_nothing_asked_for_gives_nothing():
    assert tone_rows(reader(sound(0.0)), RATE, ROWS, []) is None
    assert np.isnan(tone_prominence(None, EVEN)[0])
    assert share_of_time(None, EVEN)[0] == 0.0
