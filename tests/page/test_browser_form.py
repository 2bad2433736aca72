"""The form in oily hands, in a browser: buttons for typing, a file's own numbers, landscape."""

from __future__ import annotations

import itertools
import json

import pytest

from .conftest import CHROMIUM

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine")

PHONE, SIDEWAYS = {"width": 390, "height": 844}, {"width": 844, "height": 390}
SPEEDS = "42, 57, 78, 106, 144, 197, 268, 365"


@pytest.fixture(scope="module")
def bench(running, tmp_path_factory):
    page = running(tmp_path_factory.mktemp("bench"))
    page.post("/shop/machine/new", **{"machine.name": "Window mill", "machine.speeds": SPEEDS})
    yield page
    page.stop()


@pytest.fixture
def tab(bench, chromium):
    context = chromium.new_context(viewport=PHONE, has_touch=True, is_mobile=True)
    made = context.new_page()
    wrong = []
    made.on("pageerror", lambda error: wrong.append(str(error)))
    made.on("console", lambda said: wrong.append(said.text) if said.type == "error" else None)
    made.goto(bench.base)
    yield made
    assert not wrong
    context.close()


def _sent(bench, name: str):
    return next(one for one in bench.desk.spool.all("cut") if one.name == name)


def test_the_speeds_of_the_chosen_machine_are_buttons(tab):
    keys = tab.get_by_role("group", name="Speeds of this machine")
    assert not keys.is_visible()
    tab.get_by_label("Machine", exact=True).select_option(label="Window mill")
    assert keys.get_by_role("button").all_inner_texts() == SPEEDS.split(", ")
    for one in keys.get_by_role("button").all():
        box = one.bounding_box()
        assert box["height"] >= 48 and box["width"] >= 48
    keys.get_by_role("button", name="57", exact=True).tap()
    assert tab.input_value("[name='cut.speed']") == "57"
    assert keys.locator("[aria-pressed=true]").all_inner_texts() == ["57"]
    tab.fill("[name='cut.speed']", "60")  # a speed that is on no lever is not marked
    assert not keys.locator("[aria-pressed=true]").count()
    tab.get_by_label("Machine", exact=True).select_option(label="none chosen")
    assert not keys.is_visible()
    assert tab.evaluate("document.documentElement.scrollWidth") <= 390


def test_speeds_typed_in_the_form_are_buttons_too(tab):
    tab.locator("summary", has_text="More, for").tap()
    tab.fill("[name='machine.speeds']", "31,5; 57")
    keys = tab.get_by_role("group", name="Speeds of this machine")
    assert keys.get_by_role("button").all_inner_texts() == ["31,5", "57"]


def test_fractions_of_an_inch_are_buttons(bench, tab):
    tab.locator(".units button").tap()
    tab.locator("summary", has_text="More, for").tap()
    depth = tab.locator("[name='cut.depth']")
    keys = tab.get_by_role("group", name="Fractions for Depth of cut")
    assert not keys.is_visible()
    depth.tap()
    depth.press_sequentially("1")
    keys.get_by_role("button", name="½").tap()
    assert depth.input_value() == "1½"
    depth.fill("1")
    keys.get_by_role("button", name="1/16").tap()
    assert depth.input_value() == "1 1/16"
    tab.fill("[name='cut.speed']", "57")
    tab.fill("[name='cutter.teeth']", "48")
    tab.set_input_files("#file", [{"name": "inch.m4a", "mimeType": "audio/mp4", "buffer": b"x"}])
    tab.get_by_role("button", name="Listen", exact=True).tap()
    tab.wait_for_url("**/recordings/*")
    assert _sent(bench, "inch.m4a").last.stated["cut.depth"] == "1 1/16 in"


def test_several_files_have_their_own_speed_and_teeth(bench, tab):
    files = [
        {"name": f"{name}.m4a", "mimeType": "audio/mp4", "buffer": name.encode()}
        for name in ("first", "second", "third")
    ]
    tab.fill("[name='cut.speed']", "106")
    tab.fill("[name='cutter.teeth']", "48")
    tab.set_input_files("#file", files[:1])
    assert not tab.locator(".own").count()  # one alone has the form's
    tab.set_input_files("#file", files[1:])
    tab.get_by_label("second.m4a: Speed").fill("57")
    tab.get_by_label("third.m4a: Teeth").fill("20")
    assert tab.get_by_label("third.m4a: Speed").get_attribute("placeholder") == "106"
    tab.get_by_role("button", name="Remove first.m4a").tap()
    tab.set_input_files("#file", files[:1])
    tab.get_by_role("button", name="Listen", exact=True).tap()
    tab.wait_for_url("**/recordings")
    sent = {one: _sent(bench, f"{one}.m4a").stated for one in ("first", "second", "third")}
    assert {one: (s["cut.speed"], s["cutter.teeth"]) for one, s in sent.items()} == {
        "first": ("106", "48"),
        "second": ("57", "48"),
        "third": ("106", "20"),
    }


def test_what_was_said_of_a_file_is_kept_when_it_stays_alone(bench, tab):
    files = [
        {"name": f"{name}.m4a", "mimeType": "audio/mp4", "buffer": name.encode()}
        for name in ("alone", "away")
    ]
    tab.fill("[name='cut.speed']", "106")
    tab.fill("[name='cutter.teeth']", "48")
    tab.set_input_files("#file", files)
    tab.get_by_label("alone.m4a: Speed").fill("57")
    tab.get_by_role("button", name="Remove away.m4a").tap()
    assert tab.get_by_label("alone.m4a: Speed").is_visible()
    tab.get_by_role("button", name="Listen", exact=True).tap()
    tab.wait_for_url("**/recordings/*")
    assert _sent(bench, "alone.m4a").stated["cut.speed"] == "57"


def test_on_its_side_a_phone_shows_both_steps_at_once(bench, chromium):
    context = chromium.new_context(viewport=SIDEWAYS, has_touch=True, is_mobile=True)
    tab = context.new_page()
    tab.goto(bench.base)
    first, second = (tab.locator(f"[aria-labelledby={one}]").bounding_box() for one in ("s1", "s2"))
    assert first["y"] == second["y"] < 140 and second["x"] > first["x"] + 300
    assert tab.locator("[name='cut.speed']").bounding_box()["y"] < 390
    top = tab.locator(".tabs").bounding_box()
    assert top["y"] + top["height"] < 70  # nothing fixed over the lower edge
    boxes = json.loads(
        tab.evaluate(
            "JSON.stringify([...document.querySelectorAll('.brand, .tabs a, .units')]"
            ".map((e) => e.getBoundingClientRect()))"
        )
    )
    spans = sorted((box["left"], box["right"]) for box in boxes)
    assert all(one[1] <= other[0] + 1 for one, other in itertools.pairwise(spans))
    assert tab.evaluate("document.documentElement.scrollWidth") <= 844
    context.close()
