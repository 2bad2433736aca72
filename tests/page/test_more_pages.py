"""Plan, cards, comparisons and run-in over HTTP, with the real worker where it matters."""

from __future__ import annotations

import html
import io
import json
import re
from pathlib import Path

import pytest

from chatter.logbook import (
    CompareRow,
    CutterRow,
    MachineRow,
    RecordingRow,
    RegrindRow,
    SurfaceRow,
    open_book,
)

DEMO = Path(__file__).resolve().parents[2] / "recordings_demo"
SETUP = {"cut.speed": "106", "cutter.teeth": "48", "take.simulated": "yes"}


@pytest.fixture(scope="module")
def page(running, tmp_path_factory):
    made = running(tmp_path_factory.mktemp("more"), worker=None)
    yield made
    made.stop()


def _uid(page, kind, name: str) -> str:
    with open_book(page.settings.book) as book:
        return book.get(kind, name).uid


def test_a_machine_card_is_kept_changed_and_used(page):
    fields = {
        "machine.name": "Window mill",
        "machine.speeds": "42 57 78 106",
        "machine.feeds": "20, 31.5",
        "machine.motor_power": "2.2 kW",
        "machine.gears": "bull gear, 40, 1",
    }
    assert page.post("/shop/machine/new", **fields).headers["location"] == "/shop"
    uid = _uid(page, MachineRow, "Window mill")
    shown = page.client.get(f"/shop/machine/{uid}").text
    assert 'value="42, 57, 78, 106"' in shown and "bull gear, 40, 1" in shown
    changed = {**fields, "machine.name": "Mill by the window", "machine.speeds": "42, 57"}
    assert page.post(f"/shop/machine/{uid}", **changed).status_code == 303
    with open_book(page.settings.book) as book:
        (row,) = book.list(MachineRow)
        assert row.name == "Mill by the window" and row.machine.speeds_rev_min == (42, 57)
        assert row.machine.feeds_m_s[1] == pytest.approx(31.5e-3 / 60)
    again = page.client.get(f"/shop/machine/{uid}").text
    assert "31.5" in again


@pytest.mark.parametrize(
    ("kind", "fields", "said"),
    [
        ("machine", {"machine.name": ""}, "Name of the machine is missing"),
        ("machine", {"machine.name": "x", "machine.mains": "600"}, "is not between 40 Hz"),
        ("cutter", {"cutter.name": "x", "cutter.teeth": ""}, "number of teeth is missing"),
        ("cutter", {"cutter.name": "x", "cutter.teeth": "4", "cutter.form": "single_point"}, "one"),
        ("cutter", {"cutter.name": "77", "cutter.teeth": "4"}, "no bare number"),
    ],
)
def test_a_card_that_cannot_be_is_sent_back_with_all_that_was_typed(page, kind, fields, said):
    answer = page.post(f"/shop/{kind}/new", **fields)
    assert answer.status_code == 422 and said in answer.text
    for text in fields.values():
        assert f'value="{text}"' in answer.text


def test_two_cutters_cannot_have_one_name(page):
    for teeth, code in (("48", 303), ("20", 422)):
        answer = page.post("/shop/cutter/new", **{"cutter.name": "Saw", "cutter.teeth": teeth})
        assert answer.status_code == code
    with open_book(page.settings.book) as book:
        assert [row.cutter.teeth for row in book.list(CutterRow, name="Saw")] == [48]


def test_a_field_that_says_other_than_the_chosen_card_is_asked_about(page, short_aac):
    page.post("/shop/cutter/new", **{"cutter.name": "Fine saw", "cutter.teeth": "72"})
    uid = _uid(page, CutterRow, "Fine saw")
    fields = {"cutter": uid, "cut.speed": "106"}
    sent = page.send(("a.m4a", short_aac.read_bytes()), **fields, **{"cutter.teeth": "48"})
    shown = page.client.get(sent.headers["location"]).text
    assert "The chosen card says 72" in shown and "Something to put right" in shown
    for teeth in ("", "72"):
        again = {**fields, "cutter.teeth": teeth}
        assert page.post(f"{sent.headers['location']}/listen", **again).status_code == 303
    asked = {"cutter": uid, "cutter.teeth": "48"}
    assert "The chosen card says 72" in page.client.get("/plan", params=asked).text


def test_a_regrind_is_noted(page):
    page.post("/shop/cutter/new", **{"cutter.name": "Old saw", "cutter.teeth": "36"})
    uid = _uid(page, CutterRow, "Old saw")
    path = f"/shop/cutter/{uid}/regrind"
    assert page.post(path, day="2026-03-02", note="all teeth").status_code == 303
    assert "2026-03-02" in page.client.get(f"/shop/cutter/{uid}").text
    assert page.post(path, day="yesterday").status_code == 422
    with open_book(page.settings.book) as book:
        assert book.count(RegrindRow) == 1


@pytest.mark.parametrize("path", ["/shop/machine/none", "/shop/lathe/new", "/shop/cutter/1' or 1"])
def test_there_is_no_such_card(page, path):
    assert page.client.get(path).status_code == 404


def test_a_plan_is_made_in_the_units_remembered(page):
    asked = {
        "cutter.teeth": "48", "cut.material": "grey_cast_iron_medium", "cut.depth": "1/2",
        "cutter.form": "slitting_saw", "cutter.diameter": "6", "machine.speeds": "38 57 85",
    }  # fmt: skip
    page.post("/units", units="inch", back="/plan")
    inch = page.client.get("/plan", params=asked)
    assert inch.status_code == 200 and "ft/min" in inch.text and "Take care" in inch.text
    page.post("/units", units="metric", back="/plan")
    asked |= {"cut.depth": "12.7", "cutter.diameter": "152.4"}
    both = (inch, page.client.get("/plan", params=asked))
    speeds = [re.findall(r"which is ([\d.]+) rev/min to ([\d.]+)", one.text) for one in both]
    assert speeds[0] == speeds[1] != []


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"cut.depth": "12"}, "number of teeth is missing"),
        ({"cutter.teeth": "48", "cut.depth": "deep"}, "deep"),
        ({"cutter.teeth": "48", "cut.feed": "20", "cut.chip_load": "0.1"}, "only one of the two"),
    ],
)
def test_a_plan_that_cannot_be_says_why(page, asked, said):
    answer = page.client.get("/plan", params=asked)
    assert answer.status_code == 422 and said in answer.text


@pytest.fixture(scope="module")
def two(page):
    """Two demo recordings, heard: a flat-sided saw and a staggered-tooth cutter."""
    ids = []
    for name, teeth in (("02-slot-plain-saw.m4a", "48"), ("03-slot-staggered.m4a", "20")):
        fields = {"cut.speed": "57", "cutter.teeth": teeth, "take.simulated": "yes"}
        answer = page.send((f"<i>{name}", (DEMO / name).read_bytes()), **fields)
        ids.append(answer.headers["location"].rpartition("/")[2])
    for id_ in ids:
        assert page.wait(id_).state == "done"
    return ids


def test_two_cutters_are_compared(page, two):
    chosen = page.client.get("/compare", params={"id": two})
    assert chosen.status_code == 200 and "&lt;i&gt;02-slot" in chosen.text
    names = {f"name-{two[0]}": "plain & flat", f"name-{two[1]}": "staggered"}
    answer = page.post("/compare", id=two, **names)
    id_ = answer.headers["location"].rpartition("/")[2]
    take = page.wait(id_)
    assert take.state == "done", take.sentence
    shown = page.client.get(f"/compare/{id_}").text
    assert "plain &amp; flat against staggered" in shown and "Simulated" in shown
    assert re.search(r"<h1>(They differ|No difference shown|Can&#39;t tell|Can't tell)</h1>", shown)
    report = page.client.get(f"/recordings/{id_}/report")
    assert "02-slot-plain-saw.m4a" in report.text and "<i>02-slot" not in report.text
    assert "recording-" + id_ not in report.text
    assert report.headers["content-security-policy"].startswith("sandbox")
    with open_book(page.settings.book) as book:
        (row,) = book.list(CompareRow)
        assert row.sentence == take.summary and len(json.loads(row.recordings)) == 2
        assert str(page.settings.data) not in row.result_json


@pytest.mark.parametrize(
    ("count", "names", "said"),
    [(1, ("a",), "Tick two or more"), (2, ("a", "a"), "of one cutter"), (2, ("a", ""), "no name")],
)
def test_a_comparison_that_cannot_be(page, two, count, names, said):
    fields = {f"name-{id_}": name for id_, name in zip(two, names, strict=False)}
    answer = page.post("/compare", id=two[:count], **fields)
    assert answer.status_code == 422 and said in answer.text


def test_what_may_be_compared_is_only_what_is_here(page):
    asked = {"id": ["../../secret", "0" * 20, "x" * 1000]}
    assert page.client.get("/compare", params=asked).status_code == 422


def test_a_machine_is_run_in(page):
    page.post("/shop/machine/new", **{"machine.name": "Old mill", "machine.speeds": "57 78 106"})
    uid = _uid(page, MachineRow, "Old mill")
    here = f"/shop/machine/{uid}/runin"
    assert "Still wanted" in page.client.get(here).text
    idle = (DEMO / "01-idle.wav").read_bytes()
    sent = {"path": f"/shop/machine/{uid}/idle", "hours": "0", "phone": "old phone"}
    refused = page.send(("idle.wav", idle), **sent)
    assert refused.status_code == 422 and "needs its spindle speed" in refused.text
    answer = page.send(("idle 57.wav", idle), speed="57", **sent)
    id_ = answer.headers["location"].rpartition("/")[2]
    assert page.wait(id_).state == "done", page.wait(id_).sentence
    assert page.client.get(f"/recordings/{id_}").headers["location"] == here
    assert page.post(f"/shop/machine/{uid}/surface", sign="nonsense").status_code == 422
    with open_book(page.settings.book) as book:
        (row,) = book.list(RecordingRow, kind="idle")
        assert row.name == "idle 57.wav" and row.phone == "old phone" and row.hours == 0
        sign = re.search(r'<select id="sign".*?value="(\w+)"', page.client.get(here).text)[1]
        assert page.post(f"/shop/machine/{uid}/surface", sign=sign).status_code == 303
        assert [each.sign for each in book.list(SurfaceRow)] == [sign]
    made = page.post(here).headers["location"]
    take = page.wait(made.rpartition("/")[2])
    assert take.state == "done", take.sentence
    assert take.summary in html.unescape(page.client.get(made).text)
    report = page.client.get(f"/recordings/{made.rpartition('/')[2]}/report")
    assert "Old mill" in report.text


def test_a_recording_of_the_logbook_is_brought_to_the_page(run, tmp_path, short_aac):
    """What 'chatter listen --log' stored is listed, and opens with all that was stated."""
    from chatter.job.build import build_job
    from chatter.listening.front import listen
    from chatter.logbook import store_listen

    job = {**SETUP, "cutter.side_relief": "yes", "cutter.collar_diameter": "50 mm"}
    folder = tmp_path / "page"
    folder.mkdir()
    with open_book(folder / "book.db") as book:
        stated = build_job({**job, "cutter.diameter": "150 mm"})
        logged = store_listen(book, short_aac, stated, listen(short_aac, stated).findings)
    page = run(folder, worker=None)
    assert "short.m4a" in page.client.get("/recordings").text
    assert page.post("/logged/none/open").status_code == 404
    where = page.post(f"/logged/{logged.recording.uid}/open").headers["location"]
    take = page.wait(where.rpartition("/")[2])
    assert take.verdict == "chatter" and take.entry == logged.recording.uid
    found = page.client.get(f"{where}/findings").json()
    assert found["job"]["cutter"]["collar_diameter_m"] == pytest.approx(0.05)
    assert "Also in the logbook" not in page.client.get("/recordings").text
    # What the form does not show is not lost when one thing in it is corrected.
    page.post(f"{where}/listen", **{**SETUP, "cut.speed": "105", "cutter.diameter": "150"})
    page.wait(where.rpartition("/")[2])
    again = page.client.get(f"{where}/findings").json()
    assert again["job"]["cutter"]["collar_diameter_m"] == pytest.approx(0.05)
    assert again["job"]["cut"]["speed_rev_min"] == 105


def _picture(kind: str) -> bytes:
    from PIL import Image

    out = io.BytesIO()
    Image.new("RGB", (64, 48), (90, 90, 100)).save(out, kind)
    return out.getvalue()


def test_what_the_faces_show_is_kept_with_a_photograph(page, two):
    where = f"/recordings/{two[0]}"
    shown = page.client.get(where).text
    options = re.findall(r'<option value="(\w+)">([^<]+)</option>', shown.split('id="sign"')[1])
    sign, title = options[0]
    fields = {"csrf": page.token(), "sign": sign, "note": "left <wall>"}
    photo = _picture("JPEG")
    answer = page.client.post(
        f"{where}/surface", data=fields, files={"photo": ("../../x.jpg", photo, "image/jpeg")}
    )
    assert answer.status_code == 303
    shown = page.client.get(where).text
    assert f"<b>{title}</b>" in shown and "left &lt;wall&gt;" in shown
    got = page.client.get(f"{where}/photo/0")
    assert got.content == photo and got.headers["content-type"] == "image/jpeg"
    assert page.client.get(f"{where}/photo/1").status_code == 404
    assert page.client.get(f"/recordings/{two[1]}/photo/0").status_code == 404


@pytest.mark.parametrize(
    "data",
    [
        b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>",
        b"<html>",
        b"GIF8",
    ],
)
def test_what_is_no_picture_is_not_kept(page, two, data):
    from chatter.logbook import PhotoRow

    fields = {"csrf": page.token(), "sign": ""}
    answer = page.client.post(
        f"/recordings/{two[1]}/surface", data=fields, files={"photo": ("x.png", data, "image/png")}
    )
    assert answer.status_code == 422 and "JPEG, PNG or WebP" in answer.text
    with open_book(page.settings.book) as book:
        assert all(row.sha256 for row in book.list(PhotoRow)) and book.count(PhotoRow) <= 1
    assert not list(page.desk.spool.uploads.iterdir())


def test_nothing_chosen_is_said(page, two):
    answer = page.client.post(
        f"/recordings/{two[1]}/surface",
        data={"csrf": page.token(), "sign": ""},
        files={"photo": ("", b"")},
    )
    assert answer.status_code == 422 and "Nothing was chosen" in answer.text


def test_a_bare_number_is_in_the_units_its_form_was_shown_in(page, two):
    """Whatever another tab has switched to meanwhile."""
    where = f"/recordings/{two[0]}"
    page.post("/units", units="inch", back="/")
    shown = page.client.get(where).text
    assert (
        'name="units" value="inch"' in shown
        and '<span class="unit" aria-hidden="true">in<' in shown
    )
    page.post("/units", units="metric", back="/")
    fields = {"cut.speed": "57", "cutter.teeth": "48", "cut.depth": "1/2", "units": "inch"}
    assert page.post(f"{where}/listen", **fields).status_code == 303
    page.wait(two[0])
    depth_m = page.client.get(f"{where}/findings").json()["job"]["cut"]["depth_m"]
    assert depth_m == pytest.approx(0.0127)
    page.post("/units", units="metric", back="/")
    again = page.client.get(where).text
    assert 'name="cut.depth" type="text" value="1/2 in"' in again  # with its unit: mm stands beside
    fields = {"cutter.name": "Inch saw", "cutter.teeth": "36", "cutter.diameter": "6"}
    assert page.post("/shop/cutter/new", units="inch", **fields).status_code == 303
    with open_book(page.settings.book) as book:
        (row,) = book.list(CutterRow, name="Inch saw")
        assert row.cutter.diameter_m == pytest.approx(0.1524)
