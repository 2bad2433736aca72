"""Help on the page is the manual."""

from __future__ import annotations

import re

import pytest

from chatter.manual import TOPICS


@pytest.fixture(scope="module")
def page(running, tmp_path_factory):
    made = running(tmp_path_factory.mktemp("help"))
    yield made
    made.stop()


def test_every_topic_is_listed_and_opens(page):
    listed = page.client.get("/help")
    assert listed.status_code == 200
    assert re.findall(r'href="/help/(\w+)"', listed.text) == list(TOPICS)
    for name in TOPICS:
        shown = page.client.get(f"/help/{name}")
        assert shown.status_code == 200 and '<article class="manual"><h1>' in shown.text


def test_no_such_topic_is_one_sentence(page):
    missing = page.client.get("/help/knitting")
    assert missing.status_code == 404
    assert "There is no help on" in missing.text and "knitting" in missing.text
    evil = page.client.get("/help/%3Cscript%3Ealert(1)%3C%2Fscript%3E")
    assert evil.status_code == 404 and "<script>alert" not in evil.text


def test_the_first_page_leads_there(page):
    assert 'href="/help"' in page.client.get("/").text
