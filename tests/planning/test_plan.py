"""Plans: steps of the machine, first choice, step up, warnings, what is missing."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chatter.errors import JobError
from chatter.job.build import read_statement
from chatter.job.cutter import BORED_OR_TURNED, FORMS
from chatter.job.words import TOOL_MATERIALS, materials
from chatter.planning.front import Plan, plan_stated
from chatter.planning.steps import NEAR

INCH = 0.0254
SLOT = {
    "cutter.teeth": "48",
    "cutter.form": "saw",
    "cutter.diameter": "6 in",
    "cutter.width": "1/8 in",
    "cutter.material": "hss",
    "cutter.side_relief": "yes",
    "cutter.collar_diameter": "2 in",
    "cut.material": "cast iron",
    "cut.depth": "1/4 in",
    "cut.length": "10 in",
    "cut.direction": "conventional",
    "machine.speeds": "25 38 57 85 120",
    "machine.feeds": "0.5, 0.75, 1.125, 1.75, 2.5, 4, 6 in/min",
    "machine.motor_power": "2 hp",
    "machine.backlash": "yes",
}


def planned(system: str = "inch", **changes: str | None) -> Plan:
    stated = {**SLOT, **{key.replace("__", "."): value for key, value in changes.items()}}
    return plan_stated(read_statement(stated), system)


def all_words(plan: Plan) -> str:
    return " ".join([*plan.warnings, *(p for one in plan.settings for p in one.problems)])


def test_exact_speeds_follow_from_cutting_speeds() -> None:
    # 50, 80 and 100 ft/min on 6 in: n = 12 V / (pi D)
    plan = planned()
    assert plan.rev_min_range == pytest.approx((600 / (6 * math.pi), 1200 / (6 * math.pi)))
    assert plan.rev_min_target == pytest.approx(960 / (6 * math.pi))


def test_steps_either_side_are_shown() -> None:
    # the range is 31.8 to 63.7: one step below, those inside, one above
    speeds = sorted({one.rev_min for one in planned().settings})
    assert speeds == [25.0, 38.0, 57.0, 85.0]
    for rev_min in speeds:
        chips = [one.chip_load_m / INCH for one in planned().settings if one.rev_min == rev_min]
        assert min(chips) <= 0.001 < max(chips)


def test_what_a_setting_gives() -> None:
    plan = planned()
    one = next(s for s in plan.settings if s.rev_min == 38 and s.feed_m_s * 60 / INCH < 1.8)
    assert one.on_machine
    assert one.cutting_speed_m_s * 60 / 0.3048 == pytest.approx(math.pi * 0.5 * 38)
    assert one.chip_load_m / INCH == pytest.approx(1.75 / (38 * 48))
    assert one.tooth_passing_hz == pytest.approx(38 * 48 / 60)
    approach = math.sqrt(0.25 * (6 - 0.25))
    assert one.time_s == pytest.approx((10 + approach) / 1.75 * 60)
    x = 0.25 / 6
    assert one.chip_max_m == pytest.approx(one.chip_load_m * 2 * math.sqrt(x * (1 - x)))
    assert plan.contact.teeth == pytest.approx(48 * math.acos(1 - 2 * x) / (2 * math.pi))


def test_power_by_specific_cutting_energy() -> None:
    one = planned(cut__depth="1 in").first
    removed_m3_s = 1.0 * 0.125 * INCH**2 * one.feed_m_s
    energy = 1.6e9 * (one.chip_mean_m / 0.25e-3) ** -0.25  # mean chips here are above 5 um
    assert one.chip_mean_m > 5e-6
    sharp = removed_m3_s * energy / 0.75
    assert one.power_w == pytest.approx((0.7 * sharp, 1.3 * 1.4 * sharp))
    assert one.motor_share == pytest.approx(one.power_w[1] / 1491.4, rel=1e-4)


def test_first_choice_is_careful_and_a_step_of_the_machine() -> None:
    first = planned().first
    assert first.on_machine
    assert first.problems == ()
    # 80 ft/min are 50.9 rev/min, and 57 is as near to that as a gearbox goes
    assert first.rev_min == 57
    assert first.chip_load_m / INCH == pytest.approx(2.5 / (57 * 48))  # below the start of .001


def test_step_up_raises_feed_before_speed() -> None:
    said = planned(machine__speeds="25 38 57 62 85").step_up
    feed = next(i for i, line in enumerate(said) if "raise the feed to 4 in/min" in line)
    speed = next(i for i, line in enumerate(said) if "raise the speed to 62 rev/min" in line)
    assert 0 < feed < speed
    assert "0.003 in/tooth" in said[-1]


def test_a_small_motor_gets_less_depth_at_the_right_chip() -> None:
    strong, weak = (planned(cut__depth="1 in", machine__motor_power=p) for p in ("2 hp", "0.4 hp"))
    assert strong.passes.count == 1 and weak.passes.count > 1
    assert weak.first.feed_m_s == strong.first.feed_m_s
    assert weak.first.motor_share <= 1.0
    assert "the motor does not carry more" in weak.warnings[0]
    hopeless = planned(cut__depth="1.8 in", machine__motor_power="0.0135 hp", cutter__teeth="90")
    assert "of the motor: take less depth at the same chip load" in all_words(hopeless)
    assert "least bad" in hopeless.step_up[0]


def test_the_marked_speed_is_never_exceeded_by_the_first_choice() -> None:
    plan = planned(cutter__max_speed="30")
    assert plan.first.rev_min == 25
    assert "above the speed marked on the cutter, 30 rev/min" in all_words(plan)
    assert planned(cutter__max_speed="30", machine__speeds=None).first.rev_min == 30


def test_nothing_faster_than_advised_or_marked_is_ever_chosen() -> None:
    for plan in (
        planned(machine__speeds="70 90"),  # 100 ft/min on 6 in are 63.7 rev/min
        planned(machine__speeds="40", cutter__max_speed="39"),
    ):
        assert plan.first is None
        assert plan.step_up == ()
        assert "slowest of the machine's speeds" in " ".join(plan.warnings)
    assert planned(machine__speeds="50 90").first.rev_min == 50


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        (
            {"cut__speed": "57", "cut__feed": "0.5 in/min"},
            "is below 0.0005 in/tooth: the teeth rub",
        ),
        (
            {"cut__speed": "38", "cut__feed": "6 in/min"},
            "above the table, which ends at 0.003 in/tooth: such a cutter breaks",
        ),
        ({"cut__speed": "38", "cut__chip_load": "0.004 in/tooth"}, "above the table, which ends"),
        ({"cut__speed": "120"}, "above the advised 100 ft/min"),
        ({"cut__speed": "10"}, "safe, but slow"),
        (
            {"cut__depth": "0.01 in", "cut__chip_load": "0.0008 in/tooth", "cut__speed": "38"},
            "thins the chip",
        ),
        ({"cut__depth": "2 in"}, "cannot cut 2 in deep: the collars of 2 in would touch at 2 in"),
        ({"cut__depth": "1.95 in"}, "Only 0.05 in are left"),
        ({"cut__depth": "2 in", "cutter__collar_diameter": None}, "measure that arbor collars"),
        ({"cut__depth": "3 in", "cutter__collar_diameter": None}, "its own centre would touch"),
        (
            {"cut__depth": "2.6 in", "cutter__collar_diameter": None, "machine__arbors": "1 in"},
            "bare arbor, without any collar, of 1 in would touch at 2.5 in",
        ),
        ({"cut__direction": "climb"}, "change to conventional"),
        ({"cut__direction": "climb", "machine__backlash": None}, "backlash is not stated"),
        ({"cutter__side_relief": "no", "cut__depth": "1 in"}, "rubs its sides"),
        ({"cutter__teeth": "4", "cut__depth": "0.1 in"}, "knocks at every tooth"),
        (
            {"cutter__teeth": "100", "cutter__form": "side mill", "cut__depth": "1 in"},
            "more teeth in the slot at once clog",
        ),
        ({"cut__width": "1/4 in"}, "a saw cuts its own width"),
        ({"cut__direction": None}, "feed the work against the teeth"),
        ({"cut__direction": None}, "Fed with the teeth (climb milling)"),
        ({"cut__depth": "1.5 in"}, "1.5 in is too deep for one pass: take 2 of 0.75 in"),
    ],
)
def test_warnings(changes: dict, says: str) -> None:
    assert says not in " ".join(planned().warnings)
    assert says in " ".join(planned(**changes).warnings)


@pytest.mark.parametrize(
    ("inches", "says"),
    [
        ("0.00048", "the teeth rub"),  # the limits are .0005 and .003 in
        ("0.00052", None),
        ("0.0029", None),
        ("0.0031", "above the table"),
    ],
)
def test_chip_limits_are_where_the_table_has_them(inches: str, says: str | None) -> None:
    changes = {"cut__speed": "38", "cut__chip_load": f"{inches} in/tooth", "cut__depth": "0.9 in"}
    own = next(one for one in planned(**changes).settings if one.label == "as stated")
    said = " ".join(own.problems)
    assert says in said if says else not said


def test_a_feed_below_the_start_is_preferred_to_a_nearer_one_above() -> None:
    # at 25 rev/min: 0.84 in/min is .0007 in/tooth, 1.44 in/min is .0012; the start is .001
    first = planned(machine__speeds="25", machine__feeds="0.84, 1.44 in/min").first
    assert first.chip_load_m / INCH == pytest.approx(0.0007)


def test_a_good_plan_warns_of_nothing() -> None:
    assert planned().warnings == ()


def test_climb_without_backlash_is_no_problem() -> None:
    assert planned(cut__direction="climb", machine__backlash="no").warnings == ()


def test_without_machine_steps_exact_values_are_given() -> None:
    plan = planned(machine__speeds=None, machine__feeds=None)
    assert plan.first.rev_min == pytest.approx(plan.rev_min_target)
    assert plan.first.chip_load_m / INCH == pytest.approx(0.001, rel=1e-6)
    assert not plan.first.on_machine
    assert any("machine's speeds" in line for line in plan.missing)


def test_teeth_alone_still_give_an_answer() -> None:
    plan = plan_stated(read_statement({"cutter.teeth": "48", "cut.speed": "57"}))
    assert plan.first is None
    assert [one.tooth_passing_hz for one in plan.settings] == pytest.approx([45.6])
    said = " ".join(plan.missing)
    for word in ("work material", "cutter diameter", "cutter form", "depth of cut", "motor power"):
        assert word in said
    with pytest.raises(JobError, match="number of teeth is missing"):
        plan_stated({})


def test_sentences_follow_the_system_of_units() -> None:
    for system, own, other in (("inch", "in/tooth", "mm"), ("metric", "mm/tooth", " in/")):
        plan = planned(system, cut__speed="57", cut__feed="0.5 in/min", cut__depth="1.95 in")
        words = " ".join([*plan.warnings, *plan.step_up])
        assert own in words
        assert other not in words


def test_sources_and_cautions_come_along() -> None:
    plan = planned()
    assert [line.split(" (")[0] for line in plan.sources] == ["cutting speed", "chip load", "power"]
    assert any("dust" in line for line in plan.cautions)


@settings(deadline=None, max_examples=60)
@given(
    form=st.sampled_from([f for f in FORMS if f not in (*BORED_OR_TURNED, "band_saw")]),
    material=st.sampled_from(sorted(materials())),
    tool=st.sampled_from(TOOL_MATERIALS),
    teeth=st.integers(1, 120),
    diameter_mm=st.floats(2, 400),
    speeds=st.sets(st.integers(20, 4000), max_size=8),
    feeds=st.sets(st.integers(5, 2000), max_size=8),
    depth_mm=st.one_of(st.none(), st.floats(0.05, 60)),
)
def test_any_plan_keeps_its_promises(
    form: str,
    material: str,
    tool: str,
    teeth: int,
    diameter_mm: float,
    speeds: set[int],
    feeds: set[int],
    depth_mm: float | None,
) -> None:
    stated: dict[str, object] = {
        "cutter.teeth": teeth,
        "cutter.form": form,
        "cutter.material": tool,
        "cutter.diameter": f"{diameter_mm!r} mm",
        "cut.material": material,
        "cut.depth": None if depth_mm is None else f"{depth_mm!r} mm",
        "machine.speeds": sorted(speeds) or None,
        "machine.feeds": [f"{each} mm/min" for each in sorted(feeds)] or None,
    }
    plan = plan_stated(read_statement(stated))
    if speeds and min(speeds) > plan.rev_min_range[1] * 1.001:
        assert plan.first is None
        return
    assert plan.first.rev_min <= plan.rev_min_range[1] * 1.001
    assert plan.first in plan.settings
    assert sum(one.label == "first choice" for one in plan.settings) == 1
    for one in plan.settings:
        if speeds:
            assert one.rev_min in speeds
        assert one.tooth_passing_hz == pytest.approx(one.rev_min * teeth / 60)
        assert one.feed_m_s == pytest.approx(one.chip_load_m * teeth * one.rev_min / 60)
    slow = [one for one in plan.settings if one.rev_min <= plan.rev_min_range[1]]
    clean = [one for one in slow if not one.problems]
    if clean:  # the first choice never carries a real problem when another setting has none
        assert all("slow" in problem for problem in plan.first.problems)
    slow_enough = [one for one in clean if one.rev_min <= plan.rev_min_target]
    if slow_enough:
        assert plan.first.rev_min <= plan.rev_min_target * NEAR
