"""The first page's form: whose numbers it shows, the example, what stands beside a file."""

from __future__ import annotations

import re

import httpx
import pytest

from chatter.page.routes_example import FOLDER

from .conftest import DEMO


@pytest.fixture
def page(run):
    return run()


def _other(page) -> httpx.Client:
    return httpx.Client(verify=False, base_url=page.base, headers={"origin": page.base})


def test_a_fresh_browser_sees_nobody_elses_numbers(page):
    page.client.get("/")
    page.send(("slot.m4a", b"x" * 100), **{"cut.speed": "106", "cutter.teeth": "47"})
    with _other(page) as other:
        for path in ("/", "/plan"):
            text = other.get(path).text
            assert 'value="106"' not in text and 'value="47"' not in text and "slot.m4a" not in text
        assert "Try it with a cut of ours, simulated" in other.get("/").text
        assert "slot.m4a" in other.get("/recordings").text  # the list is the whole shop's


def test_the_last_set_up_of_this_browser_is_offered_and_not_filled_in(page):
    page.client.get("/")
    page.send(("slot.m4a", b"x" * 100), **{"cut.speed": "106", "cutter.teeth": "47"})
    text = page.client.get("/").text
    assert "Same set-up as last time" in text and "106 rev/min, 47 teeth" in text
    assert 'value="106"' not in text and "slot.m4a" in text
    again = page.client.get(re.search(r'href="(/\?again=\w+)"', text)[1]).text
    assert 'value="106"' in again and 'value="47"' in again
    assert "Same set-up" not in again


def test_another_browser_cannot_ask_for_it(page):
    page.client.get("/")
    page.send(("slot.m4a", b"x" * 100), **{"cut.speed": "106", "cutter.teeth": "47"})
    id_ = page.desk.spool.all()[0].id
    with _other(page) as other:
        other.get("/")
        assert 'value="106"' not in other.get(f"/?again={id_}").text


def test_depth_and_feed_are_looked_at_anew(page):
    page.client.get("/")
    page.send(("a.m4a", b"x" * 100), **{"cut.depth": "12", "cutter.diameter": "150"})
    id_ = page.desk.spool.all()[0].id
    text = page.client.get(f"/?again={id_}").text
    assert re.search(r'name="cutter.diameter"[^>]*value="150"', text)
    assert re.search(r'name="cut.depth"[^>]*value=""', text)


def test_the_example_is_a_demo_recording_with_its_card():
    assert (FOLDER / "cut.mp4").read_bytes() == (DEMO / "04-saw-chatter.mp4").read_bytes()
    assert (FOLDER / "cut.toml").read_bytes() == (DEMO / "04-saw-chatter.toml").read_bytes()


def test_the_example_is_answered_and_not_offered_as_ones_own(run):
    page = run(worker=None)
    where = page.post("/example").headers["location"]
    take = page.wait(where.rpartition("/")[2])
    assert take.state == "done" and take.verdict == "chatter"
    assert "Simulated" in page.client.get(where).text
    first = page.client.get("/").text
    assert "A cut of ours" in first and "Same set-up" not in first


def test_the_example_waits_its_turn(run):
    from dataclasses import replace

    from chatter.page.limits import PageLimits

    page = run(limits=replace(PageLimits(), waiting=0))
    answer = page.post("/example")
    assert answer.status_code == 503 and "Busy" in answer.text
    assert not page.desk.spool.all() and not list(page.desk.spool.uploads.iterdir())


def test_the_speeds_of_a_machine_stand_with_it(page):
    page.post("/shop/machine/new", **{"machine.name": "Mill", "machine.speeds": "42; 57,5; 78"})
    assert 'data-speeds="42 57.5 78"' in page.client.get("/").text


def test_numbers_get_the_keypad(page):
    text = page.client.get("/").text
    assert re.search(r'name="cutter.teeth"[^>]*inputmode="numeric"', text)
    for name in ("cut.speed", "cut.depth", "cut.feed", "cutter.diameter"):
        assert re.search(rf'name="{name}"[^>]*inputmode="decimal"', text), name
    assert "data-keys" not in text  # millimetres have a decimal sign
    page.post("/units", units="inch", back="/")
    text = page.client.get("/").text
    assert re.search(r'name="cut.depth"[^>]*data-keys="[^"]*½', text)
    assert not re.search(r'name="cut.speed"[^>]*data-keys', text)
