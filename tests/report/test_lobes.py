"""The picture of depth over speed: in the page of a cut that chatters, and in no other."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from chatter.findings import TappedMode
from chatter.report.html import listen_page
from chatter.report.stability_figure import NARROW, WIDE, caption, stability_svg
from chatter.trade.calibration import ObservedCut
from chatter.trade.stability import chart
from tests.trade.made import a_job, a_pass

LOW = a_pass("chatter", f_c=90.0)
QUIET = ObservedCut(90.0, 0.004, False)


def _page(made, verdict: str) -> str:
    found = made.findings((made.one_pass(1, verdict),))
    return listen_page(found, made.exhibits(found, columns=80, rows=40))


def test_only_chatter_gets_the_picture(made):
    assert 'id="lobes-h"' in _page(made, "chatter")
    assert 'id="lobes-h"' not in _page(made, "side_rubbing")


def test_it_stands_after_the_suggestions_once_for_each_width(made):
    page = _page(made, "chatter")
    assert page.index('id="next-h"') < page.index('id="caution-h"') < page.index('id="lobes-h"')
    section = page[page.index('<section class="lobes"') :]
    section = section[: section.index("</section>")]
    assert section.count("<svg") == 2
    ids = re.findall(r'\bid="([^"]+)"', section)
    assert len(ids) == len(set(ids))
    for used in re.findall(r'(?:href="|url\()#([^")]+)', section):
        assert used in ids


def test_what_is_assumed_is_said():
    said = " ".join(caption(chart(LOW, a_job(cut={"depth_m": None}))))
    assert "The damping ratio 0.03 is assumed; a tap test would measure it." in said
    assert "one springy part" in said
    assert "No cut of known depth ties this chart to a depth." in said
    assert "state which depths chattered and which did not" in said


def test_a_tapped_mode_takes_the_place_of_the_assumption(made):
    found = made.findings()
    one = found.passes[0]
    mode = TappedMode(0.96 * one.chatter.frequency_hz, 0.0217)
    tapped = replace(one, chatter=replace(one.chatter, mode_below=mode))
    page = listen_page(replace(found, passes=(tapped,)), made.exhibits(found, columns=80, rows=40))
    assert "damping ratio 0.022, from the tap test" in page
    assert "is assumed; a tap test" not in page


def test_earlier_cuts_are_drawn_and_turn_the_axis_into_lengths():
    alone, both = (chart(LOW, a_job(), observations=o) for o in ((), (QUIET,)))
    for size in (WIDE, NARROW):
        assert "stable depth, mm (at a bound" in stability_svg(alone, size=size)
        assert "stable depth, mm (about" in stability_svg(both, size=size)
    assert "stable depth, in (" in stability_svg(both, "inch")
    assert "Green spot: a cut that was quiet." in caption(both)[0]
    assert "Green spot" not in caption(alone)[0]
    relative = stability_svg(chart(LOW, a_job(cut={"depth_m": None})))
    assert "times that at the worst speed" in relative


def test_the_step_with_most_room_is_named_without_boasting():
    made = chart(LOW, a_job())
    assert made.best.rev_min == 160.0  # beside a pocket: see the test of the steps
    assert caption(made)[1].startswith("Most room: 160 rev/min, in green; ")
    assert re.search(r"(about [1-3]\.\d|several) times the depth", caption(made)[1])
    none = chart(LOW, a_job(steps=(90.0,)))
    assert caption(none)[1].startswith("Most room: none of the machine's speeds")
    assert caption(chart(LOW, a_job(steps=())))[1].startswith("State the machine's own list")


@pytest.mark.parametrize("size", [WIDE, NARROW])
def test_it_speaks_to_who_cannot_see_it(size):
    svg = stability_svg(chart(LOW, a_job()), size=size, prefix="x-")
    assert 'aria-label="Stable depth over spindle speed"' in svg and "<desc>" in svg
    assert len(svg) < 60_000  # twice in a page
