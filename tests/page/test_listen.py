"""From an upload to an answer, corrections, label and restart: over HTTP, with the real worker."""

from __future__ import annotations

import json
import re
from dataclasses import replace

import pytest

from chatter.logbook import LabelRow, ListenRow, RecordingRow, open_book, strike
from chatter.page.limits import PageLimits

SETUP = {"cut.speed": "106", "cutter.teeth": "48", "take.simulated": "yes"}
NOTHING = {"cut.speed": "", "cutter.teeth": ""}


@pytest.fixture(scope="module")
def heard(running, tmp_path_factory, short_aac):
    """A page on which one recording was heard."""
    page = running(tmp_path_factory.mktemp("heard"), worker=None)
    answer = page.send(("slot 7.m4a", short_aac.read_bytes()), **SETUP)
    page.id = answer.headers["location"].rpartition("/")[2]
    page.first = page.wait(page.id)
    yield page
    if page.thread.is_alive():
        page.stop()


def test_the_verdict_is_the_simulated_truth(heard):
    assert heard.first.state == "done", heard.first
    assert heard.first.verdict == "chatter"
    shown = heard.client.get(f"/recordings/{heard.id}").text
    assert re.search(r"<h1[^>]*>Chatter</h1>", shown)
    assert "slot 7.m4a" in shown and "Simulated" in shown and "Do this first" in shown
    assert "Take care" in shown


def test_the_answer_is_in_the_logbook(heard):
    with open_book(heard.settings.book) as book:
        (recording,) = book.list(RecordingRow)
        listens = book.list(ListenRow, recording=recording)
        assert recording.name == "slot 7.m4a" and recording.simulated
        assert listens[0].verdict == "chatter"
        assert listens[0].findings.source.name == "slot 7.m4a"


def test_the_report_is_walled_off(heard):
    answer = heard.client.get(f"/recordings/{heard.id}/report")
    policy = answer.headers["content-security-policy"]
    assert (
        policy.startswith("sandbox allow-scripts allow-downloads allow-modals;")
        and "allow-same-origin" not in policy
    )
    assert "default-src 'none'" in policy and "connect-src" not in policy
    assert answer.text.startswith("<!doctype html>") and "slot 7.m4a" in answer.text
    assert str(heard.settings.data) not in answer.text
    saved = heard.client.get(f"/recordings/{heard.id}/report?save=1")
    assert saved.headers["content-disposition"].startswith("attachment")
    shown = heard.client.get(f"/recordings/{heard.id}").text
    assert (
        'sandbox="allow-scripts allow-downloads allow-modals"' in shown
        and "allow-same-origin" not in shown
    )


def test_the_findings_are_to_be_had_and_tell_no_place(heard):
    answer = heard.client.get(f"/recordings/{heard.id}/findings")
    found = json.loads(answer.text)
    assert found["verdict"] == "chatter" and found["source"]["path"] == ""
    assert str(heard.settings.data) not in answer.text


def test_the_picture_to_share_is_to_be_had(heard):
    answer = heard.client.get(f"/recordings/{heard.id}/share")
    assert answer.headers["content-type"] == "image/png"
    assert answer.headers["content-disposition"].startswith("attachment")
    assert answer.content.startswith(b"\x89PNG")
    assert answer.content[16:24] == (1080).to_bytes(4, "big") + (1350).to_bytes(4, "big")


def test_the_sound_comes_in_parts(heard):
    whole = heard.client.get(f"/recordings/{heard.id}/sound")
    assert whole.headers["content-type"] == "audio/mp4" and whole.status_code == 200
    part = heard.client.get(f"/recordings/{heard.id}/sound", headers={"range": "bytes=100-199"})
    assert part.status_code == 206 and part.content == whole.content[100:200]


def test_a_tile_shows_the_chatter(heard):
    asked = {"from": 4, "to": 12, "low": 400, "high": 1200, "columns": 80, "rows": 100}
    answer = heard.client.get(f"/recordings/{heard.id}/tile", params=asked)
    rows = [answer.content[80 * r : 80 * r + 80] for r in range(100)]
    loudest = max(range(100), key=lambda r: sum(rows[r]))
    at_hz = 400 * 3 ** ((loudest + 0.5) / 100)
    found = json.loads(heard.client.get(f"/recordings/{heard.id}/findings").text)
    family = [found["passes"][0]["chatter"]["frequency_hz"]]
    family += found["passes"][0]["chatter"]["family_hz"]
    assert min(abs(at_hz / f - 1) for f in family) < 0.02  # a row is 1.1 % high


@pytest.mark.parametrize(
    "asked",
    [
        {"from": "nan"}, {"from": "inf"}, {"from": "x"}, {"to": "-5"}, {"from": "5", "to": "5"},
        {"columns": "100000"}, {"rows": "0"}, {"low": "-1"}, {"high": "1e9"}, {"to": "1e12"},
    ],
)  # fmt: skip
def test_an_odd_tile_is_refused(heard, asked):
    answer = heard.client.get(f"/recordings/{heard.id}/tile", params=asked)
    assert answer.status_code == 422 and "Traceback" not in answer.text


def test_a_stretch_is_judged_alone_without_sending_the_file_again(heard):
    fields = {**SETUP, "from": "5", "to": "0:13"}
    assert heard.post(f"/recordings/{heard.id}/listen", **fields).status_code == 303
    take = heard.wait(heard.id)
    assert take.number == 2 and take.state == "done"
    found = json.loads(heard.client.get(f"/recordings/{heard.id}/findings").text)
    assert found["job"]["take"]["span_s"] == [5, 13]
    assert all(one["start_s"] >= 5 and one["end_s"] <= 13 for one in found["passes"])
    shown = heard.client.get(f"/recordings/{heard.id}").text
    assert 'name="from" inputmode="decimal" autocomplete="off" value="5"' in shown
    assert "Listens so far" in shown
    first = heard.client.get(f"/recordings/{heard.id}?take=1")
    assert first.status_code == 200


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"cutter.teeth": "lots"}, "The number of teeth &#39;lots&#39; is not a whole number"),
        ({"cut.speed": ""}, "Spindle speed is missing"),
        ({"cutter.diameter": "6 cats"}, "unknown unit"),
        ({"from": "20", "to": "30"}, "the recording is 14"),
        ({"from": "9", "to": "8"}, "too short"),
        ({"from": "soon"}, "is not a time"),
        ({"cut.observed": "12 mm sometime"}, "is not a depth, a speed and what it did"),
    ],
)
def test_what_is_wrong_stands_beside_its_field_and_what_was_typed_is_kept(heard, fields, said):
    before = len(heard.desk.spool.get(heard.id).takes)
    answer = heard.post(f"/recordings/{heard.id}/listen", **{**SETUP, **fields})
    assert answer.status_code == 422 and said in answer.text
    assert 'aria-invalid="true"' in answer.text and 'aria-describedby="' in answer.text
    for text in fields.values():
        assert text in answer.text
    assert len(heard.desk.spool.get(heard.id).takes) == before


def test_labels_are_kept_for_each_pass_and_none_is_overwritten(heard):
    path = f"/recordings/{heard.id}/label"
    for wrong in ("nonsense", "1:nonsense", "x:chatter", ""):
        assert heard.post(path, say=wrong).status_code == 422
    assert heard.post(path, say="1:chatter", how_known="telepathy").status_code == 422
    first = {"say": "1:side_rubbing", "cure": "a relieved cutter", "by": "AB", "how_known": "heard"}
    assert heard.post(path, **first).status_code == 303
    assert heard.post(path, say="1:chatter", cure="less <b>depth</b>", by="CD").status_code == 303
    shown = heard.client.get(f"/recordings/{heard.id}").text
    assert "less &lt;b&gt;depth&lt;/b&gt;" in shown and "says AB, by ear" in shown
    assert 'name="by" autocomplete="off" maxlength="12" value="CD"' in shown, "initials are kept"
    with open_book(heard.settings.book) as book:
        one, two = book.list(LabelRow)
        assert (one.verdict, two.verdict) == ("side_rubbing", "chatter")
        assert two.pass_index == 1 and two.start_s is not None and not two.blind
    assert "it was: chatter" in heard.client.get("/recordings").text
    assert "as last heard" in heard.post(path, say="9:chatter").text
    assert "1 passes on which people do not agree" in heard.client.get("/record").text


def test_blind_the_answer_waits_for_a_label(heard):
    shown = heard.client.get(f"/recordings/{heard.id}").text
    answer = re.search(r'<h1 id="answer-h">(.*?)</h1>', shown)
    assert heard.post("/blind", blind="1").status_code == 303
    heard.client.cookies.set("chatter_blind", "1")
    with open_book(heard.settings.book) as book:
        for label in book.list(LabelRow):
            strike(book, label)
    hidden = heard.client.get(f"/recordings/{heard.id}").text
    assert "You label blind" in hidden and answer[0] not in hidden
    assert "Open it on its own" not in hidden, "the report shows the answer too"
    assert "Heard: say what it was" in heard.client.get("/recordings").text
    assert heard.post(f"/recordings/{heard.id}/label", say="1:normal", blind="1").status_code == 303
    assert answer[0] in heard.client.get(f"/recordings/{heard.id}").text
    with open_book(heard.settings.book) as book:
        assert book.list(LabelRow)[-1].blind
    heard.client.cookies.delete("chatter_blind")


def test_after_a_restart_all_is_there(running, heard):
    before = heard.client.get(f"/recordings/{heard.id}").text
    heard.stop()
    again = running(heard.settings.data, worker=None)
    after = again.client.get(f"/recordings/{heard.id}").text
    again.stop()

    def content(text: str) -> str:
        return re.sub(r'(name="csrf" value|data-csrf)="\w+"', "", text)

    assert content(after) == content(before)


def test_a_recording_without_a_speed_is_kept_and_asks_for_it(run, short_aac):
    page = run()
    answer = page.send(("a.m4a", short_aac.read_bytes()), **{**NOTHING, "cutter.teeth": "x"})
    (one,) = page.desk.spool.all()
    assert answer.headers["location"] == f"/recordings/{one.id}" and not one.takes
    shown = page.client.get(f"/recordings/{one.id}").text
    assert "Something to put right" in shown and "Spindle speed is missing" in shown
    assert "The number of teeth &#39;x&#39;" in shown
    assert page.post(f"/recordings/{one.id}/listen", **SETUP).status_code == 303
    assert page.desk.spool.get(one.id).takes


def test_a_file_that_is_no_recording_gets_a_sentence(run):
    page = run(worker=None)
    answer = page.send(("letter.m4a", b"Dear shop, this is no sound at all. " * 50))
    take = page.wait(answer.headers["location"].rpartition("/")[2])
    assert take.state == "failed" and "recording" in take.sentence
    assert str(page.settings.data) not in take.sentence
    assert take.sentence[:30] in page.client.get(answer.headers["location"]).text


@pytest.mark.parametrize(
    "text",
    [
        "#EXTM3U\n#EXT-X-TARGETDURATION:9\n#EXTINF:9,\nfile:///etc/passwd\n#EXT-X-ENDLIST\n",
        "ffconcat version 1.0\nfile '/etc/passwd'\n",
        "#EXTM3U\n#EXTINF:9,\nhttp://127.0.0.1:9/x.ts\n",
    ],
)
def test_a_playlist_leads_nowhere(run, text):
    """A file that points at other files is not followed."""
    page = run(worker=None)
    answer = page.send(("list.m4a", text.encode()))
    take = page.wait(answer.headers["location"].rpartition("/")[2])
    assert take.state == "failed" and take.sentence.startswith("list.m4a is text, not sound")


def test_a_recording_that_is_too_long_is_refused_by_what_it_holds(run, short_aac):
    page = run(worker=None, limits=replace(PageLimits(), nice=0, duration_s=6.0))
    answer = page.send(("long.m4a", short_aac.read_bytes()))
    take = page.wait(answer.headers["location"].rpartition("/")[2])
    assert take.state == "failed" and "longer than 0.1 minutes" in take.sentence


def test_what_was_half_done_is_done_again(run, short_aac, tmp_path):
    sleeps = "import sys, time; sys.stdin.read(); time.sleep(60)"
    page = run(tmp_path / "half", worker=sleeps)
    ids = []
    for n, data in enumerate((short_aac.read_bytes(), b"no sound")):
        answer = page.send((f"{n}.m4a", data), **SETUP)
        ids.append(answer.headers["location"].rpartition("/")[2])
    page.stop()
    part = tmp_path / "half" / "uploads" / "left.part"
    part.write_bytes(b"half an upload")
    again = run(tmp_path / "half", worker=None)
    assert not part.exists()
    assert [again.wait(id_).state for id_ in ids] == ["done", "failed"]


def test_removed_is_removed_and_the_logbook_keeps_it(run, short_aac):
    page = run(worker=None)
    answer = page.send(("a.m4a", short_aac.read_bytes()), **SETUP)
    id_ = answer.headers["location"].rpartition("/")[2]
    page.wait(id_)
    assert page.post(f"/recordings/{id_}/remove").status_code == 303
    assert page.client.get(f"/recordings/{id_}").status_code == 404
    assert not list(page.desk.spool.recordings.iterdir())
    with open_book(page.settings.book) as book:
        assert book.count(ListenRow) == 1


def test_a_listen_can_be_stopped_and_done_again(run, short_aac):
    sleeps = "import sys, time; sys.stdin.read(); time.sleep(60)"
    page = run(worker=sleeps)
    where = page.send(("a.m4a", short_aac.read_bytes())).headers["location"]
    assert "Stop</button>" in page.client.get(where).text
    assert page.post(f"{where}/stop").status_code == 303
    take = page.wait(where.rpartition("/")[2])
    assert take.state == "failed" and "You stopped" in take.sentence
    assert page.post(f"{where}/listen", **SETUP).status_code == 303
    assert page.desk.spool.get(where.rpartition("/")[2]).last.number == 2
