"""What a table leaves out, what it holds twice, and names that are too long for a line."""

from __future__ import annotations

from pathlib import Path

import pytest
from batch_made import files

from chatter.batch import gather_tasks, remarks
from chatter.batch.cover import shorten_names
from chatter.cli import main


@pytest.fixture
def folder(tmp_path):
    files(tmp_path / "in", 4)
    return tmp_path / "in"


def table(*lines: str) -> str:
    Path("t.csv").write_text("file,speed,teeth,span,idle\n" + "\n".join(lines) + "\n")
    return "t.csv"


def test_what_no_line_covers_is_named(folder):
    lines = table("take-0000.wav,600,4,,take-0003.wav")
    files(folder / "monday", 1)
    (said,) = remarks(folder, gather_tasks(folder, table=lines))
    assert said == (
        "3 recordings in the folder stand in no line of the table: monday/take-0000.wav, "
        "take-0001.wav, take-0002.wav."
    )


def test_what_stands_twice_is_named_but_not_two_stretches_of_one(folder):
    rows = [f"take-000{k}.wav,600,4,," for k in range(4)]
    assert remarks(folder, gather_tasks(folder, table=table(*rows))) == ()
    stretches = [*rows[1:], "take-0000.wav,600,4,0-4,", "take-0000.wav,600,4,5-9,"]
    assert remarks(folder, gather_tasks(folder, table=table(*stretches))) == ()
    (said,) = remarks(folder, gather_tasks(folder, table=table(*rows, "take-0002.wav,57,48,,")))
    assert said.startswith("1 recording stands in the table more than once") and "take-0002" in said


def test_the_command_says_it(folder, capsys):
    lines = table("take-0000.wav,600,4,,", "take-0000.wav,600,4,,")
    main(["batch", "in", "--table", lines, "--cores", "1"])
    told = " ".join(capsys.readouterr().out.split())
    assert "3 recordings in the folder stand in no line of the table" in told
    assert "1 recording stands in the table more than once" in told
    assert folder


def test_long_names_keep_both_ends():
    names = [f"horizontal mill by the window, slot {k}, 57 rev-min, {k:04d}.m4a" for k in range(3)]
    cut = shorten_names(names, 30)
    assert all(len(one) == 30 and one.endswith(f"{k:04d}.m4a") for k, one in enumerate(cut))
    assert all(one.startswith("horizonta") for one in cut)
    assert shorten_names(["short.wav"], 30) == ["short.wav"]


def test_names_that_differ_in_the_middle_only_are_left_whole():
    names = [f"a long name of a shop and a day {k} and all that follows it.wav" for k in (1, 2)]
    assert shorten_names(names, 24) == names
