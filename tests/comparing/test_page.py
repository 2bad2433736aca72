"""The page of a comparison, in a real browser: players that switch at one moment, offline."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from chatter.comparing import CutterTakes, compare
from chatter.job.cards import load_job
from chatter.report.compare_figures import forest_plot, overlay
from chatter.report.compare_page import write_compare

DEMO = Path(__file__).resolve().parents[2] / "recordings_demo"
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("chrome")


@pytest.fixture(scope="module")
def compared():
    paths = [DEMO / "02-slot-plain-saw.m4a", DEMO / "03-slot-staggered.m4a"]
    return compare(
        [
            CutterTakes(name, ((path, load_job(path.with_suffix(".toml"))),))
            for name, path in zip(("plain <saw>", "staggered"), paths, strict=True)
        ]
    )


def test_bars_lie_where_the_differences_are(compared):
    drawn = forest_plot(compared.comparison.differences)
    for bar, one in zip(drawn.bars, compared.comparison.differences, strict=True):
        if one.difference_db is None:
            assert bar.at is None
            continue
        assert bar.low <= bar.at <= bar.high
        assert (bar.at < 0.5) == (one.difference_db < 0)
    assert any(mark.text == "0" and mark.at == pytest.approx(0.5) for mark in drawn.marks)


def test_teeth_are_marked_where_they_strike(compared):
    spectra = [
        (side.name, side.teeth, takes[0].exhibits.passes[0].spectrum)
        for side, takes in zip(compared.comparison.sides, compared.listened, strict=True)
    ]
    drawn = overlay(spectra)
    first = [curve.teeth_at[0] for curve in drawn.curves]
    span = drawn.right - drawn.left
    assert (first[0] - drawn.left) / (first[1] - drawn.left) == pytest.approx(48 / 20, rel=0.02)
    assert max(curve.teeth_at[-1] for curve in drawn.curves) <= drawn.left + span
    assert overlay([]) is None


def test_names_are_escaped(compared, tmp_path):
    text = write_compare(compared, tmp_path / "c.html").read_text()
    assert "plain <saw>" not in text
    assert "plain &lt;saw&gt;" in text


def _wait(page, condition: str) -> None:
    """Until it holds; the page's own policy forbids what the browser driver would do."""
    for _ in range(200):
        if page.evaluate(condition):
            return
        page.wait_for_timeout(100)
    raise AssertionError(f"never: {condition}")


@pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine")
def test_the_players_switch_at_the_same_moment(compared, tmp_path):
    from playwright.sync_api import sync_playwright

    page_file = write_compare(compared, tmp_path / "c.html")
    starts = [side.takes[0].cut_start_s for side in compared.comparison.sides]
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=CHROMIUM,
            args=["--no-sandbox", "--autoplay-policy=no-user-gesture-required"],
        )
        page = browser.new_page(viewport={"width": 380, "height": 900})
        asked: list[str] = []
        page.on("request", lambda request: asked.append(request.url))
        faults: list[str] = []
        page.on("pageerror", lambda error: faults.append(str(error)))
        page.goto(page_file.as_uri())
        _wait(page, "[...document.querySelectorAll('audio')].every(a => a.readyState > 2)")
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth + 1")
        page.click("#go")
        _wait(page, f"document.querySelector('audio').currentTime > {starts[0] + 1.0}")
        at = "[...document.querySelectorAll('audio')].map(a => [a.currentTime, a.muted])"
        before = page.evaluate(at)
        page.keyboard.press("b")
        after = page.evaluate(at)
        pressed = page.get_attribute("#key-B", "aria-pressed")
        page.keyboard.press("x")
        back = page.evaluate(at)
        page.click("#go")
        stopped = page.evaluate("[...document.querySelectorAll('audio')].every(a => a.paused)")
        browser.close()
    assert not faults
    assert all(url.startswith(("file:", "data:")) for url in asked)
    assert [muted for _, muted in before] == [False, True]
    assert [muted for _, muted in after] == [True, False]
    assert [muted for _, muted in back] == [False, True]
    assert pressed == "true"
    assert stopped
    places = [time - start for (time, _), start in zip(after, starts, strict=True)]
    # an eighth of a second is a tenth of a turn at 57 rev/min, and browsers seek by packets
    assert abs(places[0] - places[1]) < 0.12
