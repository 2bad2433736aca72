"""Which recordings, with which jobs; what is wrong is said in the line of its recording."""

from __future__ import annotations

from pathlib import Path

import pytest
from batch_made import CARD, files

import chatter.logbook as lb
from chatter.batch import gather_tasks
from chatter.errors import CardError, RecordingError
from chatter.job.machine import Machine


@pytest.fixture
def folder(tmp_path):
    files(tmp_path / "in", 3)
    return tmp_path / "in"


def test_cards_by_name_win_over_the_card_for_all(folder):
    (folder / "take-0001.toml").write_text(CARD.replace("600", "57"))
    tasks = gather_tasks(folder, job=folder / "all.toml")
    assert [task.name for task in tasks] == [f"take-000{i}.wav" for i in range(3)]
    assert [task.job.cut.speed_rev_min for task in tasks] == [600, 57, 600]


def test_without_a_card_the_line_says_so(folder):
    (folder / "take-0001.toml").write_text(CARD)
    (folder / "take-0002.toml").write_text(CARD.replace("teeth", "teth"))
    first, second, third = gather_tasks(folder)
    assert "write 'take-0000.toml' beside it" in first.error and first.job is None
    assert second.error is None
    assert "did you mean 'teeth'" in third.error


def test_folders_below_and_what_is_no_recording(folder):
    files(folder / "monday", 1)
    files(folder / ".trash", 1)
    (folder / "letter.txt").write_text("x")
    (folder / "LOUD.M4A").write_bytes(b"x")
    names = [task.name for task in gather_tasks(folder, job=folder / "all.toml")]
    assert names == ["LOUD.M4A", "monday/take-0000.wav", *(f"take-000{i}.wav" for i in range(3))]


def test_options_are_enough(folder):
    tasks = gather_tasks(folder, stated={"cut.speed": "900", "cutter.teeth": "2"})
    assert {task.job.cut.speed_rev_min for task in tasks} == {900}


def test_an_idle_recording_of_others_needs_no_card(folder):
    (folder / "take-0001.toml").write_text(CARD + '[take]\nidle = "take-0000.wav"\n')
    names = [(task.name, bool(task.error)) for task in gather_tasks(folder)]
    assert names == [("take-0001.wav", False), ("take-0002.wav", True)]


@pytest.mark.parametrize("comma", [",", ";", "\t"])
def test_a_table(folder, comma):
    Path("t.csv").write_text(
        "\ufeff"
        + comma.join(["File", "Speed", "Teeth", "Feed", "cut.purpose", "Hours", "phone"])
        + "\n"
        + comma.join(["take-0002.wav", "57", "48", "1 1/8 in/min", "roughing", "12.5", "mine"])
        + "\n\n"
        + comma.join(["take-0000.wav", "600", "4", "", "", "", ""])
        + "\n",
        encoding="utf-8",
    )
    first, second = gather_tasks(folder, table="t.csv")
    assert (first.name, first.job.cutter.teeth) == ("take-0002.wav", 48)
    assert first.job.cut.feed_m_s == pytest.approx(1.125 * 0.0254 / 60)
    assert first.job.cut.purpose == "roughing"
    assert first.stated == {"hours": 12.5, "phone": "mine"}
    assert second.job.cut.feed_m_s is None and second.stated == {}


def test_cells_win_over_the_card_and_options_over_cells(folder):
    (folder / "take-0000.toml").write_text(CARD)
    Path("t.csv").write_text("file,teeth\ntake-0000.wav,6\n")
    (task,) = gather_tasks(folder, table="t.csv", stated={"cut.speed": "700"})
    assert (task.job.cutter.teeth, task.job.cut.speed_rev_min) == (6, 700)


def test_a_line_that_cannot_be_is_one_line(folder):
    Path("t.csv").write_text(
        "file,speed,teeth,hours\ntake-0000.wav,fast,4,\ntake-0001.wav,600,4,soon\n"
        "take-0002.wav,,4,\n,600,4,\nnone.wav,600,4,\n"
    )
    errors = [task.error for task in gather_tasks(folder, table="t.csv")]
    assert "'fast'" in errors[0] and "'soon'" in errors[1]
    assert "spindle speed is missing" in errors[2] and "names no file" in errors[3]
    assert errors[4] is None, "that it is not there is found when it is listened to"


@pytest.mark.parametrize(
    ("head", "said"),
    [
        ("name,speed", "no column 'file'"),
        ("file,sped", "did you mean 'speed'"),
        ("file,cut.depht", "did you mean 'depth'"),
        ("file,speed,rpm", "twice"),
        ("", "no column 'file'"),
    ],
)
def test_a_table_that_cannot_be(folder, head, said):
    Path("t.csv").write_text(f"{head}\na.wav,1\n")
    with pytest.raises(CardError, match=said):
        gather_tasks(folder, table="t.csv")


def test_machines_by_card_or_by_name_in_the_book(folder):
    Path(folder / "mill.toml").write_text('name = "a mill"\nspeeds = [40, 60]\n')
    Path("t.csv").write_text(
        "file,speed,teeth,machine\ntake-0000.wav,57,4,mill.toml\ntake-0001.wav,57,4,the lathe\n"
    )
    with lb.open_book() as book:
        lb.add_machine(book, Machine(name="the lathe", mains_hz=50.0))
        first, second = gather_tasks(folder, table="t.csv", book=book)
        assert first.job.machine.speeds_rev_min == (40, 60) and first.machine is None
        assert second.job.machine.mains_hz == 50 and second.machine == "the lathe"
    assert "--book" in gather_tasks(folder, table="t.csv")[1].error


def test_reports_have_names_of_their_own(folder):
    (folder / "take-0000.m4a").write_bytes(b"x")
    files(folder / "take", 1)
    tasks = gather_tasks(folder, job=folder / "all.toml", reports="r")
    names = [Path(task.report).name for task in tasks]
    assert len(set(names)) == len(names) == 5
    assert "take-take-0000.html" in names and "take-0000-2.html" in names


def test_nothing_there(tmp_path):
    with pytest.raises(RecordingError, match="There is no folder"):
        gather_tasks(tmp_path / "none")
    (tmp_path / "empty").mkdir()
    with pytest.raises(RecordingError, match="no recordings"):
        gather_tasks(tmp_path / "empty")
    with pytest.raises(CardError, match="There is no card"):
        gather_tasks(tmp_path, job="none.toml")
