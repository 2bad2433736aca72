"""Closed-loop trials, the small version: a handful of levers, each really turned."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest

from chatter.lab.simulate.stability import judge_pass
from chatter.lab.trials.__main__ import main
from chatter.lab.trials.judge import room
from chatter.lab.trials.levers import NOT_TRIED, RULES_NOT_TRIED, Turned, turn
from chatter.lab.trials.run import (
    GROUPS,
    TrialOutcome,
    run_trials,
    tried_rules,
    try_case,
    why_not_tried,
)
from chatter.lab.trials.scenes import attentive_job, drawn
from chatter.lab.trials.table import outcomes_json, rows, trial_lines
from chatter.trade.rules import rule_table

#: Group -> (seed, rules that must make the true cut better there).
_SMALL = {
    "end mill chatters": (13, ("speed_step", "unequal_end_mill", "half_depth")),
    "plain saw rubs": (4007, ("relieved_cutter",)),
    "clipped": (8009, ("mend_recording",)),
}


def test_a_cut_that_tore_itself_out_is_passed_over(monkeypatch):
    def torn(*_):
        raise ValueError("the cut of this scene tore itself out of the work")

    monkeypatch.setattr("chatter.lab.trials.run.simulate", torn)
    assert list(run_trials(1, jobs=1, groups=GROUPS[:1])) == []


@pytest.fixture(scope="module")
def outcomes() -> dict[str, TrialOutcome]:
    found = {}
    for group in GROUPS:
        if group.name in _SMALL:
            seed, names = _SMALL[group.name]
            one = replace(group, rules=names)
            found |= {each.rule: each for each in try_case(one, seed)}
    return found


@pytest.mark.parametrize("rule", [name for _, names in _SMALL.values() for name in names])
def test_the_rule_fires_and_the_true_cut_gets_better(outcomes, rule):
    assert outcomes[rule].fired, outcomes[rule].note
    assert outcomes[rule].improved, outcomes[rule].note


@pytest.mark.parametrize("rule", ["relieved_cutter", "mend_recording"])
def test_the_next_recording_shows_what_the_rule_said(outcomes, rule):
    assert outcomes[rule].confirmed, outcomes[rule].note


@pytest.fixture(scope="module")
def chattering():
    return drawn(7, "chatter_hopf", "end_mill", chatters=True)


def test_a_trial_scene_is_what_it_is_said_to_be(chattering):
    plan = chattering.passes[0]
    assert judge_pass(chattering, plan).chatters
    assert room(chattering) < 1.0  # softer than its limit
    quiet = drawn(7, "side_rubbing", "saw", chatters=False)
    assert room(quiet) > 1.0 and quiet.rub is not None
    assert (plan.end_s - plan.start_s) * chattering.rev_min / 60 >= 16.0
    job = attentive_job(chattering, overhang=4.0)
    assert job.cut.overhang_m == pytest.approx(4.0 * chattering.diameter_m)
    assert chattering.stated.rev_min in job.machine.speeds_rev_min


def test_levers_turn_what_they_say(chattering):
    def turned(lever, quantity, **more):
        return turn(chattering, Turned(lever, quantity, **more))

    before = chattering.passes[0]
    faster = turned("set_speed", 1.25 * chattering.stated.rev_min)
    assert faster.rev_min == pytest.approx(1.25 * chattering.rev_min)
    assert faster.passes[0].chip_load_m == before.chip_load_m
    assert turned("scale_depth", 0.5).passes[0].width_m == pytest.approx(0.5 * before.width_m)
    gaps = np.diff(turned("stagger", 0.2).teeth.at_turns) * chattering.teeth.count
    assert np.ptp(gaps) == pytest.approx(0.2)
    fewer = turned("fewer_teeth", 0.5)
    feeds = [
        one.passes[0].chip_load_m * one.teeth.count * one.rev_min for one in (chattering, fewer)
    ]
    assert feeds[1] == pytest.approx(feeds[0]) and fewer.teeth.count < chattering.teeth.count
    even = turned("even_teeth", 1e-6).teeth
    assert np.ptp(even.height_m) <= 1.0001e-6 and even.bluntness == chattering.teeth.bluntness
    ground = turned("even_teeth", 1e-6, regrind=True).teeth
    assert set(ground.bluntness) == {1.0}
    assert turned("set_direction", -1.0).passes[0].direction == "climb"
    top = max(chattering.modes, key=lambda m: m.frequency_hz)
    stiff = turned("stiffen", 2.0, chatter_hz=10 * top.frequency_hz).modes
    changed = [b for a, b in zip(chattering.modes, stiff, strict=True) if a != b]
    assert len(changed) == 1 and changed[0].mass_kg == pytest.approx(top.mass_kg)
    assert changed[0].frequency_hz == pytest.approx(math.sqrt(2.0) * top.frequency_hz)
    saw = drawn(7, "side_rubbing", "saw", chatters=False)
    half = turn(saw, Turned("scale_depth", 0.5))
    assert half.immersion == pytest.approx(0.5 * saw.immersion)
    assert half.passes[0].arc_turns < saw.passes[0].arc_turns
    assert turn(saw, Turned("relieve_sides", None)).rub is None
    with pytest.raises(KeyError):
        turned("lubricate", 1.0)


def test_every_rule_is_tried_or_has_its_reason():
    known = {rule.name: rule.lever for rule in rule_table().rules}
    assert set(known) == tried_rules() | set(why_not_tried())
    assert set(RULES_NOT_TRIED) <= set(known) and set(NOT_TRIED) <= set(rule_table().levers)
    assert not tried_rules() & set(RULES_NOT_TRIED)
    assert not {known[name] for name in tried_rules()} & set(NOT_TRIED)


def test_the_table_counts_and_tells_what_was_not_tried():
    made = [
        TrialOutcome("half_depth", "scale_depth", 0.5, "g", 1, True, True, False, True, "x"),
        TrialOutcome("half_depth", "scale_depth", 0.5, "g", 2, True, True, True),
        TrialOutcome("half_depth", "scale_depth", None, "g", 3, False),
        TrialOutcome("speed_step", "set_speed", 900.0, "g", 3, True),
    ]
    first, second = rows(made)
    assert (first.cases, first.fired, first.improved) == (3, 2, 2)
    assert (first.confirmed, first.untold, second.improved) == (1, 1, 0)
    text = "\n".join(trial_lines(made))
    assert "fired 3 of 4; of these the true cut got better in 2" in text
    assert "cast_iron_dry: the simulator has no friction" in text
    assert json.loads(outcomes_json(made))["rows"][0]["rule"] == "half_depth"


def test_the_same_seed_gives_the_same_outcome(outcomes):
    again = list(
        run_trials(1, seed=4007, jobs=1, groups=[g for g in GROUPS if g.name == "plain saw rubs"])
    )
    assert again == [outcomes["relieved_cutter"]]


def test_a_wrong_count_is_refused_in_one_sentence(capsys):
    assert main(["--cases", "0"]) == 2
    assert capsys.readouterr().err.count("\n") == 1
