"""The page in a real browser: from upload to label, on a phone and a laptop, for everyone."""

from __future__ import annotations

import re

import pytest

from .conftest import CHROMIUM

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine")

PHONE, LAPTOP = {"width": 390, "height": 844}, {"width": 1280, "height": 800}

#: What is smaller than a gloved finger: the target itself, or the label that belongs to it.
_SMALL = """() => [...document.querySelectorAll(
  "button, input:not([type=hidden]), select, textarea, summary, nav a, .button, .cards a, .rows a")]
  .filter((e) => e.checkVisibility() && getComputedStyle(e).opacity !== "0")
  .map((e) => (e.closest("label") || e)).map((e) => [e.getBoundingClientRect(), e])
  .filter(([box]) => box.height < 47.5 || box.width < 40)
  .map(([box, e]) => `${e.outerHTML.slice(0, 90)} ${box.width}x${box.height}`)"""


class Told(list):
    """Errors that a browser page reported."""

    def watch(self, tab):
        tab.on("console", lambda m: self.append(m.text) if m.type == "error" else None)
        tab.on("pageerror", lambda e: self.append(str(e)))
        tab.on("requestfailed", self._failed)
        return tab

    def _failed(self, request):
        if request.failure != "net::ERR_ABORTED":  # asked for, and not wanted any more
            self.append(f"{request.url} {request.failure}")


def _until(tab, holds: str, seconds: float = 10.0) -> None:
    """Wait until an expression holds; the page's policy forbids the usual way (eval)."""
    for _ in range(int(seconds / 0.05)):
        if tab.evaluate(holds):
            return
        tab.wait_for_timeout(50)
    raise AssertionError(f"never: {holds}")


@pytest.fixture(scope="module")
def shop(running, chromium, tmp_path_factory, short_aac):
    """A page on which a cutter was kept and a recording was sent from a phone and answered."""
    page = running(tmp_path_factory.mktemp("shop"), worker=None)
    told = Told()
    context = chromium.new_context(viewport=PHONE, has_touch=True, is_mobile=True)
    tab = told.watch(context.new_page())
    tab.goto(f"{page.base}/shop/cutter/new")
    tab.fill("[name='cutter.name']", "Relieved saw")
    tab.fill("[name='cutter.teeth']", "48")
    tab.get_by_role("button", name="Keep this card").tap()
    tab.wait_for_url("**/shop")
    tab.goto(page.base)
    tab.get_by_label("Cutter", exact=True).select_option(label="Relieved saw")
    tab.get_by_label(re.compile("^Spindle speed")).fill("106")
    tab.set_input_files("#file", short_aac)
    assert "short.m4a" in tab.inner_text("#chosen")
    tab.get_by_role("button", name="Listen", exact=True).tap()
    tab.wait_for_url("**/recordings/*")
    tab.wait_for_selector(".answer", timeout=90_000)
    page.phone, page.told, page.url = tab, told, tab.url
    page.id = tab.url.rpartition("/")[2]
    yield page
    context.close()
    if page.thread.is_alive():
        page.stop()


def test_the_answer_is_read_first(shop):
    assert shop.phone.locator("h1").inner_text() == "Chatter"
    assert shop.phone.locator(".action").inner_text()
    assert shop.phone.locator(".answer").bounding_box()["y"] < 300
    assert not shop.told


def test_the_sound_plays_and_the_play_line_follows(shop):
    tab = shop.phone
    tab.wait_for_selector("#scope[data-shown]")
    tab.locator("#play").tap()
    _until(tab, "player.currentTime > 0.3")
    at = tab.evaluate("[player.currentTime, +canvas.getAttribute('aria-valuenow')]")
    assert abs(at[0] - at[1]) < 0.2
    tab.locator("#play").tap()
    assert tab.evaluate("player.paused")
    assert not shop.told


def test_a_tap_on_the_picture_listens_from_there(shop):
    tab = shop.phone
    canvas = tab.locator("#canvas")
    canvas.scroll_into_view_if_needed()
    box = canvas.bounding_box()
    tab.touchscreen.tap(box["x"] + 58 + (box["width"] - 58) * 0.5, box["y"] + 100)
    _until(tab, "player.currentTime > 6")
    # Half-way through 14 s; a finger is 6 px wide, which is 0.3 s here, and it plays on.
    assert 6.5 < tab.evaluate("player.currentTime") < 8.5
    tab.evaluate("player.pause()")


def test_a_stretch_is_marked_zoomed_and_judged_alone(shop, chromium):
    before = len(shop.desk.spool.get(shop.id).takes)
    context = chromium.new_context(viewport=LAPTOP)
    tab = shop.told.watch(context.new_page())
    tab.goto(shop.url)
    tab.wait_for_selector("#scope[data-shown^='0.00-14.0']")
    canvas = tab.locator("#canvas")
    canvas.scroll_into_view_if_needed()
    box = canvas.bounding_box()

    def x(seconds: float) -> float:
        return box["x"] + 58 + (box["width"] - 58) * seconds / 14

    y = box["y"] + 120
    tab.mouse.move(x(4), y)
    assert re.search(r"4\.\d+ s, .*Hz, .*tooth passing", tab.inner_text("#readout"))
    tab.mouse.down()
    tab.mouse.move(x(13), y, steps=4)
    tab.mouse.up()
    marked = [float(tab.input_value(one)) for one in ("#from", "#to")]
    assert marked == pytest.approx([4, 13], abs=0.1)
    tab.reload()  # what was marked is marked again
    tab.wait_for_selector("#scope[data-shown^='0.00-14.0']")
    assert [float(tab.input_value(one)) for one in ("#from", "#to")] == marked
    tab.locator("#in").click()
    tab.wait_for_selector("#scope:not([data-shown^='0.00-14.0'])")
    assert tab.get_attribute("#scope", "data-shown").startswith("5.0")
    canvas.press("0")
    tab.wait_for_selector("#scope[data-shown^='0.00-14.0']")
    tab.get_by_role("button", name="Listen again").click()
    tab.wait_for_selector("text=Listens so far", timeout=90_000)
    tab.wait_for_selector(".answer", timeout=90_000)
    assert tab.locator("h1").inner_text() == "Chatter"
    again = [float(tab.input_value(one)) for one in ("#from", "#to")]
    assert again == pytest.approx(marked, abs=0.01)
    assert len(shop.desk.spool.get(shop.id).takes) == before + 1
    tab.locator("summary", has_text="Show it here").click()
    frame = tab.frame_locator("iframe[title^='Report']")
    assert frame.locator("h1").inner_text(timeout=30_000) == "Chatter"
    frame.locator("#screen").click()  # its own script runs in there
    tab.wait_for_timeout(100)
    assert float(frame.locator("#screen").get_attribute("aria-valuenow")) > 3
    context.close()
    assert not shop.told


def test_the_report_cannot_reach_the_page(shop, chromium):
    """The frame is of another origin: no cookies, no requests to us, no look at our page."""
    context = chromium.new_context()
    tab = context.new_page()
    tab.goto(f"{shop.url}/report")
    assert tab.evaluate("origin") == "null"
    assert (
        tab.evaluate("(() => { try { return document.cookie } catch { return 'no' } })()") == "no"
    )
    asked = "fetch('/recordings').then(() => 'reached', () => 'blocked')"
    assert tab.evaluate(asked) == "blocked"
    context.close()


def test_a_phone_with_the_key_gets_all_of_it(running, chromium, tmp_path, short_aac):
    """Picture, sound and the walled-off report too, of which every request needs the key."""
    page = running(tmp_path / "lan", lan=True, worker=None)
    told = Told()
    fields = {"cut.speed": "106", "cutter.teeth": "48"}
    where = page.send(("a.m4a", short_aac.read_bytes()), **fields).headers["location"]
    page.wait(where.rpartition("/")[2])
    context = chromium.new_context(viewport=PHONE)
    tab = context.new_page()
    tab.goto(f"{page.base}{where}")
    assert tab.inner_text("h1") == "A key is needed"
    tab.goto(f"{page.base}/enter?key={page.keyring.new_key()}")
    told.watch(tab)
    tab.get_by_role("button", name="Let this device in").click()
    tab.wait_for_selector("text=What is this cut doing?")
    tab.goto(f"{page.base}{where}")
    tab.wait_for_selector("#scope[data-shown]")
    _until(tab, "player.readyState > 0")
    tab.locator("summary", has_text="Show it here").click()
    frame = tab.frame_locator("iframe[title^='Report']")
    assert frame.locator("h1").inner_text(timeout=30_000) == "Chatter"
    assert not told
    context.close()
    page.stop()


def test_what_it_really_was_is_kept_over_reload_and_restart(shop, running, chromium):
    context = chromium.new_context(viewport=PHONE, color_scheme="dark")
    tab = shop.told.watch(context.new_page())
    tab.goto(shop.url)
    tab.locator("summary", has_text="How it is known").click()
    tab.get_by_label("What cured it").fill("unequal teeth")
    tab.locator("button.tap", has_text="Chatter").first.click()
    tab.wait_for_selector("#really .note")
    tab.reload()
    before = tab.inner_text("main")
    assert "cured by: unequal teeth" in before
    tab.locator("summary", has_text="How it is known").click()
    half = tab.get_by_label("Anything else worth keeping")
    half.fill("typed before the restart")
    takes = shop.desk.spool.get(shop.id).takes
    shop.stop()
    again = running(shop.settings.data, worker=None, port=shop.port)
    try:
        tab.locator("button.tap", has_text="Chatter").first.click()  # an old form still holds
        tab.wait_for_selector("#really .note >> text=typed before the restart")
        tab.reload()
        assert tab.inner_text("h1") == "Chatter"
        assert tab.evaluate("fetch(player.src).then((a) => a.status)") == 200
        assert again.desk.spool.get(shop.id).takes == takes
        tab.goto(f"{again.base}/recordings")
        assert "it was: chatter" in tab.inner_text("main")
    finally:
        context.close()
        again.stop()


@pytest.fixture(scope="module")
def still(running, tmp_path_factory, short_aac):
    """A page with a recording in every state, to be looked at only."""
    page = running(tmp_path_factory.mktemp("still"), worker=None)
    told = {"cut.speed": "106", "cutter.teeth": "48", "take.simulated": "yes"}
    page.ids = {}
    for name, data, fields in (
        ("done", short_aac.read_bytes(), told),
        ("failed", b"no sound " * 200, told),
        ("asks", short_aac.read_bytes(), {"cut.speed": "", "cutter.teeth": "many"}),
    ):
        page.ids[name] = page.send((f"{name}.m4a", data), **fields).headers["location"]
    page.wait(page.ids["done"].rpartition("/")[2])
    page.wait(page.ids["failed"].rpartition("/")[2])
    page.post("/shop/machine/new", **{"machine.name": "Window mill", "machine.speeds": "57, 85"})
    page.ids["runin"] = re.search(r"/shop/machine/\w+/runin", page.client.get("/shop").text)[0]
    again = page.send(("again.m4a", short_aac.read_bytes()), **told).headers["location"]
    page.wait(again.rpartition("/")[2])
    two = [page.ids["done"].rpartition("/")[2], again.rpartition("/")[2]]
    page.ids["choose"] = f"/compare?id={two[0]}&id={two[1]}"
    names = {f"name-{id_}": name for id_, name in zip(two, ("plain", "relieved"), strict=True)}
    page.ids["compared"] = page.post("/compare", id=two, **names).headers["location"]
    page.ids["tapped"] = page.send(("t.m4a", short_aac.read_bytes()), path="/tap").headers[
        "location"
    ]
    for name in ("compared", "tapped"):
        assert page.wait(page.ids[name].rpartition("/")[2]).state == "done", name
    yield page
    page.stop()


PLANNED = (
    "/plan?cutter.teeth=48&cut.material=grey_cast_iron_medium&cutter.form=slitting_saw"
    "&cutter.diameter=150&cut.depth=12&machine.speeds=38,57,85&machine.feeds=20,31.5,50"
)
LOOKED = {
    "home": "/",
    "no file": "/?wrong=none",
    "list": "/recordings",
    "done": "{done}",
    "failed": "{failed}",
    "asks": "{asks}",
    "plan": "/plan",
    "planned": PLANNED,
    "plan wrong": "/plan?cutter.teeth=x&cut.depth=deep",
    "taps": "/tap",
    "tapped": "{tapped}",
    "choose": "{choose}",
    "compared": "{compared}",
    "runin": "{runin}",
    "shop": "/shop",
    "machine": "/shop/machine/new",
    "enter": "/enter?key=abc",
    "nothing": "/recordings/none",
}


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_everyone_can_use_it(still, chromium, scheme):
    """axe finds nothing; targets are large; a phone never scrolls sideways."""
    from axe_playwright_python.sync_playwright import Axe

    axe = Axe()
    size = PHONE if scheme == "light" else LAPTOP
    context = chromium.new_context(viewport=size, color_scheme=scheme)
    tab = context.new_page()
    for name, path in LOOKED.items():
        tab.goto(still.base + path.format(**still.ids))
        for fold in tab.locator("details:not(.report) > summary").all():
            fold.click()
        found = axe.run(tab).response["violations"]
        assert not found, (name, [(one["id"], one["nodes"][0]["html"]) for one in found])
        wide = tab.evaluate("[document.documentElement.scrollWidth, innerWidth]")
        assert wide[0] <= wide[1], name
        if name not in ("enter", "nothing"):
            assert tab.evaluate(_SMALL) == [], name
    context.close()


def test_the_keyboard_is_enough(still, chromium):
    context = chromium.new_context(viewport=LAPTOP)
    tab = context.new_page()
    tab.goto(still.base + still.ids["done"])
    tab.wait_for_selector("#scope[data-shown]")
    tab.keyboard.press("Tab")
    assert tab.evaluate("document.activeElement.textContent") == "Skip to the content"
    tab.locator("#canvas").focus()
    for key in ("ArrowRight",) * 10 + ("[",) + ("ArrowRight",) * 20 + ("]",):
        tab.keyboard.press(key)
    marked = [float(tab.input_value(one)) for one in ("#from", "#to")]
    # Each step is a fiftieth of what is shown, 14 s.
    assert marked == pytest.approx([2.8, 8.4], abs=0.05)
    tab.keyboard.press(" ")
    _until(tab, "!player.paused")
    tab.keyboard.press(" ")
    tab.keyboard.press("Escape")
    assert tab.input_value("#from") == ""
    context.close()


def test_several_files_are_dropped_and_what_is_not_taken_is_named(still, chromium):
    context = chromium.new_context(viewport=LAPTOP)
    tab = context.new_page()
    tab.goto(still.base)
    tab.evaluate(
        """() => {
          const carried = new DataTransfer();
          for (const [name, text] of [["a.m4a", "sound"], ["empty.m4a", ""], ["b.wav", "noise"]])
            carried.items.add(new File([text], name));
          for (const kind of ["dragenter", "dragover", "drop"])
            document.body.dispatchEvent(
              new DragEvent(kind, {dataTransfer: carried, bubbles: true, cancelable: true}));
        }"""
    )
    assert "empty.m4a" in tab.inner_text("#chosen .refused")
    tab.get_by_role("button", name="Remove b.wav").click()
    tab.get_by_label(re.compile("^Spindle speed")).fill("57")
    tab.get_by_label(re.compile("^Teeth")).fill("48")
    tab.get_by_role("button", name="Listen", exact=True).click()
    tab.wait_for_url("**/recordings/*")
    assert still.desk.spool.all()[0].name == "a.m4a"
    context.close()


def test_all_of_it_works_without_scripts(still, chromium, short_aac):
    context = chromium.new_context(viewport=PHONE, java_script_enabled=False)
    tab = context.new_page()
    tab.goto(still.base)
    tab.get_by_label(re.compile("^Spindle speed")).fill("106")
    tab.get_by_label(re.compile("^Teeth")).fill("48")
    tab.set_input_files("#file", short_aac)
    tab.get_by_role("button", name="Listen", exact=True).click()
    tab.wait_for_selector(".answer", timeout=90_000)
    assert tab.inner_text("h1") == "Chatter"
    assert tab.locator("audio").is_visible() and not tab.locator("#canvas").is_visible()
    tab.get_by_label(re.compile("^Units")).or_(tab.locator(".units button")).first.click()
    assert "rev/min" in tab.inner_text("main") and tab.url.startswith(still.base)
    context.close()
