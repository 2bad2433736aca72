"""``chatter log``, and what ``listen --log`` and ``tap --log`` leave in the book."""

from __future__ import annotations

import sys
from pathlib import Path
from types import SimpleNamespace

import pytest
from book_made import findings, picture_file, sound_file

import chatter.logbook as lb
from chatter.cli import main
from chatter.cli.listen import HeardFile
from chatter.findings_json import read_findings
from chatter.job.build import job_of

pytestmark = pytest.mark.usefixtures("shop")

MACHINE = 'name = "mill by the window"\nspeeds = [38, 57, 85]\nmains = "60 Hz"\n'
JOB = '[cutter]\nteeth = 48\nname = "six-inch saw"\n[cut]\nspeed = 57\nmaterial = "cast iron"\n'


@pytest.fixture
def shop(tmp_path, monkeypatch):
    """A folder with cards and a recording; listening itself is left out."""
    monkeypatch.chdir(tmp_path)
    Path("mill.toml").write_text(MACHINE)
    Path("slot.toml").write_text(JOB)
    sound_file(Path("slot.wav"))

    def heard(file, values, out, *, write, **_):
        assert values["cut.speed"] == 57
        if write:
            out.write_text("the report")
        made = SimpleNamespace(findings=findings(name=file.name))
        return HeardFile(job_of(values), made, out if write else None, None)

    # the command has the name of its module, and stands in its place in the package
    monkeypatch.setattr(sys.modules["chatter.cli.listen"], "hear_file", heard)
    return tmp_path


def run(*words: object) -> int:
    return main([str(word) for word in words])


def test_a_listen_is_stored_with_machine_and_cutter(shop, capsys):
    assert run("log", "machine", "mill.toml") == 0
    words = ("--machine", "Mill by the Window", "--hours", "12.5", "--phone", "shop phone")
    assert run("listen", "slot.wav", "--job", "slot.toml", "--no-report", "--log", *words) == 0
    assert "Logbook: recording 1, machine mill by the window, cutter six-inch saw" in (
        capsys.readouterr().out
    )
    with lb.open_book() as book:
        assert book.path == shop / "shop.db"
        (one,) = lb.latest_listens(book, machine=1, cutter="six-inch saw")
        assert one.listen.findings == findings(name="slot.wav")
        assert one.job.job.machine.speeds_rev_min == (38, 57, 85), "the machine of the book"
        assert (one.recording.hours, one.recording.phone) == (12.5, "shop phone")
        assert lb.file_of(book, one.recording).read_bytes() == Path("slot.wav").read_bytes()


def test_a_cutter_of_the_book_brings_its_teeth(shop, capsys):
    assert run("log", "cutter", "slot.toml", "--book", "b.db") == 0
    named = ("--rpm", "57", "--cutter", "1", "--book", "b.db", "--no-report", "--log", "-q")
    assert run("listen", "slot.wav", *named) == 0
    with lb.open_book("b.db") as book:
        assert book.get(lb.JobRow, 1).job.cutter.teeth == 48
        assert book.get(lb.JobRow, 1).cutter == book.get(lb.CutterRow, 1).uid
    assert not (shop / "shop.db").exists()
    assert capsys.readouterr().out.count("\n") == 1, "quiet"


def test_json_on_standard_output_stays_json(capsys):
    assert (
        run("listen", "slot.wav", "--job", "slot.toml", "--no-report", "--json", "-", "--log") == 0
    )
    told = capsys.readouterr()
    assert read_findings(told.out) == findings(name="slot.wav")
    assert "Logbook: recording 1" in told.err


def test_without_log_nothing_is_stored(shop):
    assert run("listen", "slot.wav", "--job", "slot.toml", "--no-report", "-q") == 0
    assert not (shop / "shop.db").exists()


@pytest.mark.parametrize("harm", ["folder", "damaged", "foreign"])
def test_a_failed_store_leaves_the_report_and_says_so(shop, capsys, harm):
    book = shop / "shop.db"
    if harm == "folder":
        book.mkdir()
    elif harm == "foreign":
        book.write_text("something else")
    else:
        lb.open_book(book).close()
        book.write_bytes(book.read_bytes()[:9000])
    job = ("--job", "slot.toml", "--report", "r.html", "--json", "f.json")
    assert run("listen", "slot.wav", *job, "--log") == 2
    told = capsys.readouterr()
    assert told.err.startswith("Not stored in the logbook.") and told.err.count("\n") == 1
    assert "The report is written all the same: r.html" in told.err
    assert Path("r.html").read_text() == "the report"
    assert read_findings(Path("f.json").read_text()) == findings(name="slot.wav")
    assert "chatters" in told.out, "the summary is printed too"


def test_a_name_that_is_nowhere(capsys):
    assert run("listen", "slot.wav", "--job", "slot.toml", "--machine", "nil.toml") == 2
    assert "There is no card 'nil.toml'" in capsys.readouterr().err
    run("log", "machine", "mill.toml")
    assert run("listen", "slot.wav", "--job", "slot.toml", "--machine", "mill by the windw") == 2
    assert "did you mean 'mill by the window'" in capsys.readouterr().err
    assert run("listen", "slot.wav", "--job", "slot.toml", "--machine", "x" * 5000) == 2
    assert capsys.readouterr().err.startswith("There is no card")


def test_a_day_at_the_book(capsys):
    picture_file(Path("left.jpg"), seed=5)
    steps = [
        ("machine", "mill.toml", "--note", "bought second-hand"),
        ("machine", "--name", "lathe"),
        ("cutter", "slot.toml"),
        ("regrind", "six-inch saw", "2025-03-31", "--note", "hollow ground"),
        ("add", "slot.wav", "--kind", "idle", "--machine", "1", "--hours", "3"),
        ("note", "belt renewed", "--machine", "1"),
        ("surface", "drag marks on one side", "--recording", "1", "--face", "left wall"),
        ("label", "1", "side rubbing", "--cure", "relieved saw", "--by", "me"),
        ("photo", "left.jpg", "--recording", "1", "--caption", "left wall"),
        ("check",),
        ("backup",),
        ("export", "out"),
        ("import", "out"),
    ]
    for step in steps:
        assert run("log", *step) == 0, (step, capsys.readouterr().err)
    told = capsys.readouterr().out
    assert "All of it is whole." in told and "0 new entries" in told
    assert "Caution: Stop the spindle" in told
    assert run("log", "show") == 0
    told = capsys.readouterr().out
    assert "6 speeds" not in told and "3 speeds, 38 to 85 rev/min" in told
    assert "reground 2025-03-31" in told and "slot.wav, idle, mill by the window, 3 h" in told
    assert run("log", "show", "recording", "1") == 0
    told = capsys.readouterr().out
    for part in ("relieved saw", "left wall", "says me", "The back of the cutter drags"):
        assert part in told
    assert run("log", "show", "machine", "1") == 0
    assert "belt renewed" in capsys.readouterr().out
    assert run("log", "surface") == 0
    assert "cross-hatch on both faces" in capsys.readouterr().out


def test_a_card_can_be_changed(capsys):
    run("log", "machine", "mill.toml")
    Path("mill.toml").write_text(MACHINE.replace("85]", "85, 127]"))
    assert run("log", "machine", "mill.toml") == 2
    assert "--change" in capsys.readouterr().err
    assert run("log", "machine", "mill.toml", "--change") == 0
    with lb.open_book() as book:
        assert book.get(lb.MachineRow, 1).machine.speeds_rev_min[-1] == 127
        assert book.count(lb.EarlierRow) == 1


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("show",), "There is no logbook"),
        (("show", "machine"), "Name which machine"),
        (("machine",), "needs a name"),
        (("machine", "none.toml"), "There is no card"),
        (("add", "none.wav"), "There is no file none.wav"),
        (("add", "slot.wav", "mill.toml"), "mill.toml is text, not sound"),
        (
            ("add", "slot.wav", "--hours", "many"),
            "must be a number, such as 12.5. 'chatter log add",
        ),
        (("add", "slot.wav", "--hours", "-1"), "0 or more"),
        (("add", "slot.wav", "--kind", "song"), "not 'song'"),
        (("add", "slot.wav", "--recorded", "yesterday"), "is not one: write"),
        (("surface", "polka dots"), "is not known"),
        (("import", "none"), "no logbook or export"),
        (("label", "7", "chatter"), "no recording '7'"),
    ],
)
def test_one_sentence_for_what_cannot_be(capsys, words, said):
    assert run("log", *words) == 2
    told = capsys.readouterr().err
    assert said in told and told.count("\n") == 1 and told.rstrip()[-1] in ".?"


def test_a_check_that_finds_a_fault_fails(capsys):
    run("log", "add", "slot.wav")
    with lb.open_book() as book:
        lb.file_of(book, book.get(lb.RecordingRow, 1)).unlink()
    assert run("log", "check") == 2
    assert "is not at" in capsys.readouterr().err


def test_taps_are_stored(capsys, monkeypatch):
    from chatter.tapping.findings import Room, TapFindings
    from chatter.trade.modes import Mode

    mode = Mode(frequency_hz=610.0, damping_ratio=0.03)
    found = TapFindings("t.wav", (), (mode,), (), Room(None, None, 0.0, None), None, what="arbor")
    monkeypatch.setattr("chatter.tapping.taps.tap", lambda *_, **__: found)
    run("log", "machine", "mill.toml")
    assert run("tap", "slot.wav", "--log", "--machine", "mill by the window") == 0
    assert "Logbook: tap test 1" in capsys.readouterr().out
    with lb.open_book() as book:
        assert book.get(lb.TapRow, 1).found == found
        assert book.get(lb.RecordingRow, 1).kind == "tap"


def test_alone_it_says_what_it_can(capsys):
    assert run("log") == 0
    told = capsys.readouterr()
    assert (
        "Commands:" in told.out
        and "regrind" in told.out
        and "..." not in told.out.split("Commands")[1]
    )
    assert told.err == ""


def test_a_regrind_lies_in_the_past(capsys):
    run("log", "cutter", "slot.toml")
    assert run("log", "regrind", "1", "2999-01-01") == 2
    assert "'2999-01-01' has not come yet" in capsys.readouterr().err
    assert run("log", "regrind", "1", "2025-03-31") == 0


def test_a_place_where_no_export_can_be_is_named(capsys):
    run("log", "cutter", "slot.toml")
    assert run("log", "export", "slot.wav/x") == 2
    assert capsys.readouterr().err.startswith("The folder 'slot.wav/x' cannot be made (")
