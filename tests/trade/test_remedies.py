"""Suggestions: what fires, in which order, and what is never recommended."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from chatter import findings
from chatter.job.cutter import FORMS
from chatter.trade.advised import ceiling_rev_min
from chatter.trade.cutting_data import chip_load_range, cutting_speed_range
from chatter.trade.lobes import relative_limit
from chatter.trade.modes import Mode
from chatter.trade.remedies import suggest
from chatter.trade.speed_choice import weigh_steps
from tests.trade.made import a_job, a_pass


def names(suggestions):
    return [s.name for s in suggestions]


def by_name(suggestions, name):
    return next(s for s in suggestions if s.name == name)


def every(one, job, **more):
    return suggest((one,), job, most=100, **more)


def test_low_lobe_takes_a_step_of_the_machine():
    # 90 rev/min, 16 teeth: 24 Hz, 3.75 waves: a phase of 1.5 pi, the least stable.  160 gives
    # 2.11 waves, next to a pocket; 220 and 300 are above the range for iron.
    made = every(a_pass("chatter", f_c=90.0), a_job())
    steps = [s for s in made if s.name == "speed_step"]
    assert steps[0].quantity == 160.0
    assert {s.quantity for s in steps} <= {38.0, 57.0, 75.0, 120.0, 160.0}
    assert all(s.lever == "set_speed" and s.cost == "change gear" for s in steps)
    assert "gear_will_not_help" not in names(made)
    assert steps[0].action == (
        "Change gear to 160 rev/min, and change the table feed in the same proportion, so that "
        "the chip load stays."
    )


def test_the_best_step_has_the_nearest_multiple():
    one = a_pass("chatter", f_c=960.0, n=6000.0, count=4)
    job = a_job(
        teeth=4,
        n=6000.0,
        steps=(5600.0, 6000.0, 7100.0, 9000.0),
        cutter={"form": "end_mill", "diameter_m": 0.006},
        cut={"material": "aluminium"},
    )
    steps = [s for s in every(one, job) if s.name == "speed_step"]
    assert steps[0].quantity == 7100.0  # the 2nd pocket lies at 7200
    assert re.search(r"the 2 times one", steps[0].reason)


@pytest.mark.parametrize("pocket", [2, 6, 12])
def test_a_step_gains_no_more_than_it_would_a_little_beside_the_dial(pocket):
    """A dial is not a measurement: a pocket narrower than its doubt is no gain."""
    f_n, damping, teeth, present = 680.0, 0.03, 12, 4000.0 / pocket
    n = 60.0 * f_n / (teeth * pocket)  # in the middle of a pocket
    (step,) = weigh_steps((n,), 700.0, teeth, present, damping_ratio=damping, natural_hz=f_n)
    at = teeth / 60.0 * np.array([present, 0.99 * n, n, 1.01 * n])
    now, slower, middle, faster = relative_limit(at, f_n, damping)[0]
    assert step.gain <= 1.001 * min(slower, faster) / now
    assert step.gain < 0.95 * middle / now


@pytest.mark.parametrize(
    ("share", "cutter", "words"),
    [
        (0.5, {}, "two thirds of the present depth (4 mm)"),
        (0.9, {}, "half the depth (3 mm)"),
        (0.5, {"form": "single_point"}, "a third less depth (4 mm)"),
    ],
)
def test_less_depth_is_said_in_millimetres(share, cutter, words):
    made = every(a_pass("chatter", f_c=700.0, share=share), a_job(cutter=cutter))
    assert any(words in one.action for one in made)


def test_high_lobe_says_that_gears_will_not_help():
    one = a_pass("chatter", f_c=520.0, n=57.0, count=48)
    made = every(one, a_job(teeth=48, n=57.0))
    assert "gear_will_not_help" in names(made)
    assert "speed_step" not in names(made)
    for expected in ("staggered_high_lobe", "half_depth", "less_depth", "check_arbor_support"):
        assert (expected in names(made)) == (expected != "half_depth")
    assert by_name(made, "gear_will_not_help").reason.startswith("There are 11.4 waves")


def test_unequal_pitch_comes_with_a_number():
    one = a_pass("chatter", f_c=520.0, n=57.0, count=48)
    made = by_name(every(one, a_job(teeth=48, n=57.0)), "staggered_high_lobe")
    assert "; several times the depth should be stable" in made.reason  # never "about 7.3 times"
    assert made.quantity == pytest.approx(0.5 / 11.1, rel=0.03)  # half a wave of the mode's 505 Hz


def test_slower_only_with_short_waves_in_reach():
    slow = a_pass("chatter", f_c=520.0, n=57.0, count=48)
    made = by_name(every(slow, a_job(teeth=48, n=57.0)), "slower_for_damping")
    assert made.quantity == 38.0
    fast = a_pass("chatter", f_c=2000.0, n=6000.0, count=4)
    job = a_job(teeth=4, n=6000.0, steps=(4500.0, 6000.0), cutter={"form": "end_mill"})
    assert "slower_for_damping" not in names(every(fast, job))  # waves of 10 mm


def test_without_a_list_of_speeds_the_exact_speed_is_said():
    one = a_pass("chatter", f_c=960.0, n=7800.0, count=4)
    made = every(
        one, a_job(teeth=4, n=7800.0, steps=(), cutter={"form": "end_mill"}, cut={"material": None})
    )
    exact = by_name(made, "exact_speed")
    assert exact.quantity == pytest.approx(7200.0, rel=1e-9)
    assert "list of speeds" in exact.action


def test_tapped_mode_is_named():
    one = a_pass("chatter", f_c=90.0)
    made = every(one, a_job(), modes=(Mode(86.0, 0.04), Mode(300.0, 0.01)))
    assert "86 Hz" in by_name(made, "stiffen_tapped_mode").action
    assert "tap_test" not in names(made)
    assert "tap_test" in names(every(one, a_job()))


@pytest.mark.parametrize(
    ("form", "relief", "expected"),
    [
        ("slitting_saw", False, "relieved_cutter"),
        ("slitting_saw", None, "look_for_relief"),
        ("slitting_saw", True, "relieved_saw_rubs"),
        ("side_and_face", None, "relieved_saw_rubs"),
        ("staggered_tooth", None, "relieved_saw_rubs"),
        ("slab", None, "slab_end_rubs"),
        ("end_mill", None, "end_mill_rubs"),
        ("face_mill", None, "face_mill_drags"),
        ("single_point", None, "tool_flank_rubs"),
        (None, None, "unknown_form_rubs"),
    ],
)
def test_side_rubbing_by_form(form, relief, expected):
    job = a_job(cutter={"form": form, "side_relief": relief})
    fired = names(every(a_pass("side_rubbing"), job))
    by_form = {
        "relieved_cutter",
        "look_for_relief",
        "relieved_saw_rubs",
        "slab_end_rubs",
        "end_mill_rubs",
        "face_mill_drags",
        "tool_flank_rubs",
        "unknown_form_rubs",
    }
    assert by_form & set(fired) == {expected}


@pytest.mark.parametrize(
    ("material", "expected", "wet"),
    [
        ("grey_cast_iron_hard", "cast_iron_dry", 0.0),
        ("stainless_steel", "oil_steel", 1.0),
        ("aluminium", "wet_aluminium", 1.0),
        ("bronze", "copper_alloys", 1.0),
    ],
)
def test_lubrication_by_metal(material, expected, wet):
    made = every(a_pass("side_rubbing"), a_job(cut={"material": material}))
    lubrication = [s for s in made if s.lever == "lubricate"]
    assert [(s.name, s.quantity) for s in lubrication] == [(expected, wet)]
    assert ("dust" in lubrication[0].caution) == material.startswith("grey")


def test_uneven_teeth_by_shape():
    def teeth(levels):
        return tuple(findings.ToothLevel(i + 1, v, 0.3) for i, v in enumerate(levels))

    high = a_pass("uneven_teeth", teeth=teeth([0.0] * 5 + [6.0] + [0.0] * 10))
    swing = a_pass(
        "uneven_teeth", teeth=teeth([2.5 * math.cos(2 * math.pi * i / 16) for i in range(16)])
    )
    ragged = a_pass("uneven_teeth", teeth=teeth([1.2, -1.2] * 8))
    shapes = {"one_high_tooth", "eccentric_cutter", "regrind_even"}
    assert shapes & set(names(every(high, a_job()))) == {"one_high_tooth"}
    assert "Tooth 6 " in by_name(every(high, a_job()), "one_high_tooth").reason
    assert shapes & set(names(every(swing, a_job()))) == {"eccentric_cutter"}
    assert shapes & set(names(every(ragged, a_job()))) == {"regrind_even"}
    assert {"quarter_turn", "indicate_runout"} <= set(names(every(ragged, a_job())))


def test_chip_load_below_range_raises_the_feed_to_a_feed_of_the_machine():
    feeds = tuple(f / 60e3 for f in (10.0, 16.0, 25.0, 40.0, 63.0))
    slow = a_job(cut={"feed_m_s": 10.0 / 60e3}, machine={"feeds_m_s": feeds})
    made = by_name(every(a_pass("normal"), slow), "feed_up")
    assert made.lever == "set_feed"
    assert made.quantity in feeds and made.quantity > slow.cut.feed_m_s
    assert "leave_as_is" not in " ".join(names(every(a_pass("normal"), slow)))


def test_resonant_multiple():
    def line(k, level):
        return findings.Line(24.0 * k, level, 16.0 * k, "tooth_passing", f"{k} x", 0.9)

    lines = tuple(line(k, v) for k, v in ((3, 12.0), (4, 14.0), (5, 31.0), (6, 12.0), (7, 10.0)))
    made = every(a_pass("normal", lines=lines), a_job())
    assert "5 times" in by_name(made, "resonant_multiple").action
    flat = tuple(replace(one, level_db=20.0) for one in lines)
    assert "resonant_multiple" not in names(every(a_pass("normal", lines=flat[1:4]), a_job()))


def test_leave_it_when_roughing_and_mild():
    mild = a_pass("side_rubbing", 0.6)
    rough, fine = (a_job(cut={"purpose": p}) for p in ("roughing", "finishing"))
    assert "leave_rubbing_roughing" in names(every(mild, rough))
    assert "leave_rubbing_roughing" not in names(every(mild, fine))
    assert "leave_rubbing_roughing" not in names(every(a_pass("side_rubbing", 0.9), rough))
    short = a_pass("chatter", f_c=90.0, share=0.1)
    assert "leave_chatter_roughing" in names(every(short, rough))


def test_machine_noise_and_cannot_tell():
    humming = findings.Line(100.0, 20.0, None, "mains", "mains", 0.9)
    gear = findings.Line(640.0, 25.0, None, "machine", "machine", 0.9)
    assert "hum_only" in names(every(a_pass("machine_only", lines=(humming,)), a_job()))
    heard = every(a_pass("machine_only", lines=(humming, gear)), a_job())
    assert "hum_only" not in names(heard)
    assert "640 Hz" in by_name(heard, "machine_noise_survey").action
    clipped = findings.Complaint("clipping", 0.2, "", "A fifth is clipped.", "Go back 1 m.", True)
    one = a_pass("cannot_tell", n=57.0, revolutions=4.0)
    made = every(one, a_job(n=57.0), complaints=(clipped,))
    assert made[0].action == "Go back 1 m."
    assert "9 s" in by_name(made, "longer_pass").action  # 8 turns at 57 rev/min take 8.4 s


def test_several_passes_are_answered_once_and_counted():
    quiet, loud = a_pass("normal"), a_pass("chatter", f_c=90.0, index=2)
    louder = a_pass("chatter", 0.99, f_c=90.0, index=3, share=0.9)
    made = suggest((quiet, loud, louder), a_job(), most=100)
    assert len(names(made)) == len(set(zip(names(made), (s.quantity for s in made), strict=True)))
    assert "leave_as_is" not in names(made)
    assert by_name(made, "half_depth").reason.startswith("Heard in 2 of 3 passes (2, 3).")
    assert [s.rank for s in made] == list(range(1, len(made) + 1))


def test_units_follow_the_cards_and_else_the_request():
    inch, metric = (a_job(cut={"feed_m_s": feed}) for feed in (0.0254 / 60 * 0.375, 10.0 / 60e3))
    neither = a_job(
        cut={"feed_m_s": 1.234e-4}, cutter={"diameter_m": 0.0612345, "width_m": 0.0031234}
    )
    neither = replace(neither, cut=replace(neither.cut, depth_m=None))
    for system in ("inch", "metric"):
        said = [
            by_name(every(a_pass("normal"), job, system=system), "feed_up").action
            for job in (inch, metric, neither)
        ]
        assert "in/min" in said[0] and "mm/min" in said[1]
        assert ("in/min" in said[2]) == (system == "inch")


def test_a_step_of_an_inch_card_is_named_as_it_stands_there():
    feeds = tuple(f * 0.0254 / 60 for f in (0.25, 0.375, 0.75, 1.75, 4.0))
    job = a_job(cut={"feed_m_s": feeds[0]}, machine={"feeds_m_s": feeds})
    assert (
        "Raise the table feed to 3/4 in/min;"
        in by_name(every(a_pass("normal"), job), "feed_up").action
    )
    job = a_job(teeth=36, cut={"feed_m_s": feeds[0]}, machine={"feeds_m_s": feeds[3:]})
    assert "1 3/4 in/min" in by_name(every(a_pass("normal", count=36), job), "feed_up").action


def test_backlash():
    with_it = a_job(cut={"direction": "climb"}, machine={"table_backlash": True})
    made = every(a_pass("normal"), with_it)
    assert made[0].name == "climb_with_backlash" and made[0].quantity == 1


_JOBS = st.builds(
    a_job,
    teeth=st.integers(1, 60),
    n=st.floats(30.0, 4000.0),
    steps=st.sampled_from([(), (38.0, 57.0, 90.0, 160.0, 300.0), (200.0, 900.0, 1800.0, 6000.0)]),
    cutter=st.fixed_dictionaries(
        {
            "form": st.sampled_from([None, *FORMS]),
            "diameter_m": st.sampled_from([None, 0.006, 0.1]),
            "max_rev_min": st.sampled_from([None, 120.0, 5000.0]),
        }
    ),
    cut=st.fixed_dictionaries(
        {
            "material": st.sampled_from([None, "low_carbon_steel", "aluminium"]),
            "direction": st.sampled_from([None, "conventional", "climb"]),
            "feed_m_s": st.sampled_from([None, 1e-4, 5e-2]),
        }
    ),
    machine=st.fixed_dictionaries({"table_backlash": st.sampled_from([None, True, False])}),
)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(job=_JOBS, verdict=st.sampled_from(findings.VERDICTS), f_c=st.floats(80.0, 4000.0))
def test_never_too_fast_never_climb_with_backlash_and_no_hole_in_a_sentence(job, verdict, f_c):
    n, teeth = job.cut.speed_rev_min, job.cutter.teeth
    one = a_pass(verdict, n=n, count=teeth, f_c=f_c if verdict == "chatter" else None)
    made = every(one, job)
    assert made
    handbook = cutting_speed_range(job)
    for s in made:
        text = " ".join((s.action, s.reason, s.expect, s.caution))
        assert not re.search(r"[{}]|None|nan|inf\b", text), s.name
        if s.lever == "set_speed":
            assert s.quantity <= 1.001 * ceiling_rev_min(job)
            assert job.cutter.max_rev_min is None or s.quantity <= 1.001 * job.cutter.max_rev_min
            if handbook is not None and job.cut_diameter_m is not None:
                v = math.pi * job.cut_diameter_m * s.quantity / 60
                assert v <= 1.001 * handbook[1]
        if s.lever == "set_direction" and s.quantity == -1:
            assert job.machine.table_backlash is False


def test_exact_feed_lies_in_the_range_when_no_feeds_are_stated():
    job = a_job(cut={"feed_m_s": 1.0 / 60e3})
    made = by_name(every(a_pass("normal"), job), "feed_up")
    chips = chip_load_range(job)
    load = made.quantity * 60 / (90.0 * 16)
    assert load == pytest.approx(min(1.25 * chips[0], chips[1]))


def test_half_the_speed_is_not_advised_above_the_marking():
    """Without a list of steps half the present speed is tried; the marking still binds."""
    cutter = {"form": None, "diameter_m": 0.006, "max_rev_min": 120.0}
    job = a_job(teeth=1, n=260.0, steps=(), cutter=cutter, cut={"material": None})
    made = by_name(every(a_pass("chatter", f_c=80.0, n=260.0, count=1), job), "slower_for_damping")
    assert made.quantity == 120.0
