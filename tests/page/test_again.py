"""A wrong number is mended by one button; a speed left out is found among the machine's own."""

from __future__ import annotations

import html
import re

import pytest

from chatter.findings_json import read_findings
from chatter.page.again import offers, span_texts
from chatter.page.spool import PageListen

SPEEDS = "42, 57, 78, 106, 144, 197, 268, 365"
SETUP = {"cutter.teeth": "48", "take.simulated": "yes", "machine.speeds": SPEEDS}


@pytest.fixture(scope="module")
def page(running, tmp_path_factory):
    """A page with the real worker."""
    made = running(tmp_path_factory.mktemp("again"), worker=None)
    yield made
    made.stop()


def test_one_press_listens_again_at_the_speed_that_fits(page, short_aac):
    answer = page.send(("slot.m4a", short_aac.read_bytes()), **SETUP, **{"cut.speed": "57"})
    place = answer.headers["location"]
    id_ = place.rpartition("/")[2]
    assert page.wait(id_).verdict == "cannot_tell"
    shown = page.client.get(place).text
    form = re.search(r'<form[^>]*class="other">.*?Listen again at 106 rev/min', shown, re.S)
    assert form, shown[:3000]
    fields = dict(re.findall(r'name="([^"]+)" value="([^"]*)"', form[0]))
    assert fields["cut.speed"] == "106" and fields["cutter.teeth"] == "48"
    sent = {name: html.unescape(value) for name, value in fields.items()}
    page.client.post(f"{place}/listen", data=sent)
    again = page.wait(id_)
    assert again.number == 2 and again.verdict == "chatter"
    assert again.stated["machine.speeds"] == SPEEDS and again.stated["take.simulated"] == "yes"
    assert "Listen again at" not in page.client.get(place).text


def test_a_speed_left_out_is_found_among_the_machines_own(page, short_aac):
    answer = page.send(("b.m4a", short_aac.read_bytes()), **SETUP, **{"cut.speed": ""})
    place = answer.headers["location"]
    take = page.wait(place.rpartition("/")[2])
    assert take.state == "done", take
    found = read_findings(page.client.get(f"{place}/findings").text)
    assert found.numbers.speed in ("found", "guessed")
    assert found.numbers.speeds[0].rev_min == 106
    assert found.job["cut"]["speed_rev_min"] == 106
    if found.numbers.speed == "found":
        assert found.verdict == "chatter"
        assert any("The speed was not stated" in note for note in found.notes)


def test_no_speed_and_no_card_is_asked_for(page):
    answer = page.send(("c.m4a", b"x" * 100), **{"cut.speed": "", "cutter.teeth": "48"})
    assert "Something to put right" in page.client.get(answer.headers["location"]).text


def test_the_stretch_is_kept():
    assert span_texts(PageListen(1, {"take.span": "3-12.5"}, "metric")) == ("3", "12.5")
    assert span_texts(PageListen(1, {}, "metric")) == span_texts(None) == ("", "")


def test_nothing_is_offered_where_the_numbers_fit(page, short_aac):
    from dataclasses import replace

    answer = page.send(("d.m4a", short_aac.read_bytes()), **SETUP, **{"cut.speed": "106"})
    id_ = answer.headers["location"].rpartition("/")[2]
    take = page.wait(id_)
    found = read_findings(page.client.get(f"/recordings/{id_}/findings").text)
    one = page.desk.spool.get(id_)
    assert offers(None, one, take, found) == ()
    assert offers(None, one, take, replace(found, numbers=None)) == ()
    (offer,) = offers(None, one, take, replace(found, numbers=replace(found.numbers, count=47)))
    assert offer.words == "with 47 teeth" and offer.fields["cutter.teeth"] == "47"
    assert offer.fields["cut.speed"] == "106"
