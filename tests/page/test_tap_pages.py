"""Tap tests over HTTP, with the real worker: one file of all taps, or one for each."""

from __future__ import annotations

import io
import re
import wave

import numpy as np
import pytest

from chatter.logbook import RecordingRow, TapRow, open_book

SETUP = {"cut.speed": "106", "cutter.teeth": "48", "take.simulated": "yes"}


@pytest.fixture(scope="module")
def page(running, tmp_path_factory):
    made = running(tmp_path_factory.mktemp("taps"), worker=None)
    yield made
    made.stop()


def _taps(hz: float) -> bytes:
    """Ten taps that ring at a frequency with a damping of 2 %."""
    rate = 24000
    rng = np.random.default_rng(3)
    sound = rng.normal(0, 1e-4, rate * 22)
    t = np.arange(rate) / rate
    ring = np.exp(-2 * np.pi * hz * 0.02 * t) * np.sin(2 * np.pi * hz * t)
    for n in range(10):
        at = int((1 + 2 * n) * rate)
        sound[at : at + rate] += 0.4 * (1 + 0.1 * rng.normal()) * ring
    out = io.BytesIO()
    with wave.open(out, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(rate)
        file.writeframes((np.clip(sound, -1, 1) * 32767).astype("<i2").tobytes())
    return out.getvalue()


def _chatter(page, where: str) -> dict:
    """The chatter found in the newest listen of a recording."""
    assert page.wait(where.rpartition("/")[2]).state == "done"
    (one,) = page.client.get(f"{where}/findings").json()["passes"]
    assert one["chatter"] is not None
    return one["chatter"]


def test_taps_are_heard_drawn_and_named_in_a_listen(page, short_aac):
    sent = page.send(("cut.m4a", short_aac.read_bytes()), **SETUP).headers["location"]
    first = _chatter(page, sent)
    assert first["mode_below"] is None
    rings_hz = 0.93 * first["frequency_hz"]  # a little below what was heard, as a spring would
    answer = page.send(("arbor.wav", _taps(rings_hz)), path="/tap", what="arbor")
    id_ = answer.headers["location"].rpartition("/")[2]
    assert page.wait(id_).state == "done", page.wait(id_)
    shown = page.client.get(f"/tap/{id_}").text
    told = re.search(r"(\d+\.\d) ± [\d.]+ Hz", shown)
    assert float(told[1]) == pytest.approx(rings_hz, rel=0.01) and "on the arbor" in shown
    assert "Take care" in shown
    drawing = page.client.get(f"/tap/{id_}/drawing")
    assert drawing.headers["content-type"] == "image/svg+xml" and "xmlns=" in drawing.text[:300]
    assert "script" not in drawing.headers["content-security-policy"]
    with open_book(page.settings.book) as book:
        (row,) = book.list(TapRow)
        assert row.what == "arbor" and len(row.found.modes) == 1
    assert page.post(f"{sent}/listen", **SETUP, taps=id_).status_code == 303
    named = _chatter(page, sent)["mode_below"]
    assert named["tapped_on"] == "arbor"
    assert named["frequency_hz"] == pytest.approx(rings_hz, rel=0.01)


def test_one_file_for_each_tap_is_one_test(page):
    whole = _taps(640.0)
    with wave.open(io.BytesIO(whole)) as file:
        rate, frames = file.getframerate(), file.readframes(file.getnframes())
    blows = []
    for n in range(6):  # each from just before its blow on
        out = io.BytesIO()
        with wave.open(out, "wb") as cut:
            cut.setnchannels(1)
            cut.setsampwidth(2)
            cut.setframerate(rate)
            at = int((0.99 + 2 * n) * rate)
            cut.writeframes(frames[2 * at : 2 * (at + rate)])
        blows.append((f"blow {n + 1}.wav", out.getvalue()))
    answer = page.send(*blows, path="/tap", what="cutter")
    id_ = answer.headers["location"].rpartition("/")[2]
    assert page.wait(id_).state == "done", page.wait(id_)
    shown = page.client.get(f"/tap/{id_}").text
    assert "6 taps heard on the cutter, 6 used" in shown and "blow 1.wav and 5 more" in shown
    assert float(re.search(r"(\d+\.\d) ± [\d.]+ Hz", shown)[1]) == pytest.approx(640.0, rel=0.01)
    with open_book(page.settings.book) as book:
        row = book.list(TapRow)[-1]
        assert row.found.source == "6 recordings, the first blow 1.wav"
        names = {one.name for one in book.list(RecordingRow, kind="tap")}
        assert {name for name, _ in blows} <= names

    broken = page.send(blows[0], ("note.wav", b"no sound at all" * 9), path="/tap")
    failed = page.wait(broken.headers["location"].rpartition("/")[2])
    assert failed.state == "failed" and failed.sentence.startswith("note.wav ")
