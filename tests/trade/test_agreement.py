"""The advice of one answer agrees with itself, over hundreds of findings; free things first."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import product

import numpy as np
import pytest

from chatter import findings
from chatter.job.cutter import BORED_OR_TURNED, FORMS
from chatter.job.words import materials
from chatter.trade.cautions import cautions
from chatter.trade.remedies import direction, suggest
from chatter.trade.rules import rule_table
from tests.trade.made import a_job, a_pass

IN_MIN, MM_MIN = 0.0254 / 60, 1e-3 / 60
STEPS = (38.0, 57.0, 75.0, 101.0, 150.0, 260.0, 420.0, 700.0)
INCH_FEEDS = tuple(f * IN_MIN for f in (0.5, 0.75, 1.125, 1.75, 2.5, 4.0, 6.0, 10.0, 16.0))
MM_FEEDS = tuple(f * MM_MIN for f in (12.5, 20.0, 31.5, 50.0, 80.0, 125.0, 200.0, 315.0))


def told(seed: int):
    """One answer: what was heard, of what, and what is suggested."""
    rng = np.random.default_rng(seed)
    pick = lambda *of: of[rng.integers(len(of))]  # noqa: E731
    form = pick(None, *FORMS)
    lathe = form in BORED_OR_TURNED
    teeth = 1 if lathe else int(pick(2, 4, 8, 20, 36, 48, 100))
    feeds = pick(INCH_FEEDS, MM_FEEDS, ())
    steps = pick(STEPS, STEPS[:4], ())
    n = float(pick(*(steps or STEPS)))
    job = a_job(
        teeth=teeth,
        n=n,
        steps=steps,
        cutter={
            "form": form,
            "diameter_m": pick(None, 0.0127, 0.0635, 0.1524),
            "width_m": pick(None, 0.0008, 0.003, 0.0127),
            "material": pick(None, "hss", "carbide"),
            "side_relief": pick(None, True, False),
            "max_rev_min": pick(None, None, 80.0, 5000.0),
        },
        cut={
            "material": pick(None, *materials()),
            "depth_m": pick(None, 0.0005, 0.006, 0.019),
            "feed_m_s": pick(None, *(feeds or INCH_FEEDS)),
            "direction": pick(None, "conventional", "climb"),
            "purpose": pick(None, "roughing", "finishing"),
            "work_diameter_m": pick(None, 0.05) if lathe else None,
            "overhang_m": pick(None, 0.09),
        },
        machine={"feeds_m_s": feeds, "table_backlash": pick(None, True, False)},
    )
    verdict = pick(*findings.VERDICTS)
    f_c = float(n * teeth / 60 * rng.uniform(0.7, 30)) if verdict == "chatter" else None
    one = a_pass(verdict, float(rng.uniform(0.5, 0.99)), n=n, count=teeth, f_c=f_c,
                 share=float(rng.uniform(0.05, 0.95)))  # fmt: skip
    if verdict != "uneven_teeth" and verdict in findings.CAUSES:
        one = replace(one, probabilities={**one.probabilities, "uneven_teeth": 0.4})
    return job, one, suggest((one,), job, most=100)


ANSWERS = [told(seed) for seed in range(400)]
PLACES = rule_table().costs


def every_text(suggestions):
    return [(s.name, " ".join((s.action, s.reason, s.expect, s.caution))) for s in suggestions]


def test_there_is_something_to_test():
    said = {s.name for _, _, made in ANSWERS for s in made}
    assert len(said) > 60
    assert sum(len(made) for _, _, made in ANSWERS) > 1500


def test_no_lever_is_pulled_both_ways():
    for job, _, made in ANSWERS:
        ways: dict[str, set[float]] = {}
        for one in made:
            way = direction(one, job)
            if way is not None:
                ways.setdefault(one.lever, set()).add(way)
        assert all(len(way) == 1 for way in ways.values()), [(s.name, s.quantity) for s in made]


def test_the_words_do_not_contradict_the_levers():
    """Whatever says slower, faster, raise or lower means the same as the number beside it."""
    for job, _, made in ANSWERS:
        said = " ".join(s.action for s in made)
        assert not ("Go slower" in said and "Go faster" in said)
        assert not ("Raise the table feed" in said and "Lower the table feed" in said)
        assert not (
            "Keep the present speed" in said and re.search("Go slower|Change gear to", said)
        )
        for one in made:
            beside = re.search(r"set the table feed to ([\d/ .]+) (in|mm)/min", one.action)
            if beside is None:
                continue
            number = sum(_fraction(part) for part in beside[1].split())
            feed = number * (IN_MIN if beside[2] == "in" else MM_MIN)
            for other in made:
                way = direction(other, job)
                if other.lever == "set_feed" and way:
                    assert (feed - job.cut.feed_m_s) * way >= -1e-6, (one.action, other.action)


def _fraction(text: str) -> float:
    top, _, bottom = text.partition("/")
    return float(top) / float(bottom or 1)


def test_leave_it_never_stands_beside_do_something_about_speed_or_feed():
    for _, _, made in ANSWERS:
        if any(s.name.startswith("leave_as_is") for s in made):
            assert not [s.name for s in made if s.lever in ("set_feed", "set_speed", "scale_depth")]


def test_free_things_come_first():
    for _, _, made in ANSWERS:
        places = [PLACES[s.cost] for s in made]
        assert places == sorted(places), [(s.name, s.cost) for s in made]
        assert [s.rank for s in made] == list(range(1, len(made) + 1))


def test_the_order_is_the_one_of_the_trade():
    order = [
        *("stop now", "a look", "clean and oil", "true the cutter", "change feed"),
        *("change depth", "change gear", "rebuild set-up", "another cutter", "regrind or buy"),
        "repair",
    ]
    assert [PLACES[each] for each in order] == list(range(len(order)))
    bought = re.compile(r"\b(reground|regrind|buy|unequal)", re.IGNORECASE)
    for rule in rule_table().rules:
        if bought.search(rule.action):
            assert PLACES[rule.cost] >= PLACES["another cutter"], rule.name
        if (
            rule.action.startswith(("Stop and look", "Look", "Measure"))
            and "regr" not in rule.action
        ):
            assert PLACES[rule.cost] <= PLACES["a look"] or rule.cost == "rebuild set-up", rule.name


def test_a_dull_edge_is_always_a_suspect():
    for job, one, made in ANSWERS:
        if one.verdict in ("chatter", "side_rubbing") and job.cutter.form is not None:
            assert re.search(
                "dull|sharp|worn|wear|shine|set on both", " ".join(s.action for s in made)
            )


def test_a_cut_list_keeps_all_sorts_of_advice():
    for job, one, made in ANSWERS:
        short = suggest((one,), job)
        assert len(short) <= 8
        sorts = list(dict.fromkeys(PLACES[s.cost] for s in made))
        kept = list(dict.fromkeys(PLACES[s.cost] for s in short))
        assert kept == sorts[: len(kept)] and (len(kept) >= 4 or kept == sorts)


def test_named_speeds_and_feeds_are_steps_of_the_machine():
    for job, _, made in ANSWERS:
        for one in made:
            if one.lever == "set_speed" and job.machine.speeds_rev_min:
                assert one.quantity in job.machine.speeds_rev_min, one.action
            if one.lever == "set_feed" and job.machine.feeds_m_s:
                assert one.quantity in job.machine.feeds_m_s, one.action
            if job.machine.speeds_rev_min and one.name not in (
                "over_marked_speed",
                "contradiction",
            ):
                for number in re.findall(r"([\d.]+) rev/min", one.action):
                    assert float(number) in job.machine.speeds_rev_min, one.action
            if job.machine.feeds_m_s:
                for number, unit in re.findall(r"([\d/. ]*\d) (in|mm)/min", one.action):
                    feed = sum(map(_fraction, number.split()))
                    feed *= IN_MIN if unit == "in" else MM_MIN
                    assert min(abs(feed / f - 1) for f in job.machine.feeds_m_s) < 2e-3, one.action


def test_units_are_those_of_the_card():
    for job, one, _ in ANSWERS:
        if not job.machine.feeds_m_s:
            continue
        inch = job.machine.feeds_m_s == INCH_FEEDS
        for system in ("metric", "inch"):
            said = " ".join(s.action for s in suggest((one,), job, system=system, most=100))
            said = said.replace("0.05 mm (0.002 in)", "").replace("about 6 mm (1/4 in)", "")
            assert not re.search(r"\d (mm|m/min)" if inch else r"\d (in|ft)\b", said), said


def test_nothing_is_faster_than_the_tables_or_the_marking():
    from chatter.trade.advised import ceiling_rev_min

    for job, _, made in ANSWERS:
        for one in made:
            if one.lever == "set_speed" and one.quantity > job.cut.speed_rev_min:
                assert one.quantity <= 1.001 * ceiling_rev_min(job)


def test_more_feed_is_never_the_cure_of_a_crowded_slot():
    deep = {"depth_m": 0.019, "material": "low_carbon_steel", "feed_m_s": 0.2 * IN_MIN}
    job = a_job(
        teeth=100, n=75.0, cut=deep, cutter={"diameter_m": 0.1016, "width_m": 0.032 * 0.0254}
    )
    for verdict in ("normal", "side_rubbing", "chatter"):
        one = a_pass(verdict, n=75.0, count=100, f_c=900.0 if verdict == "chatter" else None)
        names = [s.name for s in suggest((one,), job, most=100)]
        assert "crowded_slot" in names
        assert not {"feed_up", "chatter_feed_up", "chip_by_gear", "leave_as_is"} & set(names)


HANDS = re.compile(
    r"\b(touch|stone|measure|indicator|turn it by hand|wipe|clean arbor|tighten|set the blade"
    r"|set the edge|fit a|clamp the plate|look at (the|both|corners|lips)|look whether"
    r"|stop and look)",
    re.IGNORECASE,
)


@pytest.mark.parametrize("rule", rule_table().rules, ids=lambda rule: rule.name)
def test_the_spindle_stands_wherever_hands_go_near(rule):
    if HANDS.search(rule.action):
        text = f"{rule.action} {rule.caution}".lower()
        assert "spindle stopped" in text or "locked out" in text or "standstill" in text, rule.name


@pytest.mark.parametrize("rule", rule_table().rules, ids=lambda rule: rule.name)
def test_nothing_asks_to_reach_in_or_to_turn_a_cutter_round(rule):
    text = f"{rule.action} {rule.expect} {rule.caution}".lower()
    for wrong in (
        "turn the cutter round",
        "backwards",
        "against the cutting edge",
        "card ring",
        "paper",
        "feel nothing",
        "gear lever goes",
        "air stream",
        "air jet",
        "flood or brush",
    ):
        assert wrong not in text, rule.name
    if "brush" in rule.action.lower():
        assert re.search("stop|standstill|while it turns", text), rule.name


def test_iron_gets_no_fluid_and_no_air_and_cautions_agree():
    for material, form in product([m for m in materials() if "iron" in m], FORMS):
        job = a_job(teeth=1 if form in BORED_OR_TURNED else 16, cutter={"form": form},
                    cut={"material": material})  # fmt: skip
        made = suggest((a_pass("side_rubbing", count=job.cutter.teeth),), job, most=100)
        said = " ".join(text for name, text in every_text(made) if name != "cast_iron_dry")
        assert not re.search(r"\bair\b|flood|\boil\b(?!.*parting)", said.replace("give it oil", ""))
        assert [s.quantity for s in made if s.lever == "lubricate"] == [0]
        assert "do not blow it about" in " ".join(cautions(job, "report"))


def test_where_the_tool_is_held_decides_what_is_looked_at():
    strange = {
        "slab": ("quill", "collet", "tool post", "chuck"),
        "slitting_saw": ("quill", "collet", "tool post", "chuck"),
        "single_point": ("quill", "drawbar", "arbor", "overarm"),
        "boring_bar": ("quill", "drawbar", "arbor", "overarm"),
        "end_mill": ("overarm", "tailstock", "arbor nut", "chuck"),
        "drill": ("overarm", "arbor", "drawbar"),
    }
    for form, words in strange.items():
        teeth = 1 if form in BORED_OR_TURNED else 16
        job = a_job(teeth=teeth, cutter={"form": form})
        made = suggest((a_pass("chatter", f_c=90.0, count=teeth),), job, most=100)
        assert made[0].action.startswith(("Stop and look", "Look at corners"))
        for name, text in every_text(made):
            if name not in ("tap_test", "unequal_end_mill"):
                assert not [w for w in words if re.search(rf"\b{w}\b", text)], (form, name)


def test_turning_and_boring_do_not_begin_with_half_the_depth():
    for form, word in (("single_point", "tool post"), ("boring_bar", "")):
        job = a_job(teeth=1, cutter={"form": form, "diameter_m": 0.0127},
                    cut={"work_diameter_m": 0.05})  # fmt: skip
        made = suggest((a_pass("chatter", f_c=300.0, count=1, share=0.9),), job, most=100)
        names = [s.name for s in made]
        assert "half_depth" not in names and "less_depth" not in names
        assert (
            names.index("turn_feed_up")
            < names.index("turn_less_depth")
            < names.index("nose_radius")
        )
        assert word.replace("tool post", "post") in made[0].action


def test_centre_height_is_not_the_same_for_turning_and_boring():
    def said(form):
        job = a_job(teeth=1, cutter={"form": form})
        return " ".join(t for _, t in every_text(suggest((a_pass("side_rubbing", count=1),), job)))

    assert "above centre" in said("single_point") and "below centre" not in said("single_point")
    assert "below centre" in said("boring_bar")
