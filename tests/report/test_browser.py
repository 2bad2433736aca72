"""The report in a real browser: widths, errors, and the cursor that follows the sound."""

from __future__ import annotations

import re
import shutil
import subprocess

import pytest

from chatter.report.html import listen_page

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("chrome")

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine")

_WATCH = """<script>
window.faults = [];
addEventListener("error", (e) => faults.push(e.message));
addEventListener("securitypolicyviolation", (e) => faults.push("CSP " + e.violatedDirective));
</script>"""
_TELL = """<script>
const tell = () => {
  const wide = [...document.querySelectorAll("body *")].filter((e) => {
    if (e.closest("svg") && e.tagName !== "svg" || e.classList.contains("skip")) return false;
    const box = e.getBoundingClientRect();
    return box.width && box.right > innerWidth + 1;
  }).map((e) => e.tagName + "." + e.className);
  parent.postMessage([innerWidth, document.documentElement.scrollWidth,
    faults.join(";") || "none", wide.slice(0, 5).join(";") || "none"].join("|"), "*");
};
for (const fold of document.querySelectorAll("details")) fold.open = true;
tell();
</script>"""

#: A window cannot be as narrow as a phone; a frame in it can.
_OUTER = """<!doctype html><meta charset="utf-8"><body><script>
const told = {};
addEventListener("message", (e) => {
  const frame = [...document.querySelectorAll("iframe")].find((f) => f.contentWindow === e.source);
  told[frame.name] = e.data;
  document.body.dataset.told = Object.entries(told).map((p) => p.join("=")).join("\\n");
});
</script>FRAMES</body>"""
_WIDTHS = (380, 1280)


def _run(page: str, tmp_path, *flags: str) -> tuple[str, str]:
    path = tmp_path / "report.html"
    path.write_text(page, encoding="utf-8")
    done = subprocess.run(
        [CHROMIUM, "--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars",
         "--autoplay-policy=no-user-gesture-required", "--enable-logging=stderr",
         f"--user-data-dir={tmp_path / 'profile'}", *flags, "--dump-dom", path.as_uri()],
        capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    return done.stdout, done.stderr


@pytest.fixture(scope="module")
def looked(cases, made, wav_sound, tmp_path_factory):
    """What the browser tells of each kind of page at each width; one start for all."""
    folder = tmp_path_factory.mktemp("browser")
    frames = []
    for name, make in cases.items():
        found = make()
        page = listen_page(found, made.exhibits(found, columns=200, rows=80), sound=wav_sound(0.5))
        page = page.replace("<style>", _WATCH + "<style>", 1).replace("</body>", _TELL + "</body>")
        (folder / f"{name}.html").write_text(page, encoding="utf-8")
        frames += [
            f'<iframe name="{name}-{width}" src="{name}.html" width="{width}" height="900" '
            'style="border:0"></iframe>'
            for width in _WIDTHS
        ]
    outer = _OUTER.replace("FRAMES", "".join(frames))
    dom, log = _run(outer, folder, "--window-size=1400,1000", "--virtual-time-budget=6000")
    told = re.search(r'data-told="([^"]*)"', dom)
    assert told, log[-500:]
    return dict(line.split("=", 1) for line in told.group(1).split("\n")), log


@pytest.mark.parametrize("width", _WIDTHS)
def test_no_sideways_scroll_and_no_errors(looked, cases, width):
    told, log = looked
    for name in cases:
        inner, scroll, faults, wide = told[f"{name}-{width}"].split("|")
        assert int(inner) == width, name
        assert int(scroll) <= width, name
        assert faults == "none", name
        assert wide == "none", name
    assert "CONSOLE" not in log


def test_a_tap_on_a_pass_moves_sound_and_cursor(made, wav_sound, tmp_path):
    found = made.findings()
    sound = wav_sound(found.source.duration_s)
    sound.offset_s = 0.5
    page = listen_page(found, made.exhibits(found, columns=80, rows=40), sound=sound)
    probe = """<script>
    const player = document.getElementById("player");
    const done = () => { document.body.dataset.told = [player.currentTime,
      parseFloat(document.getElementById("cursor").style.left),
      document.getElementById("screen").getAttribute("aria-valuenow")].join("|"); };
    const go = () => { player.addEventListener("seeked", done, {once: true});
      document.querySelector(".tag").click(); };
    player.readyState ? go() : player.addEventListener("loadedmetadata", go);
    </script>"""
    dom, log = _run(
        page.replace("</body>", probe + "</body>"), tmp_path, "--virtual-time-budget=8000"
    )
    told = re.search(r'data-told="([^"]*)"', dom)
    assert told, log[-500:]
    now, left, spoken = (float(v) for v in told.group(1).split("|"))
    start = found.passes[0].start_s
    # The picture's time runs offset_s ahead of the player's.
    # It plays on from there, so a little later is right; less than the offset.
    assert 0 <= now - (start - 0.5) < 0.3
    assert left == pytest.approx(100 * (now + 0.5) / found.source.duration_s, abs=1.0)
    assert spoken == pytest.approx(now + 0.5, abs=0.3)
