"""The table of what a cut surface shows."""

from __future__ import annotations

import pytest

from chatter.errors import JobError
from chatter.trade.surface import ALIGNMENTS, GROUPS, alignment, sign_of, signs


def test_every_sign_says_something_and_where_it_comes_from():
    for sign in signs():
        assert sign.says.endswith(".") and sign.check.endswith(".")
        assert sign.source == "common practice, no source"
    assert {sign.group for sign in signs()} == set(GROUPS)
    assert {sign.alignment for sign in signs()} == set(ALIGNMENTS)


def test_what_speaks_for_and_against_a_square_axis():
    assert sign_of("cross hatch on both faces").alignment == "square"
    assert sign_of("one-sided drag marks").alignment == "out_of_square"
    assert sign_of("drag marks on both sides").alignment == "not_told"
    assert sign_of("burr").group == "burr"


def test_a_wrong_word_gets_the_nearest():
    with pytest.raises(JobError, match="did you mean 'chatter_marks'"):
        sign_of("chattermarks")


def test_signs_together():
    assert alignment(["smooth", "cross_hatch_both"]) == "square"
    assert alignment(["drag_one", "slot_too_wide", "burr_one"]) == "out_of_square"
    assert alignment(["drag_one", "cross_hatch_both"]) == "divided"
    assert alignment(["smooth"]) == alignment([]) == "not_told"
