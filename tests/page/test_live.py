"""A recording made in the page comes in pieces: whole, in order, and never lost."""

from __future__ import annotations

import io
import time
import wave
from dataclasses import replace

import numpy as np
import pytest

from chatter.page.limits import PageLimits

from .conftest import QUICK

RATE = 8000
TOLD = {"cut.speed": "106", "cutter.teeth": "48", "rate": str(RATE)}


@pytest.fixture
def page(run):
    return run()


def _begin(page, **more) -> str:
    answer = page.post("/live", **{**TOLD, **more})
    assert answer.status_code == 200, answer.text
    return answer.json()["id"]


def _piece(page, id_: str, number: int, samples: bytes, token: str | None = None):
    headers = {"x-form-token": page.token() if token is None else token}
    return page.client.post(f"/live/{id_}/{number}", content=samples, headers=headers)


def _samples(one: int, count: int = RATE // 2) -> bytes:
    return np.full(count, one, "<i2").tobytes()


def _kept(page):
    return page.desk.spool.all("cut")


def _sound(page, one) -> tuple[int, np.ndarray]:
    data = (page.desk.spool.folder(one) / "recording").read_bytes()
    with wave.open(io.BytesIO(data)) as made:  # the standard library's reader
        assert (made.getnchannels(), made.getsampwidth()) == (1, 2)
        return made.getframerate(), np.frombuffer(made.readframes(made.getnframes()), "<i2")


def test_pieces_become_a_recording_in_the_line(page):
    id_ = _begin(page)
    for number in range(4):
        assert _piece(page, id_, number, _samples(number)).json() == {"more": True}
    told = page.post(f"/live/{id_}/end", **{**TOLD, "cutter.teeth": "47"}).json()
    (one,) = _kept(page)
    assert told["kept"] == [f"/recordings/{one.id}"]
    assert one.name.startswith("Recorded here") and one.stated["cutter.teeth"] == "47"
    rate, samples = _sound(page, one)
    assert rate == RATE
    assert np.array_equal(samples, np.repeat(np.arange(4, dtype="<i2"), RATE // 2))
    assert page.wait(one.id).state == "failed"  # the worker of this test hears nothing
    assert not list((page.settings.data / "live").iterdir())
    page.client.get("/")
    assert page.post(f"/live/{id_}/end").status_code == 404


def test_a_piece_that_comes_twice_is_taken_once_and_none_is_left_out(page):
    id_ = _begin(page)
    for number, value in ((0, 1), (0, 9), (1, 2)):
        assert _piece(page, id_, number, _samples(value)).status_code == 200
    early = _piece(page, id_, 3, _samples(4))
    assert early.status_code == 409 and early.json() == {"wanted": 2}
    page.post(f"/live/{id_}/end", **TOLD)
    _, samples = _sound(page, _kept(page)[0])
    assert np.array_equal(samples, np.repeat(np.array([1, 2], "<i2"), RATE // 2))


def test_a_browser_that_goes_leaves_what_was_recorded_in_the_line(run):
    page = run(limits=replace(PageLimits(), workers=1, nice=0, live_silence_s=0.3))
    id_ = _begin(page)
    _piece(page, id_, 0, _samples(5))
    until = time.monotonic() + 10
    while not any(one.last for one in _kept(page)):  # kept first, then put in the line
        assert time.monotonic() < until
        time.sleep(0.05)
    (one,) = _kept(page)
    assert one.stated["cut.speed"] == "106"
    assert len(_sound(page, one)[1]) == RATE // 2


def test_a_page_that_was_stopped_takes_it_up_again(run, tmp_path):
    page = run(tmp_path / "p")
    id_ = _begin(page)
    _piece(page, id_, 0, _samples(5))
    page.stop()
    path = tmp_path / "p" / "live" / f"{id_}.wav"
    with path.open("ab") as out:
        out.write(b"\x01")  # half a sample, as a power cut leaves it
    again = run(tmp_path / "p", worker=QUICK)
    (one,) = _kept(again)
    assert len(_sound(again, one)[1]) == RATE // 2 and one.last is not None
    assert not path.exists()


def test_what_is_thrown_away_is_gone(page):
    id_ = _begin(page)
    _piece(page, id_, 0, _samples(5))
    page.post(f"/live/{id_}/drop")
    assert not _kept(page) and not list((page.settings.data / "live").iterdir())


def test_nothing_recorded_is_one_sentence(page):
    id_ = _begin(page)
    answer = page.post(f"/live/{id_}/end", **TOLD)
    assert answer.status_code == 422 and "Nothing was recorded" in answer.text
    assert not _kept(page) and not list((page.settings.data / "live").iterdir())


@pytest.mark.parametrize("rate", ["", "0", "1e3", "999999", "-8000", "٨٠٠٠"])
def test_an_odd_rate_is_refused(page, rate):
    assert page.post("/live", **{**TOLD, "rate": rate}).status_code == 422


def test_a_piece_without_the_token_is_refused(page):
    id_ = _begin(page)
    assert _piece(page, id_, 0, _samples(5), token="0" * 64).status_code == 403
    assert (page.settings.data / "live" / f"{id_}.wav").stat().st_size == 44


def test_it_ends_where_a_recording_is_as_long_as_it_may_be(run):
    page = run(limits=replace(PageLimits(), workers=1, nice=0, duration_s=1.1))
    id_ = _begin(page)
    assert _piece(page, id_, 0, _samples(1)).json() == {"more": True}
    assert _piece(page, id_, 1, _samples(1, RATE)).json() == {"more": False}
    page.post(f"/live/{id_}/end", **TOLD)
    assert len(_sound(page, _kept(page)[0])[1]) == RATE // 2


def test_more_at_once_than_allowed_are_told_so(run):
    page = run(limits=replace(PageLimits(), workers=1, nice=0, live_at_once=2))
    _begin(page), _begin(page)
    answer = page.post("/live", **TOLD)
    assert answer.status_code == 503 and "Busy" in answer.text


def test_only_the_page_itself_is_lent_the_microphone(page):
    policy = page.client.get("/").headers["permissions-policy"]
    assert "microphone=(self)" in policy and "camera=()" in policy
