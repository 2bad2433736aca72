"""Advice that could hurt somebody or break a cutter: each was given once, and never again."""

from __future__ import annotations

import pytest

from chatter.job.build import build_job
from chatter.trade.cutting_data import chip_load_range
from chatter.trade.remedies import suggest
from chatter.trade.surface import signs
from chatter.trade.teeth_map import runout_limit_m
from tests.trade.made import a_job, a_pass


def answer(verdict, job, **heard):
    heard = {"n": job.cut.speed_rev_min, "count": job.cutter.teeth, **heard}
    return suggest((a_pass(verdict, **heard),), job, most=100)


def words(made):
    return " ".join(f"{s.action} {s.reason} {s.caution}" for s in made)


def test_no_sign_asks_to_fit_a_saw_the_other_way_round():
    for sign in signs():
        assert (
            "Turn the cutter round" not in sign.check and "turn the cutter round" not in sign.check
        )
    one = next(sign for sign in signs() if sign.name == "cross_hatch_one")
    assert "Indicator on the side of the disc" in one.check
    assert "Never fit a cutter the other way round" in one.check


def test_leave_it_never_stands_beside_lower_the_feed_or_slow_down():
    low, high = chip_load_range(a_job())
    for times, leaves in ((1.0, True), (1.05, True), (1.2, False), (3.0, False)):
        feed = times * high * 16 * 90 / 60
        made = [s.name for s in answer("normal", a_job(cut={"feed_m_s": feed}))]
        assert ("leave_as_is_checked" in made) == leaves
        assert ("feed_down" in made) == (not leaves)
    good = 1.5 * low * 16 * 300 / 60
    fast = a_job(n=300.0, cut={"feed_m_s": good})
    assert [s.name for s in answer("normal", fast)] == ["over_cutting_speed"]
    unknown = a_job(n=300.0)
    assert "leave_as_is" not in [s.name for s in answer("normal", unknown)]


def test_slow_carbide_is_not_called_safe():
    job = a_job(cutter={"material": "carbide"}, steps=(90.0, 300.0, 600.0))
    made = answer("normal", job)
    assert made[0].name == "carbide_too_slow" and made[0].quantity == 300.0
    assert "high-speed-steel" in made[0].action and "leave" not in words(made).lower()
    # chatter is no reason to go slower still
    heard = answer("chatter", job, f_c=700.0)
    assert not [s for s in heard if s.lever == "set_speed" and s.quantity < 90.0]


def test_the_indicator_is_passed_opposite_to_cutting():
    said = words(answer("uneven_teeth", a_job()))
    assert "opposite to the cutting direction" in said and "drops off each edge" in said
    assert "against the cutting edge" not in said


def test_oil_comes_from_the_exit_side_and_a_brush_only_at_standstill():
    for material in ("low_carbon_steel", "aluminium", "gunmetal"):
        made = answer("side_rubbing", a_job(cut={"material": material}))
        oil = next(s for s in made if s.lever == "lubricate")
        assert "from the side where the teeth leave" in oil.action
        assert "a brush is for standstill" in oil.caution


def test_a_boring_bars_own_diameter_sets_no_speed():
    stated = {
        "cut.speed": "400",
        "cutter.teeth": "1",
        "cutter.form": "boring bar",
        "cutter.diameter": "1/2 in",
        "cut.material": "mild steel",
    }
    bar, bore = build_job(stated), build_job({**stated, "cut.work_diameter": "2 in"})
    assert bar.cut_diameter_m is None and bore.cut_diameter_m == pytest.approx(0.0508)
    # 400 rev/min on 2 in are 209 ft/min: too fast, though 52 ft/min on the bar
    assert "over_cutting_speed" not in [s.name for s in answer("normal", bar)]
    assert answer("normal", bore)[0].name in ("over_cutting_speed", "no_slow_enough_step")


def test_nobody_is_asked_for_less_runout_than_an_arbor_can_have():
    assert runout_limit_m(1e-6) == pytest.approx(0.0005 * 0.0254)
    assert runout_limit_m(None) == runout_limit_m(1e-3) == 25e-6
