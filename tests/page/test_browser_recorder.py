"""Recording in the page, in a real browser whose microphone is fed from a demo recording."""

from __future__ import annotations

import wave

import numpy as np
import pytest

from .conftest import CHROMIUM, DEMO

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine")

PHONE = {"width": 390, "height": 844}
FED_S = 18.0


@pytest.fixture(scope="module")
def fed(tmp_path_factory):
    """(WAV, m4a's samples) of the demo's chattering saw (simulated): idling, entry, cut."""
    from chatter.sound.recording import Recording

    with Recording(DEMO / "04-saw-chatter.mp4") as heard:
        rate = heard.rate_hz
        mono = np.concatenate([block[:, 0] for block in heard.blocks()])[: int(FED_S * rate)]
    path = tmp_path_factory.mktemp("fed") / "fed.wav"
    with wave.open(str(path), "wb") as out:
        out.setnchannels(1), out.setsampwidth(2), out.setframerate(rate)
        out.writeframes(np.round(np.clip(mono, -1, 1) * 32767).astype("<i2").tobytes())
    return path


@pytest.fixture(scope="module")
def microphone(playing, fed):
    """A browser that hears the demo once, and then silence."""
    browser = playing.chromium.launch(
        executable_path=CHROMIUM,
        args=[
            "--no-sandbox",
            "--use-fake-ui-for-media-stream",
            "--use-fake-device-for-media-stream",
            f"--use-file-for-fake-audio-capture={fed}%noloop",
        ],
    )
    yield browser
    browser.close()


def _start(tab, page):
    tab.goto(page.base)
    tab.fill("[name='cut.speed']", "106")
    tab.fill("[name='cutter.teeth']", "48")
    tab.get_by_role("button", name="Record here").click()
    tab.wait_for_selector("#recorder")


def test_what_is_recorded_is_judged_as_the_file_is(running, microphone, fed, tmp_path):
    page = running(tmp_path / "page", worker=None)
    wrong = []
    tab = microphone.new_page(viewport=PHONE)
    tab.on("pageerror", lambda error: wrong.append(str(error)))
    tab.on("console", lambda said: wrong.append(said.text) if said.type == "error" else None)
    _start(tab, page)
    tab.wait_for_timeout(4500)
    assert 2 <= int(tab.inner_text("#rec-time").removesuffix(" s")) <= 6
    assert tab.inner_text("#rec-turns").endswith("turns")
    assert "to go" in tab.inner_text("#rec-order .now")
    assert float(tab.get_attribute("#rec-level", "aria-valuenow")) > -50
    assert tab.evaluate("document.documentElement.scrollWidth") <= 390
    for _ in range(400):
        if int(tab.inner_text("#rec-time").removesuffix(" s")) >= FED_S:
            break
        tab.wait_for_timeout(100)
    assert tab.locator("#rec-order .now").count() == 3  # idling is behind
    assert "since idling" in tab.inner_text("#rec-cut")
    tab.get_by_role("button", name="Stop and listen").click()
    tab.wait_for_selector(".answer", timeout=90_000)
    assert not wrong
    (here,) = page.desk.spool.all("cut")
    told = {"cut.speed": "106", "cutter.teeth": "48"}
    where = page.send(("fed.wav", fed.read_bytes()), **told).headers["location"]
    file = page.wait(where.rpartition("/")[2])
    assert page.desk.spool.get(here.id).last.verdict == file.verdict == "chatter"
    assert here.last.stated["cut.speed"] == "106"
    page.stop()


def test_a_tab_that_is_closed_midway_leaves_its_recording_in_the_line(
    running, microphone, tmp_path
):
    page = running(tmp_path / "page")
    tab = microphone.new_page()
    _start(tab, page)
    tab.wait_for_timeout(3000)
    tab.close(run_before_unload=False)
    for _ in range(300):
        if any(kept.last for kept in page.desk.spool.all("cut")):
            break  # in the line, which comes a moment after the sound is kept
        page.client.get("/")
    (one,) = page.desk.spool.all("cut")
    assert one.last is not None and one.stated["cutter.teeth"] == "48"
    assert one.size_bytes > 44 + 48000  # a second or more of it
    page.stop()


def test_it_can_be_thrown_away(running, microphone, tmp_path):
    page = running(tmp_path / "page")
    tab = microphone.new_page()
    _start(tab, page)
    tab.wait_for_timeout(1200)
    tab.get_by_role("button", name="Throw it away").click()
    tab.wait_for_selector("#record:visible")
    assert not page.desk.spool.all("cut") and not list((tmp_path / "page" / "live").iterdir())
    page.stop()


def test_a_refused_microphone_is_one_sentence(running, chromium, tmp_path):
    page = running(tmp_path / "page")
    context = chromium.new_context()  # which nobody allowed anything
    tab = context.new_page()
    tab.goto(page.base)
    tab.get_by_role("button", name="Record here").click()
    tab.wait_for_selector("#rec-wrong:visible")
    assert "microphone" in tab.inner_text("#rec-wrong")
    assert tab.get_by_role("button", name="Record here").is_enabled()
    context.close()
    page.stop()


def test_over_the_plain_network_the_phone_records_itself(running, chromium, tmp_path):
    """A page under an address of the network is no secure one: the browser lends no microphone."""
    page = running(tmp_path / "page", lan=True)
    context = chromium.new_context(viewport=PHONE, has_touch=True, is_mobile=True)
    context.add_init_script("Object.defineProperty(window, 'isSecureContext', {value: false})")
    tab = context.new_page()
    tab.goto(f"{page.base}/enter?key={page.keyring.new_key()}")
    tab.get_by_role("button", name="Let this device in").click()
    tab.wait_for_selector("#own-recorder:visible")
    assert not tab.locator("#record").is_visible()
    assert "noise suppression" in tab.inner_text("#rec-phone")
    sound, film = tab.locator("#sound"), tab.locator("#film")
    assert sound.get_attribute("accept") == "audio/*" and sound.get_attribute("capture") is not None
    assert film.get_attribute("capture") == "environment"
    context.close()
    page.stop()
