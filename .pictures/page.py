"""Make page.webp, the picture of the page in the README, from a demo recording (simulated).

Needs Chromium and the packages for tests; run by .pictures/make.
"""

from __future__ import annotations

import io
import os
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from playwright.sync_api import sync_playwright

HERE = Path(__file__).parent
TAKE = HERE.parent / "recordings_demo" / "04-saw-chatter.mp4"
CHROMIUM = os.environ.get("CHROMIUM") or shutil.which("chromium")
GROUND = (220, 218, 210)


def main() -> None:
    from PIL import Image

    with tempfile.TemporaryDirectory() as folder:
        command = [sys.executable, "-m", "chatter", "page", "--port", "0"]
        page = subprocess.Popen(
            [*command, "--data", f"{folder}/page", "--book", f"{folder}/book.db"],
            stdout=subprocess.PIPE,
            text=True,
            cwd=HERE.parent,
        )
        try:
            base = re.search(r"http://\S+:\d+", page.stdout.readline())[0]
            with sync_playwright() as play:
                browser = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
                laptop, phone = _shots(browser, base)
                browser.close()
        finally:
            page.terminate()
            page.wait()
    whole = Image.new("RGB", (laptop.width + phone.width + 90, laptop.height + 60), GROUND)
    whole.paste(laptop, (30, 30))
    whole.paste(phone, (laptop.width + 60, 30 + (laptop.height - phone.height) // 2))
    whole.save(HERE / "page.webp", quality=82, method=6)


def _shots(browser, base: str):
    tab = browser.new_page(viewport={"width": 1100, "height": 1448})
    tab.goto(base)
    tab.fill("[name='cut.speed']", "106")
    tab.fill("[name='cutter.teeth']", "48")
    tab.click("summary")
    tab.select_option("[name='take.simulated']", "yes")
    tab.set_input_files("#file", TAKE)
    tab.click("#go")
    tab.wait_for_selector(".answer", timeout=60_000)
    tab.wait_for_selector("#scope[data-shown]")
    box = tab.locator("#canvas").bounding_box()
    tab.mouse.move(box["x"] + 380, box["y"] + 120)
    tab.mouse.down()
    tab.mouse.move(box["x"] + 700, box["y"] + 120, steps=4)
    tab.mouse.up()
    laptop = _picture(tab)
    small = browser.new_page(viewport={"width": 390, "height": 844})
    small.goto(base)
    return laptop, _picture(small)


def _picture(tab):
    from PIL import Image

    tab.wait_for_timeout(300)
    return Image.open(io.BytesIO(tab.screenshot())).convert("RGB")


if __name__ == "__main__":
    main()
