"""What listening holds possible is never denied; "far" is far; takes that are all cut."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from chatter.comparing.decide import POSSIBLE, differences
from chatter.comparing.families import FAMILIES
from chatter.comparing.heard import SURELY_IDLE, Listened
from chatter.comparing.words import sentence
from tests.comparing.test_decide import side

NONE = {"free": (), "squeal": (), "machine": ()}
SQUEAL = next(one for one in FAMILIES if one.name == "squeal")


def chatter_of(chances):
    nothing = {"chatter": float("nan")}
    found = differences(
        ["real", "stable"],
        [side(nothing), side(nothing)],
        tones=NONE,
        alike=True,
        chatter_possible=chances,
    )
    return next(one for one in found if one.family == "chatter")


def test_a_cut_that_may_chatter_is_never_called_free_of_it():
    """Half a chance on the whole, 0.94 on its second half: no tone was named all the same."""
    for chances in ((0.50, 0.02), (0.02, 0.50), (POSSIBLE, 0.0)):
        one = chatter_of(chances)
        assert one.said == "cannot_tell" and "none heard" not in one.sentence
        named = "real" if chances[0] > chances[1] else "stable"
        assert f"chatter with {named} a chance of {max(chances):.2f}" in one.sentence


def test_where_listening_hears_none_none_is_heard():
    one = chatter_of((0.02, 0.05))
    assert one.said == "not_shown" and "none heard in either" in one.sentence


@pytest.mark.parametrize(
    ("value", "half", "far"),
    [(-27.0, 14.0, True), (-12.0, 11.0, False), (12.0, 7.9, True), (7.0, 1.0, False)],
)
def test_far_asks_for_an_interval_far_from_nothing(value, half, far):
    said = sentence(SQUEAL, ("a", "b"), "shown", value, half)
    assert (" far " in said) == far


def take(*passes):
    made = tuple(
        SimpleNamespace(verdict=verdict, confidence=sure, probabilities=chances)
        for verdict, sure, chances in passes
    )
    return Listened(None, None, SimpleNamespace(passes=made), None, None)


def test_a_take_that_is_all_cut_is_compared_where_listening_is_not_sure_of_idling():
    unsure = take(("machine_only", SURELY_IDLE - 0.1, {"chatter": 0.3}))
    assert len(unsure.passes) == 1 and unsure.chatter_possible == 0.3
    assert take(("machine_only", 0.95, {"chatter": 0.0})).passes == ()
    both = take(("machine_only", 0.6, {}), ("normal", 0.9, {"chatter": float("nan")}))
    assert [p.verdict for p in both.passes] == ["normal"]
    assert both.chatter_possible == 0.0
