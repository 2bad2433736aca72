"""The table of remedies hangs together, and its conditions mean what they say."""

from __future__ import annotations

import pytest

from chatter import findings
from chatter.job.cutter import FORMS
from chatter.trade.rules import Condition, read_condition, rule_table
from chatter.trade.situation import FACTS


def test_every_rule_is_whole():
    rules = rule_table().rules
    assert len({r.name for r in rules}) == len(rules)
    for rule in rules:
        for condition in rule.when:
            assert condition.fact in FACTS, rule.name
            if condition.fact == "form" and condition.value not in ("known", "unknown"):
                assert set(condition.value.split()) <= set(FORMS), rule.name
        for number in (rule.gain, rule.quantity):
            assert number is None or isinstance(number, float | int) or number in FACTS, rule.name
        assert 0 < rule.hits <= 1
        assert isinstance(rule.gain, str) or 0 < rule.gain <= 1
        assert rule.action.rstrip("}").endswith((".", "complaint_advice")), rule.name
        assert rule.source and rule.expect and rule.reason, rule.name
        assert rule.each in (None, "steps", "complaints")


def test_every_cause_and_every_form_has_an_answer():
    causes = {r.cause for r in rule_table().rules}
    assert causes == {*findings.VERDICTS, "any"}
    named = " ".join(
        c.value
        for r in rule_table().rules
        if r.cause == "side_rubbing"
        for c in r.when
        if c.fact == "form"
    )
    assert all(form in named for form in (*FORMS, "unknown"))


def test_every_cost_and_lever_is_used():
    assert {r.cost for r in rule_table().rules} == set(rule_table().costs)
    assert {r.lever for r in rule_table().rules} == set(rule_table().levers)


@pytest.mark.parametrize(
    ("text", "value", "holds"),
    [
        ("share <= 0.2", 0.2, True),
        ("share <= 0.2", 0.21, False),
        ("share > 0.2", 0.2, False),
        ("share >= 0.2", 0.2, True),
        ("share < 0.2", 0.2, False),
        ("share < 0.2", None, False),
        ("step is known", 57.0, True),
        ("step is known", None, False),
        ("step is unknown", None, True),
        ("backlash is yes", True, True),
        ("backlash is no", False, True),
        ("backlash is no", None, False),
        ("form is_not single_point", None, True),
        ("form is_not single_point", "single_point", False),
        ("form is_not single_point", "slab", True),
        ("form in slab end_mill", "end_mill", True),
        ("form in slab end_mill", "mill", False),
        ("material has cast_iron", "grey_cast_iron_soft", True),
        ("material has cast_iron", "cast_steel", False),
    ],
)
def test_conditions(text, value, holds):
    condition = read_condition(text)
    assert condition.holds({condition.fact: value}) is holds


@pytest.mark.parametrize("text", ["share", "share <=", "share = 2", ""])
def test_a_broken_condition_is_refused(text):
    with pytest.raises(ValueError, match="condition"):
        read_condition(text)


def test_an_unknown_fact_is_an_error():
    with pytest.raises(KeyError):
        Condition("shoe_size", "is", "known").holds({})
