"""Every rule of the table fires where it should, and not where one thing is different."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import pytest

from chatter import findings
from chatter.trade.modes import Mode
from chatter.trade.remedies import FAULTS, suggest
from chatter.trade.rules import rule_table
from tests.trade.made import a_job, a_pass


@dataclass(frozen=True)
class Told:
    """One situation: what was heard, what is stated, what else is at hand."""

    verdict: str
    heard: dict = field(default_factory=dict)
    job: dict = field(default_factory=dict)
    modes: tuple = ()
    complaints: tuple = ()

    def fired(self) -> set[str]:
        heard = dict(self.heard)
        one = a_pass(self.verdict, heard.pop("probability", 0.9), **heard)
        made = suggest(
            (one,), a_job(**self.job), modes=self.modes, complaints=self.complaints, most=1000
        )
        return {each.name for each in made}


def line(name, hz, level=20.0):
    return findings.Line(hz, level, hz / 1.5, name, name, 0.9)


def levels(values):
    return tuple(findings.ToothLevel(i + 1, v, 0.3) for i, v in enumerate(values))


HIGH_TOOTH = levels([0.0] * 5 + [6.0] + [0.0] * 10)
SWING = levels([2.5 * math.cos(2 * math.pi * i / 16) for i in range(16)])
RAGGED = levels([1.2, -1.2] * 8)
CLIPPED = findings.Complaint("clipping", 0.2, "", "A fifth is clipped.", "Go back 1 m.", True)
RESONANT = tuple(line("tooth_passing", 24.0 * k, v) for k, v in ((4, 12.0), (5, 31.0), (6, 12.0)))
FEED = 60e3  # mm/min in a m/s

LOW = {"f_c": 90.0}  # 3.75 waves of 16 teeth at 90 rev/min
HIGH = {"f_c": 520.0, "n": 57.0, "count": 48}  # 11.4 waves
SAW = {"teeth": 48, "n": 57.0}
END = {"cutter": {"form": "end_mill", "diameter_m": 0.016}}


def form(word, **more):
    return {"cutter": {"form": word, **more}}


def cut(**stated):
    return {"cut": stated}


RELIEVED, PLAIN = form("slitting_saw", side_relief=True), form("slitting_saw", side_relief=False)
BACKLASH = {"table_backlash": True}
ARBOR = {"arbor_diameters_m": (0.0254,)}
SLOW_FEEDS = {"feeds_m_s": (10.0 / FEED, 16.0 / FEED)}  # enough at 75 rev/min, not at 90
FAST_FEEDS = {"feeds_m_s": (800.0 / FEED, 900.0 / FEED)}
TURN = {"f_c": 300.0, "n": 90.0, "count": 1}
TURNING = {"teeth": 1, **form("single_point", diameter_m=None)}
BAR = TURN
ONE = {"teeth": 1, **form("single_point")}
BORE = {"work_diameter_m": 0.05}
BORING = {"teeth": 1, **form("boring_bar", diameter_m=0.0127), "cut": BORE}

#: Rule -> (a situation in which it fires, one in which a single thing forbids it).
CASES = {
    "over_marked_speed": (
        Told("normal", job={"cutter": {"max_rev_min": 80.0}}),
        Told("normal", job={"cutter": {"max_rev_min": 100.0}}),
    ),
    "climb_with_backlash": (
        Told("normal", job={**cut(direction="climb"), "machine": BACKLASH}),
        Told("normal", job={**cut(direction="conventional"), "machine": BACKLASH}),
    ),
    "over_cutting_speed": (Told("normal", {"n": 300.0}, {"n": 300.0}), Told("normal")),
    "contradiction": (
        Told(
            "normal",
            {"spindle": findings.Spindle(90.0, 89.0, 91.0, 70.0, True, (), "It turns at 90.")},
        ),
        Told("normal"),
    ),
    "speed_step": (Told("chatter", LOW), Told("chatter", HIGH, SAW)),
    "exact_speed": (
        Told("chatter", {"f_c": 960.0, "n": 7800.0, "count": 4},
             {"teeth": 4, "n": 7800.0, "steps": (), **form("end_mill"), **cut(material=None)}),
        Told("chatter", {"f_c": 960.0, "n": 7800.0, "count": 4},
             {"teeth": 4, "n": 7800.0, "steps": (6000.0,), **form("end_mill"),
              **cut(material=None)}),
    ),
    "state_speeds": (
        Told("chatter", LOW, {"steps": (), "cutter": {"max_rev_min": 30.0}}),
        Told("chatter", LOW, {"cutter": {"max_rev_min": 30.0}}),
    ),
    "no_step_helps": (Told("chatter", LOW, {"steps": (90.0,)}), Told("chatter", LOW)),
    "gear_will_not_help": (Told("chatter", HIGH, SAW), Told("chatter", LOW)),
    "slower_step": (
        Told("chatter", HIGH, {**SAW, "cutter": {"diameter_m": None}, **cut(material=None)}),
        Told("chatter", HIGH, SAW),
    ),
    "slower_for_damping": (
        Told("chatter", HIGH, SAW),
        Told("chatter", HIGH, {**SAW, "cutter": {"diameter_m": None}}),
    ),
    "less_depth": (Told("chatter", {**LOW, "share": 0.5}), Told("chatter", {**LOW, "share": 0.7})),
    "half_depth": (Told("chatter", {**LOW, "share": 0.7}), Told("chatter", {**LOW, "share": 0.5})),
    "staggered_high_lobe": (
        Told("chatter", HIGH, SAW),
        Told("chatter", HIGH, {**SAW, **form("staggered_tooth")}),
    ),
    "unequal_end_mill": (
        Told("chatter", {"f_c": 900.0, "n": 2000.0, "count": 6},
             {"teeth": 6, "n": 2000.0, **END}),
        Told("chatter", {"f_c": 900.0, "n": 2000.0, "count": 6},
             {"teeth": 6, "n": 2000.0, **form("single_point")}),
    ),
    "fewer_teeth": (
        Told("chatter", HIGH, SAW),
        Told("chatter", HIGH, {**SAW, **cut(depth_m=0.0005)}),
    ),
    "stiffen_tapped_mode": (
        Told("chatter", LOW, modes=(Mode(86.0, 0.04),)),
        Told("chatter", LOW, modes=(Mode(300.0, 0.04),)),
    ),
    "long_overhang": (
        Told("chatter", LOW, {**cut(overhang_m=0.090), "machine": ARBOR}),
        Told("chatter", LOW, {**cut(overhang_m=0.060), "machine": ARBOR}),
    ),
    "long_tool": (
        Told("chatter", LOW, {**END, **cut(overhang_m=0.060)}),
        Told("chatter", LOW, {**END, **cut(overhang_m=0.040)}),
    ),
    "long_bar": (
        Told("chatter", BAR, {**BORING, "cut": {**BORE, "overhang_m": 0.06}}),
        Told("chatter", BAR, {**BORING, "cut": {**BORE, "overhang_m": 0.03}}),
    ),
    "check_tool_post": (Told("chatter", TURN, TURNING), Told("chatter", BAR, BORING)),
    "check_bar": (Told("chatter", BAR, BORING), Told("chatter", TURN, TURNING)),
    "check_drill": (Told("chatter", LOW, form("drill")), Told("chatter", LOW, END)),
    "check_band": (Told("chatter", LOW, form("band_saw")), Told("chatter", LOW, END)),
    "dull_chatter": (Told("chatter", LOW), Told("chatter", LOW, form(None))),
    "chatter_feed_up": (
        Told("chatter", LOW, cut(feed_m_s=40.0 / FEED)),
        Told("chatter", LOW, cut(feed_m_s=90.0 / FEED)),
    ),
    "turn_feed_up": (
        Told("chatter", TURN, TURNING),
        Told("chatter", TURN, {**TURNING, **form("parting_tool", diameter_m=None)}),
    ),
    "drill_feed_up": (
        Told("chatter", LOW, form("drill")),
        Told("chatter", LOW, {**form("drill"), **cut(feed_m_s=5.0 / FEED)}),
    ),
    "band_feed": (Told("chatter", LOW, form("band_saw")), Told("chatter", LOW)),
    "less_depth_unknown": (Told("chatter", LOW, form(None)), Told("chatter", LOW)),
    "turn_less_depth": (Told("chatter", TURN, TURNING), Told("chatter", LOW)),
    "turn_slower": (
        Told("chatter", {**BAR, "f_c": 20.0}, BORING),
        Told("chatter", {**BAR, "f_c": 20.0}, {**BORING, "steps": (90.0, 120.0)}),
    ),
    "drill_slower": (
        Told("chatter", {"f_c": 30.0}, form("drill")),
        Told("chatter", {"f_c": 30.0}, {**form("drill"), "steps": (90.0, 120.0)}),
    ),
    "support_turned_work": (Told("chatter", TURN, TURNING), Told("chatter", LOW)),
    "nose_radius": (Told("chatter", BAR, BORING), Told("chatter", LOW)),
    "parting_chatter": (
        Told("chatter", TURN, {**TURNING, **form("parting_tool")}), Told("chatter", TURN, TURNING),
    ),
    "no_slow_enough_step": (
        Told("normal", {"n": 300.0}, {"n": 300.0, "steps": (300.0,)}),
        Told("normal", {"n": 300.0}, {"n": 300.0}),
    ),
    "carbide_too_slow": (
        Told("normal", job={"cutter": {"material": "carbide"}, "steps": (90.0, 300.0)}),
        Told("normal", job={"steps": (90.0, 300.0)}),
    ),
    "carbide_on_a_slow_machine": (
        Told("normal", job={"cutter": {"material": "carbide"}, "steps": (57.0, 90.0)}),
        Told("normal", job={"cutter": {"material": "carbide"}, "steps": (90.0, 300.0)}),
    ),
    "chip_by_gear": (
        Told("normal", job={**cut(feed_m_s=10.0 / FEED), "machine": SLOW_FEEDS}),
        Told("normal", job=cut(feed_m_s=10.0 / FEED)),
    ),
    "chip_too_thick": (
        Told("normal", job={**cut(feed_m_s=900.0 / FEED), "machine": FAST_FEEDS}),
        Told("normal", job=cut(feed_m_s=900.0 / FEED)),
    ),
    "crowded_slot": (
        Told("normal", job=cut(depth_m=0.026)), Told("normal", job=cut(depth_m=0.010)),
    ),
    "measure_rim": (Told("side_rubbing"), Told("side_rubbing", job=PLAIN)),
    "look_at_saw_sides": (Told("side_rubbing", job=PLAIN), Told("side_rubbing", job=RELIEVED)),
    "end_mill_look": (Told("side_rubbing", job=END), Told("side_rubbing")),
    "bar_heel_rubs": (
        Told("side_rubbing", job=form("boring_bar")),
        Told("side_rubbing", job=form("single_point")),
    ),
    "parting_rubs": (Told("side_rubbing", job=form("parting_tool")), Told("side_rubbing")),
    "drill_rubs": (Told("side_rubbing", job=form("reamer")), Told("side_rubbing", job=END)),
    "band_rubs": (Told("side_rubbing", job=form("band_saw")), Told("side_rubbing")),
    "clear_iron_chips": (Told("side_rubbing"), Told("side_rubbing", job=cut(material="brass"))),
    "brass_sharp": (Told("side_rubbing", job=cut(material="brass")), Told("side_rubbing")),
    "regrind_corners": (Told("side_rubbing"), Told("side_rubbing", job=form("single_point"))),
    "look_for_odd_tooth": (
        Told("uneven_teeth"), Told("uneven_teeth", job=ONE),
    ),
    "check_arbor_support": (Told("chatter", LOW), Told("chatter", LOW, END)),
    "check_tool_holding": (Told("chatter", LOW, END), Told("chatter", LOW)),
    "support_thin_work": (Told("chatter", LOW), Told("side_rubbing")),
    "tap_test": (Told("chatter", LOW), Told("chatter", LOW, modes=(Mode(86.0, 0.04),))),
    "climb_without_backlash": (
        Told("chatter", LOW,
             {**cut(direction="conventional"), "machine": {"table_backlash": False}}),
        Told("chatter", LOW, cut(direction="conventional")),
    ),
    "leave_chatter_roughing": (
        Told("chatter", {**LOW, "share": 0.1}, cut(purpose="roughing")),
        Told("chatter", {**LOW, "share": 0.3}, cut(purpose="roughing")),
    ),
    "feed_up": (
        Told("normal", job=cut(feed_m_s=5.0 / FEED)), Told("normal", job=cut(feed_m_s=70.0 / FEED)),
    ),
    "feed_down": (
        Told("normal", job=cut(feed_m_s=900.0 / FEED)),
        Told("normal", job=cut(feed_m_s=70.0 / FEED)),
    ),
    "relieved_cutter": (Told("side_rubbing", job=PLAIN), Told("side_rubbing", job=RELIEVED)),
    "look_for_relief": (Told("side_rubbing"), Told("side_rubbing", job=PLAIN)),
    "relieved_saw_rubs": (Told("side_rubbing", job=RELIEVED), Told("side_rubbing", job=PLAIN)),
    "true_the_disc": (Told("side_rubbing"), Told("side_rubbing", job=END)),
    "slot_in_steps": (
        Told("side_rubbing", job=cut(depth_m=0.013)), Told("side_rubbing", job=cut(depth_m=0.010)),
    ),
    "squeal_collars": (
        Told("side_rubbing", {"lines": (line("squeal", 3100.0),)}), Told("side_rubbing"),
    ),
    "slab_end_rubs": (Told("side_rubbing", job=form("slab")), Told("side_rubbing")),
    "end_mill_rubs": (Told("side_rubbing", job=END), Told("side_rubbing", job=form("face_mill"))),
    "face_mill_drags": (Told("side_rubbing", job=form("face_mill")), Told("side_rubbing", job=END)),
    "tool_flank_rubs": (Told("side_rubbing", job=form("single_point")), Told("side_rubbing")),
    "unknown_form_rubs": (Told("side_rubbing", job=form(None)), Told("side_rubbing")),
    "clear_chips": (Told("side_rubbing", job=cut(material="brass")), Told("side_rubbing")),
    "cast_iron_dry": (Told("side_rubbing"), Told("side_rubbing", job=cut(material="brass"))),
    "oil_steel": (Told("side_rubbing", job=cut(material="tool_steel")), Told("side_rubbing")),
    "wet_aluminium": (Told("side_rubbing", job=cut(material="aluminium")), Told("side_rubbing")),
    "copper_alloys": (Told("side_rubbing", job=cut(material="copper")), Told("side_rubbing")),
    "leave_rubbing_roughing": (
        Told("side_rubbing", {"probability": 0.6}, cut(purpose="roughing")),
        Told("side_rubbing", {"probability": 0.8}, cut(purpose="roughing")),
    ),
    "quarter_turn": (Told("uneven_teeth"), Told("uneven_teeth", job=END)),
    "indicate_runout": (Told("uneven_teeth"), Told("uneven_teeth", job=ONE)),
    "one_high_tooth": (
        Told("uneven_teeth", {"teeth": HIGH_TOOTH}), Told("uneven_teeth", {"teeth": RAGGED}),
    ),
    "eccentric_cutter": (
        Told("uneven_teeth", {"teeth": SWING}), Told("uneven_teeth", {"teeth": RAGGED}),
    ),
    "regrind_even": (
        Told("uneven_teeth", {"teeth": RAGGED}), Told("uneven_teeth", {"teeth": SWING}),
    ),
    "single_point_beat": (Told("uneven_teeth", job=ONE), Told("uneven_teeth")),
    "resonant_multiple": (
        Told("normal", {"lines": RESONANT}),
        Told("normal", {"lines": tuple(replace(one, level_db=15.0) for one in RESONANT)}),
    ),
    "leave_as_is": (Told("normal"), Told("normal", job=cut(feed_m_s=70.0 / FEED))),
    "leave_as_is_checked": (Told("normal", job=cut(feed_m_s=70.0 / FEED)), Told("normal")),
    "not_cutting": (Told("machine_only"), Told("normal")),
    "machine_noise_survey": (
        Told("machine_only", {"lines": (line("machine", 640.0),)}),
        Told("machine_only", {"lines": (line("mains", 100.0),)}),
    ),
    "machine_noise_mend": (
        Told("machine_only", {"lines": (line("machine", 640.0),)}),
        Told("machine_only", {"lines": (line("mains", 100.0),)}),
    ),
    "hum_only": (
        Told("machine_only", {"lines": (line("mains", 100.0),)}),
        Told("machine_only", {"lines": (line("mains", 100.0), line("machine", 640.0))}),
    ),
    "mend_recording": (Told("cannot_tell", complaints=(CLIPPED,)), Told("cannot_tell")),
    "longer_pass": (
        Told("cannot_tell", {"revolutions": 7.0}), Told("cannot_tell", {"revolutions": 9.0}),
    ),
    "record_again": (Told("cannot_tell"), Told("normal")),
}  # fmt: skip


def test_every_rule_has_its_case():
    assert set(CASES) == {rule.name for rule in rule_table().rules}


@pytest.mark.parametrize("name", CASES)
def test_fires_with_its_condition_and_not_without(name):
    with_it, without = CASES[name]
    assert name in with_it.fired()
    assert name not in without.fired()


def test_no_rule_answers_another_cause():
    """Whatever fires in any of these situations belongs to what was heard."""
    causes = {rule.name: rule.cause for rule in rule_table().rules}
    for pair in CASES.values():
        for told in pair:
            assert {causes[name] for name in told.fired()} <= {told.verdict, "any"}


def test_a_told_fault_comes_before_record_again():
    """Some passes that cannot be told must not push the remedy of the told ones down."""
    for verdict in FAULTS:
        bad = a_pass(verdict, 0.95, f_c=90.0 if verdict == "chatter" else None)
        unknown = tuple(a_pass("cannot_tell", index=i, revolutions=4.0) for i in (2, 3, 4))
        made = suggest((bad, *unknown), a_job(), complaints=(CLIPPED,), most=100)
        causes = {rule.name: rule.cause for rule in rule_table().rules}
        order = [causes[one.name] == "cannot_tell" for one in made]
        assert order == sorted(order) and any(order), verdict
