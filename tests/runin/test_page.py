"""From a log to its page and its commands, on sounds made here."""

from __future__ import annotations

import re
from datetime import date, timedelta
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
import soundfile

from chatter.cli import main
from chatter.errors import OutputError, RecordingError
from chatter.job.cards import save_machine
from chatter.report.runin_page import headline, runin_page, write_runin
from chatter.runin.entries import LogEntry
from chatter.runin.study import study

MESHES = ((61.0, 0.05, 0.2, 1.0), (103.2, 0.03, 0.1, 2.4))
DATES = 9


def entry(day, speed, **more):
    return LogEntry(
        "idle", date(2026, 3, 1) + timedelta(days=day), float(day), Path(f"{day}-{speed:g}.m4a"),
        speed, "old phone", "stand", **more,
    )  # fmt: skip


@pytest.fixture(scope="module")
def found(mill, make_idle):
    """Nine dates at one speed, all five on the first; the front bearing goes bad."""

    def hear(one):
        if one.note == "broken":
            raise RecordingError("x.m4a is broken: record again.")
        day = (one.day - date(2026, 3, 1)).days
        pit = (8.25, 0.03 * (day - 5)) if day > 5 else None
        meshes = tuple((o, a * (1 + 0.05 * np.sin(day)), m, s) for o, a, m, s in MESHES)
        return make_idle(
            one.spindle_hz * 0.985, meshes=meshes, strikes=pit, seed=day, seconds=8.0,
            stated_hz=one.spindle_hz,
        )  # fmt: skip

    log = [entry(0, speed) for speed in (60.0, 90.0, 130.0, 270.0)]
    log += [entry(day, 190.0) for day in range(DATES)]
    log.append(entry(3, 190.0, note="broken"))
    log.append(
        LogEntry("surface", date(2026, 3, 2), note="<b>left</b> wall", sign="single_lay_opposed")
    )
    return study(mill, log, hear=hear, simulated=True)


def test_the_bearing_is_named_and_nothing_else(found):
    worse = [part.key for part in found.parts if part.verdict in ("worse", "better")]
    assert len(worse) == 1 and worse[0] == "bearing:front bearing"
    flagged = [one.item.key for one in found.trends if one.verdict == "worse"]
    assert all("inner" in key for key in flagged), "8.25 strikes a turn are the inner ring's"
    assert headline(found) == "Front bearing: worse"


def test_gears_and_mains_are_named_in_the_survey(found):
    names = {ray.name for ray in found.survey.rays}
    assert {"mesh of bull gear", "mesh of back gear", "2 x mains (50 Hz)"} <= names
    assert all(found.survey.speed_heard)


def test_a_broken_recording_is_left_out_and_said(found):
    assert [one.reason for one in found.skipped] == ["x.m4a is broken: record again."]


class Tags(HTMLParser):
    def __init__(self):
        super().__init__()
        self.ids, self.open, self.outside = [], [], []

    def handle_starttag(self, _tag, attrs):
        told = dict(attrs)
        if "id" in told:
            self.ids.append(told["id"])
        for name in ("src", "href"):
            if told.get(name, "").startswith(("http", "//")):
                self.outside.append(told[name])


def test_the_page_stands_alone_and_says_what_it_is(found):
    page = runin_page(found)
    read = Tags()
    read.feed(page)
    assert len(read.ids) == len(set(read.ids))
    assert not read.outside and "<script" not in page
    assert "Simulated recordings." in page
    assert "&lt;b&gt;left&lt;/b&gt; wall" in page and "<b>left</b>" not in page
    assert page.count("<svg") >= 5
    heads = ("What changed since the first day", "What was heard at every speed")
    for text in (*heads, "not square to the table travel", "x.m4a is broken", "qualified person"):
        assert text in page, text
    assert "@media print" in page
    assert len(page) < 900_000


def test_an_empty_log_still_makes_a_page(mill):
    page = runin_page(study(mill, ()))
    assert "Can&#39;t tell yet" in page and "Warm the machine up" in page


def test_only_a_run_in_report_is_written_over(found, tmp_path):
    path = write_runin(found, tmp_path)
    assert path.name == "run-in-test-mill.html"
    assert write_runin(found, path) == path
    other = tmp_path / "notes.html"
    other.write_text("mine")
    with pytest.raises(OutputError, match="is not a run-in report"):
        write_runin(found, other)
    assert other.read_text() == "mine"


# ---------------------------------------------------------------- commands


@pytest.fixture
def folder(tmp_path, mill, monkeypatch):
    monkeypatch.setenv("CHATTER_BOOK", str(tmp_path / "shop.db"))
    save_machine(mill, tmp_path / "machine.toml")
    rng = np.random.default_rng(1)
    for name in ("a", "b", "c"):
        t = np.arange(24_000 * 5) / 24_000
        lines = sum(0.02 * np.sin(2 * np.pi * f * t) for f in rng.uniform(200, 4000, 5))
        hiss = 0.05 * rng.standard_normal(t.size)
        soundfile.write(tmp_path / f"{name}.wav", hiss + lines, 24_000)
    return tmp_path


def said(capsys, *words, code=0):
    assert main(["runin", *map(str, words)]) == code
    told = capsys.readouterr()
    return told.err if code else " ".join(told.out.split())


def test_plan_add_survey_report(folder, capsys):
    assert "Next: Before first power" in said(capsys, "plan", folder / "machine.toml")
    for name, speed in (("a", 60), ("b", 90), ("c", 130)):
        out = said(capsys, "add", folder, folder / f"{name}.wav", "--rpm", speed, "--date",
                   "2026-03-01", "--hours", 0, "--phone", "old", "--place", "stand")  # fmt: skip
        assert f"idling at {speed} rev/min, 2026-03-01" in out
    said(capsys, "add", folder, "--sign", "cross-hatch on both faces", "--date", "2026-03-01")
    assert "Still wanted: idling at 190, 270 rev/min" in said(capsys, "plan", folder)
    survey = said(capsys, "survey", folder, "--picture", folder / "map.svg")
    assert "idling at 3 speeds" in survey and "not heard" in survey
    assert (folder / "map.svg").read_text().startswith("<svg")
    out = said(capsys, "report", folder, "--report", folder / "r.html")
    assert "Can't tell yet" in out and "Caution:" in out
    assert "cross-hatch on both faces" in (folder / "r.html").read_text()


def test_a_machine_of_the_logbook(folder, capsys):
    from chatter.logbook import add_machine, open_book

    with open_book() as book:
        add_machine(book, (folder / "machine.toml").read_text())
    for name, speed in (("a", 60), ("b", 90)):
        said(capsys, "add", "test mill", folder / f"{name}.wav", "--rpm", speed, "--date",
             "2026-03-01")  # fmt: skip
    assert "Still wanted: idling at 130, 190, 270 rev/min" in said(capsys, "plan", "test mill")
    assert "2 speeds in the log" in said(capsys, "survey", "test mill", code=2)


def test_a_recording_that_can_never_be_used_is_not_added(folder, capsys, monkeypatch):
    monkeypatch.chdir(folder.parent)
    rng = np.random.default_rng(4)
    soundfile.write("hum.wav", 0.02 * rng.standard_normal(48_000), 8_000)
    soundfile.write("short.wav", 0.02 * rng.standard_normal(4_000), 8_000)
    soundfile.write("silent.wav", np.zeros(80_000), 8_000)
    Path("letter.wav").write_text("no sound at all")
    for name, more, sentence in (
        ("hum.wav", ("--span", "50-70"), "lies outside the recording, which is 6.0 s long"),
        ("hum.wav", ("--span", "4-70"), "gives 2.0 s of idling"),
        ("short.wav", (), "gives 0.5 s of idling"),
        ("silent.wav", (), "holds next to nothing"),
        ("letter.wav", (), "is text, not sound"),
    ):
        text = said(capsys, "add", folder, name, "--rpm", "60", *more, code=2)
        assert sentence in text and text.count("\n") == 1
    assert not (folder / "runin.csv").exists()
    assert "--anyway" in said(capsys, "add", folder, "hum.wav", "--rpm", "60", code=2)
    more = ("--rpm", "60", "--span", "1-5.5", "--anyway")
    assert "Added" in said(capsys, "add", folder, "hum.wav", *more)


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("plan", "nowhere"), "'nowhere' is neither a folder nor a machine card"),
        (("plan", "none.toml"), "There is no machine card 'none.toml'"),
        (("survey", "{}"), "There is idling at 0 speeds in the log"),
        (("report", "{}"), "The log is empty: 'chatter runin plan' says what to record"),
        (("add", "{}", "{}/none.wav", "--rpm", "60"), "There is no file"),
        (("add", "{}", "{}/a.wav"), "needs its spindle speed"),
        (("add", "{}", "{}/a.wav", "--rpm", "0"), "spindle speed"),
        (("add", "{}", "--sign", "purple"), "purple"),
    ],
)
def test_bad_input_gets_one_sentence(folder, capsys, monkeypatch, words, sentence):
    monkeypatch.chdir(folder.parent)
    text = said(capsys, *(word.format(folder) for word in words), code=2)
    assert sentence in text and text.count("\n") == 1 and not re.search("Traceback", text)
    assert not (folder / "runin.csv").exists()


def test_a_place_that_is_none_is_called_so_where_there_is_a_logbook(folder, mill, capsys):
    from chatter.logbook import add_machine, open_book

    with open_book() as book:
        add_machine(book, mill)
    text = said(capsys, "report", "nowhere", code=2)
    assert text.startswith("'nowhere' is neither a folder nor a machine card. There is no machine")
    assert folder.is_dir()
