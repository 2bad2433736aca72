"""Cautions: the right ones for the situation, none that does not apply."""

from __future__ import annotations

import pytest

from chatter.job.build import build_job
from chatter.job.cut import Job
from chatter.job.cutter import FORMS
from chatter.job.words import materials
from chatter.trade.cautions import _CONDITIONS, SITUATIONS, caution_table, cautions


def job(**changes: object) -> Job:
    stated = {"cut.speed": "57", "cutter.teeth": "48"}
    return build_job(
        {**stated, **{key.replace("__", "."): value for key, value in changes.items()}}
    )


def said(a_job: Job | None, situation: str) -> str:
    return " ".join(cautions(a_job, situation)).lower()


@pytest.mark.parametrize("situation", SITUATIONS)
def test_every_situation_defers_to_manual_marking_rules_and_people(situation: str) -> None:
    last = cautions(None, situation)[-1]
    for word in ("manual", "marking", "rules", "qualified person"):
        assert word in last


@pytest.mark.parametrize("situation", ["listen", "plan", "report"])
def test_turning_cutters_guards_eyes_and_ears(situation: str) -> None:
    text = said(None, situation)
    for words in (
        "never reach near a turning cutter",
        "stop the spindle",
        "guards",
        "eye prot",
        "hearing",
    ):
        assert words in text


def test_tapping_needs_a_locked_out_spindle_first() -> None:
    assert "lock it out" in cautions(None, "tap")[0]
    assert "turning cutter" not in said(None, "tap")


def test_cast_iron_dust() -> None:
    assert "dust" in said(job(cut__material="cast iron"), "listen")
    assert "dust" not in said(job(cut__material="mild steel"), "listen")
    assert "dust" not in said(job(), "listen")


def test_climb_milling_depends_on_backlash() -> None:
    pulls, check = "pull the work into", "check the table screw"
    climb = {"cut__direction": "climb"}
    assert pulls in said(job(**climb, machine__backlash="yes"), "plan")
    assert check in said(job(**climb), "plan")
    for harmless in (
        job(**climb, machine__backlash="no"),
        job(cut__direction="conventional", machine__backlash="yes"),
    ):
        assert pulls not in said(harmless, "plan")
        assert check not in said(harmless, "plan")


def test_marked_speed_is_named() -> None:
    assert "250 rev/min" in said(job(cutter__max_speed="250"), "listen")
    assert "marked on it" not in said(job(), "listen")


def test_only_unconditional_cautions_without_a_job() -> None:
    always = {
        row["text"] for row in caution_table() if not any(name in row for name in _CONDITIONS)
    }
    for situation in SITUATIONS:
        assert set(cautions(None, situation)) <= always


def test_the_table_holds_known_words_only() -> None:
    known = {
        "material": set(materials()),
        "form": set(FORMS),
        "direction": {"climb", "conventional", "unknown"},
        "backlash": {"yes", "no", "unknown"},
        "marked_speed": {"yes", "unknown"},
        "reground": {"yes", "no", "unknown"},
    }
    for row in caution_table():
        assert set(row) <= {"text", "situations", *_CONDITIONS}
        assert set(row["situations"]) <= set(SITUATIONS)
        assert row["text"].endswith(".")
        for name in set(row) & set(known):
            assert set(row[name]) <= known[name], row["text"]


def test_an_unknown_situation_is_a_programming_mistake() -> None:
    with pytest.raises(ValueError, match="lunch"):
        cautions(None, "lunch")
