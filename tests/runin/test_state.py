"""Fields beside the sounds, marks on every trend, and what comes before first power."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest
import soundfile

from chatter.cli import main
from chatter.errors import JobError
from chatter.job.cards import machine_text, save_machine
from chatter.logbook import add_machine, open_book
from chatter.report.runin_page import _changes
from chatter.runin.book import add_to_book, load_book
from chatter.runin.entries import LogEntry
from chatter.runin.folder import add_row, load_folder
from chatter.runin.plan import BEFORE_POWER, guided_list, next_step
from chatter.runin.state import celsius, marks, marks_since, read_state, show_state

STATED = ("front bearing=41 C", "minutes warm=20", "oil changed=yes", "nose runout=0.01 mm")


def test_fields_are_read_and_kept():
    state = read_state(STATED)
    assert dict(state)["front bearing"] == "41 C"
    assert read_state(show_state(state)) == state
    assert celsius("105 F") == pytest.approx(40.56, abs=0.01)
    assert read_state("oil type=ISO 68; what was done=new belt") == (
        ("oil", "ISO 68"),
        ("done", "new belt"),
    )


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("front bearing", "has no value"),
        ("front bearing=", "has no value"),
        ("frnt bearing=41 C", "did you mean 'front_bearing'"),
        ("front bearing=41", "is none from -30 to 150 C"),
        ("room=400 C", "is none from -30 to 150 C"),
        ("minutes warm=soon", "no number of minutes"),
        ("motor current=lots", "no number of amps"),
        ("end play=10 m", "is not below 100 mm"),
        ("belt=A; belt=B", "names 'belt' twice"),
    ],
)
def test_what_cannot_be_is_one_sentence(text, said):
    with pytest.raises(JobError, match=said):
        read_state(text)


def entry(day, *state, kind="idle"):
    return LogEntry(kind, date(2026, 3, day), rev_min=190.0, state=read_state(state))


LOG = (
    entry(1, "front bearing=31 C"),
    entry(8, "front bearing=33 C", "minutes warm=4"),
    entry(10, "oil changed=yes", "done=shimmed the gib", kind="state"),
    entry(15, "front bearing=47 C"),
)


def test_marks_tell_cold_oil_heat_and_work():
    assert marks(LOG) == {
        date(2026, 3, 8): ("cold start",),
        date(2026, 3, 10): ("oil changed", "shimmed the gib"),
        date(2026, 3, 15): ("front bearing 47 C, was 33",),
    }
    assert not marks([entry(1, "oil changed=no", "minutes warm=20")])


def test_worse_is_read_beside_them():
    said = marks_since(LOG, date(2026, 3, 15))
    assert said.startswith(" Read it beside: oil changed, shimmed the gib on 2026-03-10;")
    assert "cold start" not in said  # that was a date before the last good one
    assert marks_since(LOG[:1], date(2026, 3, 1)) == ""


def test_every_trend_shows_them(log_of_marks):
    found = _changes(LOG, log_of_marks)
    assert found == {1: "cold start", 2: "oil changed, shimmed the gi\N{HORIZONTAL ELLIPSIS}"}


@pytest.fixture
def log_of_marks():
    from types import SimpleNamespace

    return SimpleNamespace(points=[SimpleNamespace(day=date(2026, 3, d)) for d in (1, 8, 15)])


def test_a_table_and_a_logbook_keep_them(tmp_path, mill, monkeypatch):
    monkeypatch.setenv("CHATTER_BOOK", str(tmp_path / "shop.db"))
    save_machine(mill, tmp_path / "machine.toml")
    soundfile.write(tmp_path / "a.wav", 0.01 * np.ones(24_000), 24_000)
    row = {"date": "2026-03-02", "file": "a.wav", "speed": "190", "state": "; ".join(STATED)}
    add_row(tmp_path, row)
    add_row(tmp_path, {"date": "2026-03-03", "kind": "state", "state": "tram=0.02 in 300"})
    idle, alone = load_folder(tmp_path).entries
    assert show_state(idle.state) == "; ".join(STATED)
    assert (alone.kind, alone.file, alone.state) == ("state", None, (("tram", "0.02 in 300"),))
    with pytest.raises(JobError, match="needs what it states"):
        add_row(tmp_path, {"date": "2026-03-03", "kind": "state"})
    with open_book() as book:
        add_machine(book, machine_text(mill))
        add_to_book(book, "test mill", {**row, "kind": "idle", "file": str(tmp_path / "a.wav")})
        (kept,) = load_book(book, "test mill")[0].entries
        assert kept.state == idle.state and kept.rev_min == 190.0
        with pytest.raises(JobError, match="beside a recording of idling"):
            add_to_book(
                book, "test mill", {"date": "2026-03-03", "kind": "state", "state": "oil=x"}
            )


def test_before_first_power_comes_first(mill):
    steps = guided_list(mill, ())
    assert [step.what for step in steps[:3]] == [what for what, _ in BEFORE_POWER]
    told = " ".join(what for what, _ in BEFORE_POWER)
    for word in ("locked out", "sight glasses", "way oilers", "by hand", "direction of rotation",
                 "lowest gear", "feel the bearings", "bearings stay cool"):  # fmt: skip
        assert word in told, word
    looked = replace(LOG[2], day=date(2026, 2, 1))
    assert next_step(guided_list(mill, (looked,))).what == BEFORE_POWER[1][0]
    ran = guided_list(mill, (LogEntry("idle", date(2026, 3, 1), None, Path("a.wav"), 60.0),))
    assert "Warm the machine up" in next_step(ran).what


def test_the_command_adds_a_state(tmp_path, mill, capsys):
    save_machine(mill, tmp_path / "machine.toml")
    words = ["runin", "add", str(tmp_path), "--date", "2026-03-01"]
    assert main([*words, "--state", "oil level=full", "--state", "room=18 C"]) == 0
    assert "the state of the machine, 2026-03-01" in capsys.readouterr().out
    assert main([*words, "--state", "oil levle"]) == 2
    assert "has no value" in capsys.readouterr().err
