"""The front door on demo recordings: two cutters on one job, and the same one twice."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from chatter.comparing import CutterTakes, compare
from chatter.errors import JobError
from chatter.job.cards import load_job
from chatter.plain import to_json

DEMO = Path(__file__).resolve().parents[2] / "recordings_demo"
PLAIN, STAGGERED, LOUD = "02-slot-plain-saw.m4a", "03-slot-staggered.m4a", "08-too-loud.mp3"


def cutter(name: str, *files: str) -> CutterTakes:
    paths = [DEMO / one for one in files]
    return CutterTakes(name, tuple((p, load_job(p.with_suffix(".toml"))) for p in paths))


@pytest.fixture(scope="module")
def two():
    return compare([cutter("plain", PLAIN), cutter("staggered", STAGGERED)])


def by_family(comparison):
    return {one.family: one for one in comparison.differences}


def test_the_rubbing_cutter_is_told_from_the_other(two):
    found = two.comparison
    rubbing = by_family(found)["rubbing"]
    assert found.verdict == "difference"
    assert rubbing.said == "shown"
    assert rubbing.high_db < 0  # the second rubs less
    # Neither chatters: none is named, and what listening holds possible all the same is told.
    chatter = by_family(found)["chatter"]
    assert chatter.said != "shown" and chatter.difference_db is None
    told = "a chance of" in chatter.sentence
    assert told or "none heard in either" in chatter.sentence
    assert told == ("chatter: none shown in either" not in found.summary)


def test_it_says_that_the_jobs_differ_in_feed(two):
    assert any("table feed" in one for one in two.comparison.warnings)
    assert not any("depth" in one for one in two.comparison.warnings)


def test_speeds_and_turns_are_those_heard(two):
    for side in two.comparison.sides:
        (take,) = side.takes
        assert take.used
        assert take.speed_from == "heard"
        # 55.4 rev/min for 24.5 s of full cut, half a turn and unlike rows less
        assert 17 < take.turns < 24
    assert two.comparison.simulated


def test_the_same_recording_twice_shows_no_difference():
    found = compare([cutter("a", STAGGERED), cutter("b", STAGGERED)]).comparison
    assert found.verdict == "no_difference"
    assert all(one.difference_db in (None, 0.0) for one in found.differences)
    assert found.summary.startswith("No difference shown: a change of rubbing by more than")
    assert "chatter: none shown in either" in found.summary


def test_the_order_of_the_cutters_only_turns_the_sign(two):
    other = compare([cutter("staggered", STAGGERED), cutter("plain", PLAIN)]).comparison
    for one, turned in zip(two.comparison.differences, other.differences, strict=True):
        if one.difference_db is not None:
            assert turned.difference_db == pytest.approx(-one.difference_db, rel=0.1, abs=0.3)


def test_a_clipped_recording_is_left_out_with_its_reason():
    found = compare([cutter("plain", PLAIN), cutter("loud", LOUD)]).comparison
    assert found.verdict == "cannot_tell"
    (take,) = found.sides[1].takes
    assert not take.used
    assert "Clipped" in take.reason


def test_a_clipped_take_beside_a_good_one_does_no_harm(two):
    found = compare([cutter("plain", PLAIN, LOUD), cutter("staggered", STAGGERED)]).comparison
    assert [take.used for take in found.sides[0].takes] == [True, False]
    rubbing = by_family(found)["rubbing"]
    assert rubbing.difference_db == pytest.approx(
        by_family(two.comparison)["rubbing"].difference_db, abs=1.0
    )


def test_three_cutters_are_ranked():
    again = cutter("again", STAGGERED)
    found = compare([cutter("plain", PLAIN), cutter("staggered", STAGGERED), again]).comparison
    rank = next(one for one in found.rankings if one.family == "rubbing")
    assert {p.name: p.place for p in rank.places} == {"staggered": 1, "again": 1, "plain": 3}


def test_other_conditions_are_told():
    plain, other = cutter("plain", PLAIN), cutter("staggered", STAGGERED)
    path, job = other.takes[0]
    cut = replace(job.cut, depth_m=0.006, material="low_carbon_steel", direction="climb")
    machine = replace(job.machine, name="the other mill")
    changed = CutterTakes("other", ((path, replace(job, cut=cut, machine=machine)),))
    said = " ".join(compare([plain, changed]).comparison.warnings)
    for word in ("depth of cut", "material is", "low carbon steel", "direction", "the other mill"):
        assert word in said


def test_the_json_holds_everything(two):
    plain = json.loads(to_json(two.comparison))
    assert plain["schema_version"] == 1
    assert {one["family"] for one in plain["differences"]} >= {"rubbing", "chatter", "squeal"}
    assert plain["sides"][0]["takes"][0]["features_db"]["swell_high"] > 5.0


def test_three_jobs_are_told_in_one_sentence_for_each_quantity():
    uneven = cutter("uneven", "05-saw-uneven.ogg")
    three = [cutter("plain", PLAIN), cutter("staggered", STAGGERED), uneven]
    said = compare(three).comparison.warnings
    depth = [one for one in said if "depth of cut" in one]
    assert depth == [
        "Not the same job: depth of cut is 12 mm for plain and staggered, 8 mm for uneven, "
        "which changes the sound by itself."
    ]
    assert any("ogg (opus, 48000 Hz)" in one for one in said)


@pytest.mark.parametrize(
    ("cutters", "told"),
    [
        ([cutter("plain", PLAIN)], "at least two"),
        ([cutter("plain", PLAIN), CutterTakes("none", ())], "no recording of 'none'"),
        ([cutter("plain", PLAIN), cutter("plain", STAGGERED)], "called 'plain'"),
    ],
)
def test_what_cannot_be_compared_is_said(cutters, told):
    with pytest.raises(JobError, match=told):
        compare(cutters)
