"""``chatter batch`` as it is typed."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from batch_made import CARD, strokes

import chatter.logbook as lb
from chatter.batch import run
from chatter.cli import main
from chatter.cli.batch import SOME_FAILED


@pytest.fixture
def folder(tmp_path):
    for i in range(2):
        strokes(tmp_path / "in" / f"take-{i}.wav", seed=i)
    (tmp_path / "all.toml").write_text(CARD)
    return tmp_path / "in"


def test_a_folder_with_reports_and_logbook(folder, capsys):
    (folder / "letter.m4a").write_text("no sound at all")
    words = ["batch", "in", "--job", "all.toml", "--reports", "--log", "--cores", "1"]
    assert main(words) == SOME_FAILED
    told = capsys.readouterr().out
    assert "2 of 3 heard" in told and told.count("Not heard:") == 1
    assert "Caution: Never reach near a turning cutter" in told
    out = Path("reports/batch-in")
    assert sorted(one.name for one in (out / "reports").iterdir()) == ["take-0.html", "take-1.html"]
    with (out / "summary.csv").open(encoding="utf-8", newline="") as sheet:
        rows = list(csv.DictReader(sheet))
    assert [row["status"] for row in rows] == ["failed", "heard", "heard"]
    assert all(row["verdict"] and row["first_step"] for row in rows[1:])
    with lb.open_book(write=False) as book:
        stored = {one.recording.name: one.listen for one in lb.latest_listens(book)}
    assert {name: one.verdict for name, one in stored.items()} == {
        row["file"]: row["verdict"] for row in rows[1:]
    }
    (folder / "letter.m4a").unlink()
    assert main(words) == 0
    assert "2 of 2 heard, 2 of them in an earlier run" in capsys.readouterr().out


def test_options_for_all_and_quiet(folder, capsys):
    assert folder
    assert main(["batch", "in", "--rpm", "600", "--teeth", "4", "--out", "o", "-q"]) == 0
    assert capsys.readouterr().out == "" and Path("o/summary.csv").exists()


def test_a_long_table_is_summed_up(folder, capsys, monkeypatch):
    import chatter.cli.batch

    assert folder
    monkeypatch.setattr(chatter.cli.batch, "_LINES_SHOWN", 1)
    assert main(["batch", "in", "--job", "all.toml", "--cores", "1"]) == 0
    told = capsys.readouterr().out
    assert "2 of 2 heard" in told and "take-0.wav" not in told


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["none"], "There is no folder 'none'"),
        (["in", "--job", "none.toml"], "There is no card"),
        (["in", "--job", "wrong.toml"], "did you mean 'speed'"),
        (["in", "--rpm", "abc", "--teeth", "4"], "The spindle speed 'abc' is not a number"),
        (["in", "--rpm", "57", "--teeth", "0"], "The number of teeth 0"),
        (["in", "--table", "none.csv"], "There is no table"),
        (["in", "--units", "ells"], "system of units 'ells'"),
        (["in", "--cores", "-1"], "--cores"),
    ],
)
def test_what_cannot_start(folder, capsys, words, said):
    (folder.parent / "wrong.toml").write_text(CARD.replace("speed", "sped"))
    assert main(["batch", *words]) == 2
    told = capsys.readouterr().err
    assert said in told and told.count("\n") == 1


def test_stopped_by_hand(folder, capsys, monkeypatch):
    def stop(*_, **__):
        raise KeyboardInterrupt

    assert folder
    monkeypatch.setattr(run, "spread_tasks", stop)
    assert main(["batch", "in", "--job", "all.toml"]) == 130
    assert "Stopped." in capsys.readouterr().err
