"""The report on paper and phone, in a real browser: pages, page one, screens, labels, folds."""

from __future__ import annotations

import re
import shutil
from datetime import datetime
from pathlib import Path

import pytest

from chatter.demo import demo_takes
from chatter.job.cards import load_job
from chatter.lab.paper import MARGINS, MOST_PAGES, MOST_SCREENS, PHONE, chromium, print_report
from chatter.report.html import TEMPLATES, listen_page

pytestmark = pytest.mark.skipif(
    not any(map(shutil.which, ("chromium", "chromium-browser", "chrome"))),
    reason="no Chromium on this machine",
)

#: Boxes of the names of tones, and of the marks they must not hide; those not shown have none.
_BOXES = """() => [...document.querySelectorAll("svg.plot")].filter((s) => s.getBoundingClientRect()
  .width).map((s) => [".lab", "use"].map((kind) => [...s.querySelectorAll(kind)].map((e) => {
    const b = e.getBoundingClientRect();
    return [b.left, b.top, b.right, b.bottom, e.textContent.trim()];
  })))"""


@pytest.fixture(scope="session")
def browser():
    with chromium() as opened:
        yield opened


@pytest.fixture(scope="session")
def takes(tmp_path_factory):
    """Reports of three simulated demo recordings: chatter, rubbing, uneven teeth."""
    from chatter.listening.front import listen

    folder = tmp_path_factory.mktemp("paper")
    made = {}
    for take in demo_takes():
        if take.recording.name[:2] in ("02", "04", "05"):
            heard = listen(take.recording, load_job(take.job))
            path = folder / f"{take.recording.stem}.html"
            page = listen_page(heard.findings, heard.exhibits, made_at=datetime(2026, 1, 2))
            path.write_text(page, encoding="utf-8")
            made[take.recording.name] = path
    assert len(made) == 3
    return made


def _written(folder: Path, made, found) -> Path:
    path = folder / "report.html"
    path.write_text(
        listen_page(found, made.exhibits(found, columns=200, rows=80)), encoding="utf-8"
    )
    return path


def test_a_demo_report_fits_paper_and_phone(browser, takes):
    for name, path in takes.items():
        one = print_report(browser, path)
        assert max(one.pages.values()) <= MOST_PAGES, (name, one.pages)
        # Full, but not over: what would run onto page two is no longer page one.
        assert 0.5 < max(one.first_page.values()) <= 1, (name, one.first_page)
        assert 1 < one.caution_screens <= MOST_SCREENS, name
        assert one.screens <= MOST_SCREENS + 1, name


def test_every_kind_fits(browser, made, found, tmp_path):
    one = print_report(browser, _written(tmp_path, made, found))
    if len(found.passes) < 2:
        assert max(one.pages.values()) <= MOST_PAGES
    assert max(one.first_page.values()) <= 1
    assert one.caution_screens <= MOST_SCREENS


def test_page_one_holds_the_whole_answer(browser, takes):
    tab = browser.new_page()
    tab.goto(takes["04-saw-chatter.mp4"].as_uri())
    tab.emulate_media(media="print")
    shown = tab.inner_text(".page-one")
    for wanted in ("Simulated recording", "Chatter", "Do this first", "Take care.",
                   "In the next recording", "rev/min heard", "second-hand horizontal mill",
                   "saw with relieved sides", "grey cast iron", "2026-01-02",
                   "Never reach near a turning cutter"):  # fmt: skip
        assert wanted.lower() in shown.lower(), wanted
    assert re.search(r"\d+ in (10|20) \(0\.\d\d\)", shown)  # how sure, in words and as a number
    assert tab.is_visible(".page-one .screen img")
    tab.close()


def test_names_of_tones_hide_neither_each_other_nor_a_mark(browser, takes, made, cases, tmp_path):
    pages = dict(takes)
    for name, make in cases.items():
        pages[name] = tmp_path / f"{name}.html"
        found = make()
        page = listen_page(found, made.exhibits(found, columns=80, rows=40))
        pages[name].write_text(page, encoding="utf-8")
    seen = 0
    for width in (PHONE["width"], 1280):
        tab = browser.new_page(viewport={"width": width, "height": 844})
        for name, path in pages.items():
            tab.goto(path.as_uri())
            tab.evaluate("document.querySelectorAll('details').forEach((d) => (d.open = true))")
            for labels, marks in tab.evaluate(_BOXES):
                seen += len(labels)
                for at, one in enumerate(labels):
                    near = [o for o in labels[at + 1 :] if _overlap(one, o, 0.0)]
                    # Half a mark's box is its white rim.
                    near += [o for o in marks if _overlap(one, o, 2.5)]
                    assert not near, (name, width, one, near)
        tab.close()
    assert seen > 60


def _overlap(one, other, slack: float) -> bool:
    across = min(one[2], other[2]) - max(one[0], other[0])
    down = min(one[3], other[3]) - max(one[1], other[1])
    return across > slack and down > slack


def test_overlap_is_seen():
    assert _overlap((0, 0, 10, 10, ""), (9, 9, 20, 20, ""), 0)
    assert not _overlap((0, 0, 10, 10, ""), (10, 0, 20, 10, ""), 0)


def test_what_is_folded_is_printed_only_when_asked(browser, takes):
    tab = browser.new_page(viewport=PHONE)
    tab.goto(takes["04-saw-chatter.mp4"].as_uri())
    tab.emulate_media(media="print")
    tab.evaluate("window.print = () => dispatchEvent(new Event('beforeprint'))")
    assert not tab.is_visible("text=Words explained")
    assert not tab.is_visible("text=How it was computed")
    tab.emulate_media(media="screen")
    tab.click("#print")
    tab.emulate_media(media="print")
    assert tab.is_visible(".rules") and not tab.is_visible(".ledger")
    tab.emulate_media(media="screen")
    tab.click("#print-all")
    tab.emulate_media(media="print")
    assert tab.is_visible("text=Words explained") and tab.is_visible(".ledger")
    tab.close()


def test_the_picture_is_shared_or_saved(browser, takes):
    tab = browser.new_page(viewport=PHONE)
    tab.goto(takes["04-saw-chatter.mp4"].as_uri())
    with tab.expect_download() as saved:
        tab.click("#share")
    assert saved.value.suggested_filename == "04-saw-chatter.png"
    assert Path(saved.value.path()).read_bytes().startswith(b"\x89PNG")
    tab.close()


def test_the_margins_measured_are_those_of_the_style_sheet():
    style = (TEMPLATES / "print.css").read_text()
    assert f"@page {{ margin: {MARGINS[0]:.0f}mm {MARGINS[1]:.0f}mm; }}" in style
