"""Building, merging and serialising jobs; every refusal is one clear sentence."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chatter.errors import JobError
from chatter.job.build import build_job, job_from_plain, merge_job, read_statement
from chatter.job.cutter import FORMS
from chatter.job.schema import SECTIONS
from chatter.plain import to_plain

LEAST = {"cut.speed": "57", "cutter.teeth": "48"}
FULL = {
    **LEAST,
    "cutter.form": "slitting saw",
    "cutter.diameter": "6 in",
    "cutter.width": "1/16 in",
    "cutter.material": "HSS",
    "cutter.side_relief": "no",
    "cutter.max_speed": "250 rpm",
    "cut.material": "cast iron",
    "cut.depth": "25 mm",
    "cut.feed": "1 in/min",
    "cut.direction": "up",
    "machine.speeds": "38 57 85 120",
    "machine.feeds": "20, 31.5, 50 mm/min",
    "machine.mains": "50 Hz",
    "machine.backlash": "yes",
    "take.span": "0:12-1:30",
}


def test_speed_and_teeth_are_enough() -> None:
    job = build_job(LEAST)
    assert (job.cut.speed_rev_min, job.cutter.teeth) == (57.0, 48)
    assert job.cutter.form is None
    assert job.machine.speeds_rev_min == ()


def test_one_tooth_is_legal() -> None:
    assert build_job({"cut.speed": "200", "cutter.teeth": "1"}).cutter.teeth == 1


def test_everything_stated_arrives() -> None:
    job = build_job(FULL)
    assert job.cutter.form == "slitting_saw"
    assert job.cutter.diameter_m == 0.1524
    assert job.cutter.side_relief is False
    assert job.cutter.max_rev_min == 250.0
    assert job.cut.material == "grey_cast_iron_medium"
    assert job.cut.direction == "conventional"
    assert job.machine.speeds_rev_min == (38.0, 57.0, 85.0, 120.0)
    assert job.machine.feeds_m_s == pytest.approx((0.02 / 60, 0.0315 / 60, 0.05 / 60))
    assert job.machine.table_backlash is True
    assert job.take.span_s == (12.0, 90.0)


def test_steps_are_kept_ascending() -> None:
    job = build_job({**LEAST, "machine.speeds": [120, 38, 57], "machine.feeds": "2, 1 in/min"})
    assert job.machine.speeds_rev_min == (38.0, 57.0, 120.0)
    assert job.machine.feeds_m_s == pytest.approx((0.0254 / 60, 0.0508 / 60))


def test_chip_load_becomes_a_feed() -> None:
    job = build_job({**LEAST, "cut.chip_load": "0.05 mm/tooth"})
    # 0.05 mm x 48 teeth x 57 rev/min = 136.8 mm/min
    assert job.cut.feed_m_s == pytest.approx(0.1368 / 60, rel=1e-12)
    assert job.chip_load_m == pytest.approx(5e-5, rel=1e-12)


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"cut.speed": None}, "speed is missing"),
        ({"cutter.teeth": None}, "number of teeth is missing"),
        ({"cutter.teeth": "0"}, "number of teeth 0 "),
        ({"cutter.teeth": "-4"}, "number of teeth -4 "),
        ({"cutter.teeth": "1000000000"}, "number of teeth 1000000000 "),
        ({"cutter.teeth": "4.5"}, "not a whole number"),
        ({"cutter.teeth": True}, "not a whole number"),
        ({"cut.speed": "-57"}, "not above zero"),
        ({"cut.speed": "0"}, "not above zero"),
        ({"cut.speed": "1e9"}, "not between 1 rev/min and 60000 rev/min"),
        ({"cut.speed": float("nan")}, "not a number"),
        ({"cut.material": "mild stel"}, "did you mean 'low_carbon_steel'"),
        ({"cut.material": "cheese"}, "choose one of grey_cast_iron_soft"),
        ({"cutter.form": "sliting saw"}, "did you mean 'slitting_saw'"),
        ({"cut.depth": "9 m"}, "not between"),
        ({"cut.depht": "9 mm"}, "did you mean 'depth'"),
        ({"cut.feed": "1 in/min", "cut.chip_load": "0.1 mm/tooth"}, "both stated"),
        ({"cutter.form": "single_point"}, "one tooth, not 48"),
        ({"cutter.diameter": "2 in", "cutter.collar_diameter": "60 mm"}, "no smaller than"),
        ({"cutter.side_relief": "perhaps"}, "neither yes nor no"),
        ({"machine.motor_poles": "3"}, "odd"),
        ({"machine.speeds": "57 57"}, "same value twice"),
        ({"machine.feeds": "1 2 3"}, "no unit"),
        ({"cuter.teeth": "4"}, "not a thing to state"),
    ],
)
def test_refusals(changes: dict, says: str) -> None:
    with pytest.raises(JobError, match=says) as caught:
        build_job({**LEAST, **changes})
    assert str(caught.value).count("\n") == 0


@pytest.mark.parametrize(
    ("word", "key"),
    [
        ("grey cast iron", "grey_cast_iron_medium"),
        ("Grey cast iron, hard".replace(",", ""), "grey_cast_iron_hard"),
        ("1018", "low_carbon_steel"),
        ("EN8", "medium_carbon_steel"),
        ("42CrMo4", "alloy_steel"),
        ("stainless", "stainless_steel"),
        ("aluminum", "aluminium"),
    ],
)
def test_material_words(word: str, key: str) -> None:
    assert build_job({**LEAST, "cut.material": word}).cut.material == key


def test_the_command_line_wins_over_the_card() -> None:
    card = build_job(FULL)
    merged = merge_job(card, {"cut.speed": "85", "cut.depth": None})
    assert merged.cut.speed_rev_min == 85.0
    assert merged.cut.depth_m == 0.025
    assert merged.cutter == card.cutter
    loaded = merge_job(card, {"cut.chip_load": "0.01 mm/tooth"})
    assert loaded.chip_load_m == pytest.approx(1e-5)
    assert merge_job(None, LEAST) == build_job(LEAST)


def test_plain_data_survive_json() -> None:
    job = build_job(FULL)
    assert job_from_plain(json.loads(json.dumps(to_plain(job)))) == job


def test_plain_data_are_checked() -> None:
    plain = to_plain(build_job(FULL))
    for section, name, value in (
        ("cutter", "teeth", 0),
        ("cut", "speed_rev_min", "57"),
        ("cut", "depth_m", -1.0),
        ("cut", "colour", "red"),
        ("take", "span_s", [5.0, 1.0]),
        ("machine", "speeds_rev_min", 57.0),
    ):
        with pytest.raises(JobError):
            job_from_plain({**plain, section: {**plain[section], name: value}})


NAMES = [f"{section}.{each.key}" for section, known in SECTIONS.items() for each in known]
ANYTHING = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.floats(),
    st.text(max_size=20),
    st.sampled_from(["6 in", "10 in/min", "50 Hz", "2 hp", "1-2", "cast iron", *FORMS]),
    st.lists(st.one_of(st.text(max_size=5), st.integers()), max_size=3),
    st.lists(st.dictionaries(st.text(max_size=5), st.text(max_size=5), max_size=2), max_size=2),
)


@given(stated=st.dictionaries(st.sampled_from(NAMES), ANYTHING, max_size=6))
def test_anything_stated_gives_a_job_or_a_sentence(stated: dict) -> None:
    try:
        job = build_job({**LEAST, **stated})
    except JobError as error:
        assert "\n" not in str(error)
    else:
        assert job_from_plain(json.loads(json.dumps(to_plain(job)))) == job


@given(
    plain=st.dictionaries(
        st.sampled_from([*SECTIONS, "x"]),
        st.dictionaries(
            st.sampled_from(
                [each.attribute for known in SECTIONS.values() for each in known] + ["x"]
            ),
            ANYTHING,
            max_size=4,
        ),
        max_size=4,
    )
)
def test_any_plain_data_give_a_job_or_a_sentence(plain: dict) -> None:
    try:
        job_from_plain(plain)
    except JobError as error:
        assert str(error)


@pytest.mark.parametrize(
    ("typed", "speeds"),
    [
        ("20, 31.5, 50", (20, 31.5, 50)),
        ("20; 31,5; 50", (20, 31.5, 50)),
        ("38,57,85", (38, 57, 85)),
        ("38 57 85", (38, 57, 85)),
    ],
)
def test_lists_of_speeds_are_read_with_either_decimal_sign(typed, speeds) -> None:
    assert read_statement({"machine.speeds": typed})["machine.speeds"] == speeds


def test_a_list_in_which_a_comma_could_be_either_is_refused() -> None:
    with pytest.raises(JobError, match="semicolon"):
        read_statement({"machine.speeds": "20, 31,5, 50"})
