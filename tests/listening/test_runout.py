"""Runout as a number with an interval that means something."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from chatter.listening.runout import runout_of
from chatter.listening.turning import Turning, turn_the_pass
from tests.listening.cuts_made import RATE_HZ, cut, reader
from tests.listening.speed_made import heard_in


def turning(strokes):
    nothing = np.zeros(1)
    return Turning(0.0, 1.0, strokes.shape[1], nothing, None, nothing, strokes, True)


def strokes_of(rng, heights, turns, scatter):
    return np.asarray(heights) * (1.0 + scatter * rng.standard_normal((turns, len(heights))))


def spread(heights):
    return float((np.max(heights) - np.min(heights)) / np.mean(heights))


def test_known_unevenness_lies_in_its_interval(rng):
    """Of 40 at 95 %: 33 or fewer in one of 200 suites."""
    inside, widths = 0, []
    for i in range(40):
        teeth = (3, 4, 8, 12)[i % 4]
        heights = 1.0 + rng.uniform(0.1, 0.3) * np.cos(2 * np.pi * np.arange(teeth) / teeth)
        told = runout_of(turning(strokes_of(rng, heights, 40, 0.15)))
        assert told.low <= told.share <= told.high
        inside += told.low <= spread(heights) <= told.high
        widths.append(told.high - told.low)
    assert inside >= 33
    assert np.median(widths) < 0.2  # and says something


def test_many_teeth_are_told_a_little_too_uneven_at_most(rng):
    """The strongest of thirty is partly so by luck: by up to 0.05, with the strokes' scatter."""
    for _ in range(10):
        heights = 1.0 + 0.2 * np.cos(2 * np.pi * np.arange(30) / 30)
        told = runout_of(turning(strokes_of(rng, heights, 40, 0.15)))
        assert -0.03 < told.share - spread(heights) < 0.08


def test_an_even_cutter_is_near_nought(rng):
    shares = [
        runout_of(turning(strokes_of(rng, np.ones(teeth), 40, 0.15))).share
        for teeth in (4, 8, 12, 30)
        for _ in range(5)
    ]
    assert np.median(shares) < 0.05 and max(shares) < 0.12


def test_a_missing_tooth_gives_one_or_more(rng):
    heights = np.ones(10)
    heights[3] = 0.0
    told = runout_of(turning(strokes_of(rng, heights, 40, 0.1)))
    assert told.share == pytest.approx(10 / 9, abs=0.08)


def test_more_turns_narrow_it(rng):
    heights = 1 + 0.2 * np.cos(2 * np.pi * np.arange(12) / 12)

    def width(turns):
        told = runout_of(turning(strokes_of(rng, heights, turns, 0.3)))
        return told.high - told.low

    assert width(200) < 0.6 * width(20)  # by the root of ten, 0.32


def test_the_same_strokes_give_the_same_number(rng):
    strokes = strokes_of(rng, np.ones(8), 30, 0.2)
    assert runout_of(turning(strokes)) == runout_of(turning(strokes))
    assert runout_of(turning(3.0 * strokes)).share == runout_of(turning(strokes)).share


def test_where_it_cannot_be_told(rng):
    strokes = strokes_of(rng, np.ones(8), 30, 0.2)
    assert runout_of(None) is None
    assert runout_of(turning(strokes[:, :1])) is None
    assert runout_of(turning(strokes[:5])) is None
    assert runout_of(turning(strokes[:6])) is not None
    assert runout_of(replace(turning(strokes), tracked=False)) is None


@pytest.mark.parametrize(("eccentricity", "low", "high"), [(0.0, 0.0, 0.15), (0.3, 0.3, 0.75)])
def test_from_sound(rng, eccentricity, low, high):
    """A fifth of the noise is steady and a stroke smears into its neighbours, so that of a true
    spread of 0.6 less is heard; an even cutter has hardly any."""
    teeth = 12
    heights = 1 + eccentricity * np.cos(2 * np.pi * np.arange(teeth) / teeth)
    made = cut(rng, 20.0, 150.0, teeth, heights=heights)
    speed = heard_in(made, 150.0, teeth)
    told = runout_of(turn_the_pass(reader(made.x), 0, made.x.size, RATE_HZ, speed, teeth))
    assert low <= told.share <= high
