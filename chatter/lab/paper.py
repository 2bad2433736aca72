"""Reports on paper and phone: ``python -m chatter.lab.paper``.

Listens to the demo recordings (simulated), each in a program of its own as a machinist would,
and prints how long the answer took, how large report and picture are, how many pages they make
on A4 and Letter, how much of the first page is used, and how many screens of a phone they fill.
Needs Chromium and the packages for tests.
"""

from __future__ import annotations

import argparse
import contextlib
import re
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

#: Sheet -> width and height [mm], ISO 216 and ANSI/ASME Y14.1 (8.5 by 11 inches).
SHEETS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
#: Margins of print.css [mm]: above and below, left and right.
MARGINS = (10.0, 12.0)
#: A phone's screen [CSS pixels].
PHONE = {"width": 390, "height": 844}
PIXELS_PER_MM = 96 / 25.4
#: The most pages a report of one pass may have, and screens from verdict to cautions.
MOST_PAGES, MOST_SCREENS = 3, 6.0

_DEPTH = "e => e ? e.getBoundingClientRect().bottom + scrollY : 0"


@dataclass(frozen=True)
class PrintedReport:
    """A report as printed and as read on a phone."""

    pages: dict[str, int]  # sheet -> pages
    first_page: dict[str, float]  # sheet -> share of the first page's height that is used
    caution_screens: float  # from the top to the end of the cautions
    screens: float  # all that stands open


@contextlib.contextmanager
def chromium() -> Iterator[Any]:
    """A headless Chromium.

    Raises
    ------
    FileNotFoundError
        There is none on this machine.
    """
    from playwright.sync_api import sync_playwright

    found = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("chrome")
    if found is None:
        raise FileNotFoundError("There is no Chromium on this machine: install it and run again.")
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=found, args=["--no-sandbox"])
        try:
            yield browser
        finally:
            browser.close()


def print_report(browser: Any, report: Path) -> PrintedReport:
    """Print a report on each sheet and open it on a phone.

    Parameters
    ----------
    browser : playwright Browser
    report : Path
        The HTML file.
    """
    tab = browser.new_page(viewport=PHONE)
    tab.goto(report.resolve().as_uri())
    end = float(tab.eval_on_selector("#cautions", _DEPTH)) if tab.query_selector("#cautions") else 0
    screens = float(tab.evaluate("document.documentElement.scrollHeight")) / PHONE["height"]
    pages, used = {}, {}
    for name, (wide, high) in SHEETS.items():
        # As wide as the paper within its margins, so that lines break as they do in print.
        tab.set_viewport_size(
            {"width": round((wide - 2 * MARGINS[1]) * PIXELS_PER_MM), "height": 1000}
        )
        tab.emulate_media(media="print")
        depth = float(tab.eval_on_selector(".page-one", "e => e.getBoundingClientRect().height"))
        used[name] = depth / ((high - 2 * MARGINS[0]) * PIXELS_PER_MM)
        tab.emulate_media(media="null")
        pdf = tab.pdf(format=name, print_background=True)
        pages[name] = len(re.findall(rb"/Type\s*/Page\b", pdf))
    tab.close()
    return PrintedReport(pages, used, end / PHONE["height"], screens)


def main(arguments: list[str] | None = None) -> int:
    """Measure the reports of the demo recordings; 1 when one is longer than it may be."""
    from chatter.demo import demo_takes

    parser = argparse.ArgumentParser(prog="python -m chatter.lab.paper", description=__doc__)
    parser.add_argument("--only", metavar="NAME", help="recordings whose name begins so")
    options = parser.parse_args(arguments)
    takes = [t for t in demo_takes() if t.recording.name.startswith(options.only or "")]
    long = []
    print(
        "simulated recordings       answer  report  picture  pages       page one     phone screens"
    )
    print(
        "                             s       kB       kB    A4  Letter   A4  Letter  cautions  all"
    )
    with chromium() as browser, tempfile.TemporaryDirectory(prefix="chatter-paper-") as folder:
        for take in takes:
            report = Path(folder) / f"{take.recording.stem}.html"
            picture = report.with_suffix(".png")
            begun = time.monotonic()
            command = [sys.executable, "-m", "chatter", "listen", str(take.recording), "--quiet"]
            where = ["--job", str(take.job), "--report", str(report), "--picture", str(picture)]
            subprocess.run([*command, *where], check=True)
            took = time.monotonic() - begun
            one = print_report(browser, report)
            print(
                f"{take.recording.name:25s} {took:6.1f} {_kb(report):8.0f} {_kb(picture):8.0f} "
                f"{one.pages['A4']:5d} {one.pages['Letter']:6d} "
                f"{one.first_page['A4']:6.0%} {one.first_page['Letter']:6.0%} "
                f"{one.caution_screens:9.1f} {one.screens:5.1f}"
            )
            passes = report.read_text(encoding="utf-8").count('<section class="pass')
            over = one.caution_screens > MOST_SCREENS or max(one.first_page.values()) > 1
            if over or (passes < 2 and max(one.pages.values()) > MOST_PAGES):
                long.append(take.recording.name)
    print(f"longer than they may be: {', '.join(long) or 'none'}")
    return 1 if long else 0


def _kb(path: Path) -> float:
    return path.stat().st_size / 1e3


if __name__ == "__main__":
    sys.exit(main())
