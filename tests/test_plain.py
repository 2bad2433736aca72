"""Dataclasses as plain data and back: nested, strict, and with a complaint that says where."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass, field

import numpy as np
import pytest

from chatter.plain import Misfit, from_plain, to_json, to_plain


@dataclass(frozen=True)
class Leaf:
    """One reading."""

    level_db: float
    name: str = ""


@dataclass(frozen=True)
class Tree:
    """Every kind of field that the program's data have."""

    leaves: tuple[Leaf, ...]
    span_s: tuple[float, float]
    best: Leaf | None = None
    by_name: dict[str, Leaf] = field(default_factory=dict)
    shares: dict[str, float] = field(default_factory=dict)
    loose: dict = field(default_factory=dict)
    count: int = 0


TREE = Tree(
    (Leaf(1.0, "é"), Leaf(-2.5)), (0.0, 2.0), Leaf(3.0), {"a": Leaf(4.0)}, {"x": 0.5}, {"k": [1]}, 7
)


def test_everything_comes_back_equal():
    assert from_plain(Tree, json.loads(to_json(TREE, indent=None))) == TREE
    assert from_plain(Tree, to_plain(TREE)) == TREE


def test_json_is_strict_and_keeps_characters():
    text = to_json({"a": Leaf(math.nan, "é"), "b": np.float32(0.5), 3: (np.int64(3), True, None)})
    assert text.count("é") == 1
    assert json.loads(text, parse_constant=pytest.fail) == {
        "a": {"level_db": None, "name": "é"},
        "b": 0.5,
        "3": [3.0, True, None],
    }


def test_what_was_not_finite_comes_back_as_nan_and_none_stays_none():
    back = from_plain(
        Tree, to_plain(Tree((Leaf(math.inf),), (0.0, math.nan), shares={"x": -math.inf}))
    )
    assert math.isnan(back.leaves[0].level_db) and math.isnan(back.span_s[1])
    assert math.isnan(back.shares["x"]) and back.best is None


def test_whole_numbers_become_the_float_that_the_field_says():
    back = from_plain(Tree, {"leaves": [{"level_db": 3}], "span_s": [0, 1]})
    assert type(back.leaves[0].level_db) is float and type(back.span_s[0]) is float
    assert type(from_plain(Tree, to_plain(TREE)).count) is int


@pytest.mark.parametrize(
    ("spoilt", "said"),
    [
        ({"leaves": 3}, r"tree\.leaves should be a list"),
        ({"leaves": [{}]}, r"tree\.leaves\[0\] is incomplete .*level_db"),
        ({"best": 3}, r"tree\.best should be an object"),
        ({"span_s": [1.0]}, r"tree\.span_s should hold 2 values, not 1"),
        ({"by_name": {"a": 1}}, r"tree\.by_name\.a should be an object"),
        ({"hue": 1}, r"tree has an unknown field 'hue'"),
    ],
)
def test_what_does_not_fit_is_told_with_its_place(spoilt, said):
    with pytest.raises(Misfit, match=said):
        from_plain(Tree, {**to_plain(TREE), **spoilt}, "tree")


def test_fields_of_a_newer_program_can_be_left_out():
    newer = {**to_plain(TREE), "hue": 1, "best": {"level_db": 3.0, "hue": 2}}
    assert from_plain(Tree, newer, drop_unknown=True).best == Leaf(3.0)
