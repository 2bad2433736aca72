"""Segments of one recording held against one another."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
import pytest

from chatter.listening.spans import Span
from chatter.listening.together import together_cases


@dataclass(frozen=True)
class Seen:
    """All that is asked of an observation."""

    levels_db: np.ndarray
    lengths_s: tuple[float, ...]

    @property
    def spans(self) -> tuple[Span, ...]:
        edges = np.concatenate([[0.0], np.cumsum(self.lengths_s)])
        return tuple(Span(a, b) for a, b in itertools.pairwise(edges))


CUT, IDLE = np.array([-20.0, -14.0, -30.0, -22.0]), np.array([-26.0, -40.0, -31.0, -50.0])


def _asked(levels, odds, lengths=None):
    levels = np.array(levels)
    seen = Seen(levels, tuple(lengths or np.ones(len(levels))))
    return together_cases(seen, [{"length_s": 1.0}] * len(levels), np.array(odds))


def test_what_sounds_like_the_sure_cuts_is_told_from_what_sounds_like_the_rest():
    like_cut, like_idle, *_ = _asked(
        [CUT + 0.5, IDLE - 0.5, CUT, IDLE, CUT, IDLE], [0.0, 0.0, 3.0, -3.0, 2.5, -2.0]
    )
    assert like_cut["alike_level_odds"] > 2.0 and like_idle["alike_level_odds"] < -2.0
    for name in ("level", "shape"):
        assert like_cut[f"nearer_cut_{name}_db"] > 5.0
        assert like_idle[f"nearer_cut_{name}_db"] < -5.0
    assert like_cut["from_cut_level_db"] < 4.0 < 10.0 < like_cut["from_rest_level_db"]
    assert like_cut["own_odds"] == 0.0 and like_cut["length_s"] == 1.0


def test_the_same_cut_further_away_is_alike_in_shape_only():
    far, *_ = _asked([CUT - 12.0, CUT, IDLE], [0.0, 3.0, -3.0])
    assert far["from_cut_shape_db"] < 0.1 and far["from_cut_level_db"] > 11.0


def test_lengths_weigh():
    _, long, *_ = _asked([CUT, CUT, IDLE], [3.0, 0.0, -3.0], lengths=[1.0, 2.0, 7.0])
    assert long["cut_share"] == pytest.approx((0.9526 * 1 + 0.5 * 2 + 0.0474 * 7) / 10, abs=1e-3)
    assert long["cut_s"] == pytest.approx(10 * long["cut_share"])
    assert long["surer_share"] == pytest.approx(0.1)
    assert long["odds_under_most"] == -3.0


def test_neighbours():
    first, middle, last = _asked([IDLE, CUT, CUT], [-2.0, 1.0, 3.0])
    assert (middle["before_odds"], middle["after_odds"]) == (-2.0, 3.0)
    assert middle["after_far_db"] == 0.0 < middle["before_far_db"]
    assert "before_odds" not in first and "after_odds" not in last


def test_alone_there_is_nothing_to_hold_against():
    (one,) = _asked([CUT], [1.0])
    assert one == {
        "length_s": 1.0, "own_odds": 1.0, "cut_s": one["cut_share"],
        "cut_share": pytest.approx(0.7311, abs=1e-4),
    }  # fmt: skip


def test_no_first_answer_counts_without_end():
    sure, _ = _asked([CUT, IDLE], [40.0, -40.0])
    assert sure["own_odds"] == 4.0
