"""Plans for what is no milling cutter, the depth of a pass, and what must never be planned."""

from __future__ import annotations

import math

import pytest

from chatter.errors import JobError
from chatter.job.build import read_statement
from chatter.planning.band import advised_pitch_m, tooth_passing_hz
from chatter.planning.front import Plan, advice_lines, plan_stated

INCH = 0.0254
FT_MIN = 60 / 0.3048


def planned(system: str = "inch", **stated: str) -> Plan:
    values = {key.replace("__", "."): value for key, value in stated.items()}
    return plan_stated(read_statement(values), system)


def words(plan: Plan) -> str:
    return " ".join((*plan.warnings, *plan.missing, *plan.step_up, *advice_lines(plan, "inch")))


BAR = {
    "cutter__form": "boring bar",
    "cutter__diameter": "1/2 in",
    "cut__work_diameter": "2 in",
    "cut__material": "mild steel",
    "cut__depth": "0.03 in",
}


def test_a_bar_in_a_bore_is_not_four_times_too_fast() -> None:
    plan = planned(**BAR)
    assert plan.first.cutting_speed_m_s * FT_MIN == pytest.approx(100)
    assert plan.first.rev_min == pytest.approx(12 * 100 / (math.pi * 2))  # on the bore, not the bar
    unknown = planned(**{k: v for k, v in BAR.items() if k != "cut__work_diameter"})
    assert unknown.first is None and "of the work or the bore" in words(unknown)
    assert any("chuck" in line and "marked" in line for line in plan.cautions)


def test_a_long_bar_is_told_so_and_run_slower() -> None:
    short, long = planned(**BAR, cut__overhang="1.5 in"), planned(**BAR, cut__overhang="3 in")
    assert "6.0 times its diameter" in words(long) and "times its diameter" not in words(short)
    assert long.first.rev_min < short.first.rev_min
    with pytest.raises(JobError, match="does not go into a bore"):
        planned(**{**BAR, "cutter__diameter": "2 in"})


def test_power_of_turning() -> None:
    """Depth x feed x speed x energy: 0.05 in, 0.006 in, 100 ft/min in mild steel."""
    plan = planned(
        cutter__form="turning tool",
        cut__work_diameter="2 in",
        cut__material="mild steel",
        cut__depth="0.05 in",
    )
    one = plan.first
    removed = 0.05 * INCH * one.chip_load_m * one.cutting_speed_m_s
    sharp = removed * 1.6e9 * (one.chip_load_m / 0.25e-3) ** -0.25 / 0.75
    assert one.power_w == pytest.approx((0.7 * sharp, 1.3 * 1.4 * sharp))


def test_carbide_is_chosen_inside_its_range_or_not_at_all() -> None:
    stated = {
        "cutter__form": "end mill",
        "cutter__teeth": "4",
        "cutter__diameter": "1/2 in",
        "cutter__material": "carbide",
        "cut__material": "mild steel",
        "cut__depth": "0.1 in",
    }
    inside = planned(**stated, machine__speeds="300 600 1200 1700 2600").first
    assert 180 <= inside.cutting_speed_m_s * FT_MIN <= 492
    slow = planned(**stated, machine__speeds="100 300 600")
    said = " ".join((*slow.warnings, *slow.step_up))
    assert "edges chip" in said and "high-speed steel" in said and "safe" not in said


@pytest.mark.parametrize(
    "metal", ["aluminium bronze", "phosphor bronze", "gunmetal", "manganese bronze", "naval brass"]
)
def test_no_bronze_is_taken_for_aluminium(metal: str) -> None:
    plan = planned(cutter__teeth="4", cut__material=metal, cutter__diameter="1/2 in")
    assert plan.speeds.high_m_s * FT_MIN <= 201


@pytest.mark.parametrize("metal", ["beryllium copper", "silicon bronze", "4141", "lead", "c63200"])
def test_an_unknown_metal_gets_no_hint_of_another(metal: str) -> None:
    with pytest.raises(JobError) as told:
        read_statement({"cut.material": metal})
    assert "did you mean" not in str(told.value)


def test_hardened_4140_is_not_annealed_4140() -> None:
    soft, hard = (planned(cutter__teeth="4", cut__material=m) for m in ("4140", "4140 hardened"))
    assert hard.speeds.high_m_s < soft.speeds.high_m_s
    assert any("annealed and hardened" in line for line in soft.cautions)


def test_magnesium_and_gangs_are_refused_with_a_reason() -> None:
    with pytest.raises(JobError, match="chips burn"):
        read_statement({"cut.material": "magnesium"})
    with pytest.raises(JobError, match="cannot be planned or listened to as one yet"):
        read_statement({"cutter.form": "gang"})


SAW = {
    "cutter__form": "saw",
    "cutter__teeth": "100",
    "cutter__diameter": "4 in",
    "cut__material": "mild steel",
    "cut__depth": "3/4 in",
}


def test_depth_of_a_pass_is_a_number_with_its_reasons() -> None:
    plan = planned(**SAW, cutter__width="0.032 in", cutter__collar_diameter="1.5 in")
    names = {one.name for one in plan.passes.limits}
    assert names == {"teeth", "gullet", "width", "stiffness", "collars"}
    # eight teeth of 100: a = D/2 (1 - cos(2 pi 8/100))
    teeth = next(one.depth_m for one in plan.passes.limits if one.name == "teeth")
    assert teeth == pytest.approx(2 * INCH * (1 - math.cos(0.16 * math.pi)))
    # gullet: (pi D/N)^2 / 4 = 5 x feed x depth
    gullet = next(one.depth_m for one in plan.passes.limits if one.name == "gullet")
    pitch = math.pi * 4 * INCH / 100
    assert gullet == pytest.approx(pitch**2 / 4 / (5 * plan.chips.start_m))
    assert plan.passes.count >= 3 and plan.passes.depth_m <= teeth
    assert "One pass may be" in words(plan) and "8 teeth in the slot at once" in words(plan)


def test_a_thin_plate_bears_less_and_a_coarse_one_more() -> None:
    def most(**changes: str) -> float:
        plan = planned(**{**SAW, "cutter__width": "0.032 in", **changes})
        return min(one.depth_m for one in plan.passes.limits)

    assert most(cutter__width="0.010 in") < most() < most(cutter__teeth="48")
    coarse = {"cutter__teeth": "36"}
    assert most(**coarse, cutter__width="0.125 in") > most(**coarse)
    assert most(cut__material="304") < most(cut__material="brass")


def test_the_width_of_a_saws_cut_is_the_saws() -> None:
    one, two = planned(**SAW, cut__width="1/8 in"), planned(**SAW, cutter__width="1/8 in")
    assert one.chips == two.chips and one.passes == two.passes
    assert "saw width" not in words(one)


def test_a_fine_saw_is_fed_two_to_four_inches() -> None:
    """200 teeth, 0.020 in, in mild steel (common practice, no source)."""
    plan = planned(
        **{**SAW, "cutter__teeth": "200", "cut__depth": "0.1 in"}, cutter__width="0.020 in"
    )
    assert 2.0 <= plan.first.feed_m_s * 60 / INCH <= 4.0


def test_an_end_mill_is_not_sent_an_inch_deep() -> None:
    plan = planned(
        cutter__form="end mill",
        cutter__teeth="4",
        cutter__diameter="1/8 in",
        cut__material="mild steel",
        cut__depth="1 in",
    )
    assert plan.passes.count == 16 and "an end mill bends" in words(plan)
    side = planned(
        cutter__form="end mill",
        cutter__teeth="4",
        cutter__diameter="1 in",
        cut__material="mild steel",
        cut__depth="1 in",
        cut__width="0.1 in",
    )
    assert side.passes.count == 1


def test_helical_teeth_do_not_knock() -> None:
    stated = {
        "cutter__form": "slab mill",
        "cutter__teeth": "8",
        "cutter__diameter": "3 in",
        "cut__material": "mild steel",
        "cut__depth": "0.1 in",
        "cut__width": "3 in",
    }
    straight, helical = planned(**stated), planned(**stated, cutter__helix="45 deg")
    assert "knocks" in words(straight) and "state the helix" in words(straight)
    assert "knocks" not in words(helical)
    # 8 teeth spread over pi D, lead 3 in x tan 45
    assert helical.contact.teeth - straight.contact.teeth == pytest.approx(8 * 3 / (math.pi * 3))


def test_drills_and_reamers() -> None:
    drill, reamer = (
        planned(cutter__form=form, cutter__teeth="2", cutter__diameter="1/2 in",
                cut__material="mild steel")
        for form in ("drill", "reamer")
    )  # fmt: skip
    assert drill.first.rev_min == pytest.approx(12 * 90 / (math.pi * 0.5))
    assert drill.first.feed_m_s * 60 / drill.first.rev_min / INCH == pytest.approx(0.005)
    assert reamer.first.rev_min == pytest.approx(drill.first.rev_min / 2)
    assert drill.first.tooth_passing_hz == pytest.approx(drill.first.rev_min * 2 / 60)
    assert any("breaks through" in line for line in drill.cautions)
    assert any("backwards" in line for line in reamer.cautions)


def test_band_saws() -> None:
    plan = planned(
        cutter__form="band saw", cutter__pitch="10 tpi", cut__material="304",
        cut__depth="4 in", cut__blade_speed="120 ft/min",
    )  # fmt: skip
    assert plan.settings == () and "20.0" not in words(plan)
    assert "240 Hz" in words(plan)  # 120 ft/min x 12 in x 10 teeth / 60
    assert tooth_passing_hz(120 * 0.3048 / 60, INCH / 10) == pytest.approx(240.0)
    assert "40 teeth are in the work" in " ".join(plan.warnings)
    fast = planned(cutter__form="band saw", cut__material="304", cut__blade_speed="300 ft/min")
    assert "above the advised" in " ".join(fast.warnings)


@pytest.mark.parametrize(("inches", "tpi"), [(0.25, 12.0), (0.75, 8.0), (4.0, 3.5), (8.0, 2.5)])
def test_teeth_to_the_inch_follow_the_chart(inches: float, tpi: float) -> None:
    assert INCH / advised_pitch_m(inches * INCH) == pytest.approx(tpi)


def test_three_teeth_in_thin_stock() -> None:
    for inches in (0.05, 0.1, 0.2, 0.5, 3.0):
        assert inches * INCH / advised_pitch_m(inches * INCH) >= 2.999


@pytest.mark.parametrize(
    ("form", "word"),
    [
        ("fly cutter", "out of balance"),
        ("parting tool", "never between centres"),
        ("saw", "wedge"),
        ("saw", "rapid travel"),
        ("saw", "friction"),
        ("slab mill", "arbor nut"),
        ("slab mill", "lift the work"),
        ("turning tool", "emery"),
        ("turning tool", "Chuck key"),
        ("end mill", "breaks through"),
        ("band saw", "blade"),
    ],
)
def test_the_cautions_that_fit(form: str, word: str) -> None:
    plan = planned(cutter__form=form, cutter__teeth="1" if "tool" in form else "8")
    assert word in " ".join(plan.cautions)
