"""Forms: bare numbers, units, what is wrong beside its field, cards there and back."""

from __future__ import annotations

import pytest

from chatter.job.build import read_statement
from chatter.job.schema import SECTIONS
from chatter.page import forms
from chatter.page.field_words import LABELS


def test_every_field_of_every_form_has_a_label():
    names = {*forms.NEEDED, *forms.SHARPER, *forms.CUTTER, *forms.MACHINE, *forms.PLAN}
    assert names == set(LABELS)


def test_the_cards_hold_all_that_a_card_can():
    for section, names in (("cutter", forms.CUTTER), ("machine", forms.MACHINE)):
        assert {f"{section}.{each.key}" for each in SECTIONS[section]} == set(names)


@pytest.mark.parametrize(
    ("units", "text", "metres"),
    [
        ("metric", "12", 0.012),
        ("inch", "1/2", 0.0127),
        ("inch", "12 mm", 0.012),
        ("metric", "1 1/8 in", 0.028575),
        ("inch", "0.5", 0.0127),
        ("inch", "1½", 0.0381),
        ("inch", "1 1/2", 0.0381),
        ("inch", "1½ in", 0.0381),
        ("metric", "12,5", 0.0125),
    ],
)
def test_a_bare_number_has_the_unit_beside_its_field(units, text, metres):
    found = forms.read({"cut.depth": text}, ("cut.depth",), units)
    assert found.ok
    assert read_statement(found.stated)["cut.depth"] == pytest.approx(metres, rel=1e-9)


def test_lists_get_their_unit_once():
    found = forms.read({"machine.feeds": "20, 31.5, 50"}, ("machine.feeds",), "metric")
    assert found.stated["machine.feeds"] == "20, 31.5, 50 mm/min" and found.ok
    shown = forms.views(("machine.feeds",), found.stated, "metric")[0]
    assert shown.value == "20, 31.5, 50" and shown.unit == "mm/min"
    assert forms.views(("machine.feeds",), found.stated, "inch")[0].value == "20, 31.5, 50 mm/min"


def test_each_field_is_checked_on_its_own():
    typed = {"cut.speed": "fast", "cutter.teeth": "0", "cut.depth": "12"}
    found = forms.read(typed, (*forms.NEEDED, "cut.depth"), "metric")
    assert set(found.errors) == {"cut.speed", "cutter.teeth"}
    views = {
        one.name: one for one in forms.views(forms.NEEDED, found.stated, "metric", found.errors)
    }
    assert views["cut.speed"].value == "fast" and "fast" in views["cut.speed"].error


def test_what_is_missing_is_said_beside_its_field():
    found = forms.check_job(forms.read({}, forms.NEEDED, "metric"))
    assert set(found.errors) == set(forms.NEEDED)


def test_what_does_not_go_together_is_said_of_the_whole():
    typed = {"cut.speed": "57", "cutter.teeth": "4", "cutter.form": "single_point"}
    found = forms.check_job(forms.read(typed, tuple(typed), "metric"))
    assert "one tooth" in found.wrong


def test_fields_that_are_not_of_the_form_are_not_read():
    found = forms.read({"take.idle": "/etc/passwd", "cut.speed": "57"}, forms.NEEDED, "metric")
    assert found.stated == {"cut.speed": "57"}


FULL = {
    "machine.name": "Window mill",
    "machine.speeds": "38, 57, 85",
    "machine.feeds": "20, 31.5, 50 mm/min",
    "machine.mains": "50 Hz",
    "machine.motor_power": "3 hp",
    "machine.motor_poles": "4",
    "machine.arbors": "1 in, 27 mm",
    "machine.backlash": "yes",
    "machine.gears": "bull gear, 40, 1\npinion, 13, 3",
    "machine.bearings": "front, 12, 10 mm, 60 mm",
    "cutter.name": "saw",
    "cutter.teeth": "48",
    "cutter.form": "slitting_saw",
    "cutter.diameter": "6 in",
    "cutter.width": "5/32 in",
    "cutter.material": "hss",
    "cutter.side_relief": "no",
    "cutter.max_speed": "200",
    "cutter.reground": "yes",
    "cutter.collar_diameter": "2 in",
    "cut.observed": "12 mm at 57 rev/min chattered\n6 mm at 57 rev/min quiet",
}


def test_what_a_card_holds_comes_back_as_it_was():
    values = read_statement(forms.options(FULL))
    texts = {name: forms.form_text(name, value) for name, value in values.items()}
    assert read_statement(forms.options(texts)) == values
    for units in ("metric", "inch"):
        shown = {one.name: one.value for one in forms.views(tuple(texts), texts, units)}
        again = forms.read(shown, tuple(texts), units)
        assert again.ok, again.errors
        assert read_statement(forms.options(again.stated)) == values


@pytest.mark.parametrize("text", ["bull gear", "bull gear, many", "a, 1, 2, 3, 4", ", 12"])
def test_a_wrong_gear_is_said(text):
    found = forms.read({"machine.gears": text}, ("machine.gears",), "metric")
    assert found.errors["machine.gears"].endswith((":", ".", "number.", "again.", "it."))
    assert "gear" in found.errors["machine.gears"]


def test_an_endless_text_is_cut():
    found = forms.read({"cut.observed": "x" * 10**6}, ("cut.observed",), "metric")
    assert len(found.stated["cut.observed"]) == 2000 and len(found.errors["cut.observed"]) < 500
