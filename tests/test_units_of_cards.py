"""An answer speaks the units of the cards: an inch machine's steps are named in inches."""

from dataclasses import replace
from pathlib import Path

import pytest

from chatter import load_job
from chatter.job.system import system_of_plain
from chatter.job.units import UNITS
from chatter.listening.front import listen
from chatter.plain import to_plain
from chatter.report.html import listen_page

DEMO = Path(__file__).resolve().parents[1] / "recordings_demo"
STEPS_IN_MIN = (1.0, 1.75, 2.5, 4.0)


def _inch_job():
    """The saw that chatters, on a machine whose feeds are inches a minute."""
    job = load_job(DEMO / "04-saw-chatter.toml")
    feeds = tuple(one * float(UNITS["feed"]["in/min"]) for one in STEPS_IN_MIN)
    machine = replace(job.machine, feeds_m_s=feeds)
    return replace(job, machine=machine, cut=replace(job.cut, feed_m_s=feeds[2]))


@pytest.mark.parametrize("otherwise", ["metric", "inch"])
def test_findings_report_and_picture_follow_the_machine_card(otherwise):
    heard = listen(DEMO / "04-saw-chatter.mp4", _inch_job(), units=otherwise)
    said = " ".join(one.action for one in heard.findings.suggestions)
    assert "ft/min" in said and " m/min" not in said and " mm" not in said
    page = listen_page(heard.findings, heard.exhibits, units=otherwise)
    assert ">2.5 in/min<" in page and "mm/min<" not in page


def test_without_anything_told_the_wish_counts():
    job = load_job(DEMO / "04-saw-chatter.toml")
    bare = replace(job, cutter=replace(job.cutter, width_m=None, diameter_m=None))
    bare = replace(bare, cutter=replace(bare.cutter, collar_diameter_m=None))
    bare = replace(bare, cut=replace(bare.cut, depth_m=None, width_m=None, feed_m_s=None))
    assert {system_of_plain(to_plain(bare), one) for one in ("inch", "metric")} == {
        "inch",
        "metric",
    }
    assert system_of_plain(to_plain(job), "inch") == "metric"
    assert system_of_plain({"no such": {}}, "inch") == "inch"  # findings of another make
