"""The log in a folder and in the logbook, the guided list, and hints of tightness."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest
import soundfile

from chatter.errors import BookError, CardError, JobError
from chatter.findings import Pass, Spindle, ToothLevel
from chatter.job.cards import machine_text, save_machine
from chatter.logbook import RecordingRow, add_machine, open_book
from chatter.runin.book import add_to_book, load_book
from chatter.runin.entries import LogEntry, read_day, read_hours
from chatter.runin.folder import add_row, load_folder
from chatter.runin.plan import BEFORE_POWER, guided_list, next_step, repeat_speeds
from chatter.runin.tightness import JudgedCut, hints, swing_of


@pytest.fixture
def folder(tmp_path, mill):
    save_machine(mill, tmp_path / "machine.toml")
    soundfile.write(tmp_path / "a.wav", 0.01 * np.ones(24_000), 24_000)
    return tmp_path


ROW = {
    "date": "2026-03-02", "hours": "1.5", "kind": "idle", "file": "a.wav", "speed": "190",
    "phone": "old", "place": "stand, left", "span": "0:02-0:20", "note": 'said "so", warm',
}  # fmt: skip


# ---------------------------------------------------------------- folder


def test_a_row_comes_back(folder, mill):
    add_row(folder, ROW)
    log = load_folder(folder)
    assert log.machine == mill and not log.simulated
    (entry,) = log.entries
    assert entry.file == folder / "a.wav" and entry.span_s == (2.0, 20.0)
    assert (entry.day.isoformat(), entry.hours, entry.kind) == ("2026-03-02", 1.5, "idle")
    assert (entry.rev_min, entry.phone, entry.place) == (190.0, "old", "stand, left")
    assert entry.note == 'said "so", warm'
    assert (entry.job, entry.teeth, entry.sign, entry.state) == (None, None, "", ())


def test_lines_that_are_there_are_not_touched(folder):
    index = folder / "runin.csv"
    kept = "Date;File;Speed;note\n2026-03-01;a.wav;90;Spänemaß\n2026-03-01;a.wav;130;"
    index.write_text(kept, encoding="utf-8-sig")
    add_row(folder, {"date": "2026-03-02", "file": "a.wav", "speed": "190", "note": "x;y"})
    text = index.read_text(encoding="utf-8-sig")
    assert text.startswith(kept)
    assert [one.rev_min for one in load_folder(folder).entries] == [90.0, 130.0, 190.0]
    assert load_folder(folder).entries[2].note == "x;y"


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ({**ROW, "date": "2.3.26"}, "is not a date"),
        ({**ROW, "hours": "-3"}, "running hours '-3'"),
        ({**ROW, "speed": ""}, "needs its spindle speed"),
        ({**ROW, "file": "b.wav"}, "There is no file"),
        ({**ROW, "kind": "idel"}, "idle"),
        ({**ROW, "kind": "cut"}, "needs a job card"),
        ({**ROW, "kind": "surface", "file": "", "sign": ""}, "needs a sign"),
    ],
)
def test_a_wrong_row_is_refused_and_nothing_is_written(folder, row, said):
    add_row(folder, ROW)
    before = (folder / "runin.csv").read_bytes()
    with pytest.raises((JobError, CardError), match=said):
        add_row(folder, row)
    assert (folder / "runin.csv").read_bytes() == before


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("date,file,sped\n", "'sped' is no column of a run-in log: did you mean 'speed'"),
        ("date,file,speed\nx,a.wav,90\n", "runin.csv, line 2: The date 'x'"),
        ("date,file,speed\n2026-03-01,a.wav,90\n2026-03-01,,90\n", "line 3: .* needs a recording"),
    ],
)
def test_a_wrong_table_names_its_line(folder, text, said):
    (folder / "runin.csv").write_text(text)
    with pytest.raises(CardError, match=said):
        load_folder(folder)


def test_an_empty_folder_and_a_missing_card(folder):
    assert load_folder(folder).entries == ()
    (folder / "machine.toml").unlink()
    with pytest.raises(CardError, match="no machine card"):
        load_folder(folder)


def test_words_for_dates_and_hours():
    assert read_day("2026-03-02T14:00") == date(2026, 3, 2)
    assert read_hours("12,5 h") == 12.5 and read_hours("") is None


# ---------------------------------------------------------------- logbook


def test_the_logbook_holds_the_same_log(folder, mill):
    with open_book(folder / "shop.db") as book:
        add_machine(book, machine_text(mill))
        add_to_book(book, "test mill", {**ROW, "file": str(folder / "a.wav"), "simulated": "yes"})
        more = {**ROW, "file": str(folder / "a.wav"), "speed": "90", "span": "0:21-0:40"}
        add_to_book(book, "test mill", {**more, "simulated": "yes"})
        add_to_book(
            book, "test mill", {"date": "2026-03-03", "kind": "surface", "sign": "cross hatch"}
        )
        log, cuts = load_book(book, "test mill")
        assert book.count(RecordingRow) == 1  # one long recording, two stretches
    assert log.machine == mill and log.simulated and not cuts
    idle = [one for one in log.entries if one.kind == "idle"]
    assert [(one.rev_min, one.span_s) for one in idle] == [
        (190.0, (2.0, 20.0)), (90.0, (21.0, 40.0)),
    ]  # fmt: skip
    assert {(one.hours, one.phone, one.place) for one in idle} == {(1.5, "old", "stand, left")}
    assert [one.sign for one in log.entries if one.kind == "surface"] == ["cross_hatch_both"]


def test_cuts_go_into_the_book_with_what_was_found(folder, mill):
    with open_book(folder / "shop.db") as book:
        add_machine(book, machine_text(mill))
        with pytest.raises(JobError, match="chatter listen --log"):
            add_to_book(book, "test mill", {**ROW, "kind": "cut", "teeth": "12"})
        with pytest.raises(BookError, match="no machine 'lathe'"):
            load_book(book, "lathe")


# ---------------------------------------------------------------- guided list


def entry(speed, day, hours=None, kind="idle"):
    return LogEntry(kind, date(2026, 3, 1) + timedelta(days=day), hours, Path("a.m4a"), speed)


def test_the_list_of_a_new_machine_starts_with_a_survey(mill):
    steps = guided_list(mill, ())
    assert not any(step.is_done for step in steps)
    assert "every speed (60, 90, 130, 190, 270 rev/min)" in steps[len(BEFORE_POWER)].what


def test_the_list_knows_what_is_done(mill):
    log = [entry(speed, 0, 0.0) for speed in mill.speeds_rev_min]
    steps = guided_list(mill, log)
    assert steps[0].is_done and steps[1].is_done
    assert "first cuts" in next_step(steps).what
    again = [entry(speed, 2, 1.0) for speed in repeat_speeds(mill)[:1]]
    visit = next(step for step in guided_list(mill, log + again) if "about 1 running" in step.what)
    assert (visit.done, visit.wanted) == (1, 2) and f"{repeat_speeds(mill)[1]:g}" in visit.missing


def test_the_same_day_twice_is_one_date(mill):
    log = [entry(speed, 0) for speed in repeat_speeds(mill) for _ in range(4)]
    assert sum(step.is_done for step in guided_list(mill, log) if "idling at" in step.what) == 1


def test_a_machine_without_speeds_still_has_a_list(mill):
    steps = guided_list(replace(mill, speeds_rev_min=()), ())
    assert "each gear step" in steps[len(BEFORE_POWER)].what and next_step(steps) is steps[0]


# ---------------------------------------------------------------- tightness


def passed(levels, spread=0.2, revolutions=30.0):
    teeth = tuple(ToothLevel(i + 1, float(x), spread) for i, x in enumerate(levels))
    return Pass(
        1, 0.0, 20.0, revolutions, "normal", (), 0.9, {}, None, Spindle(57, 57, 57, 57, True), 10.0,
        None, (), (), (), teeth,
    )  # fmt: skip


def test_a_swing_once_a_turn_is_measured():
    angle = 2 * np.pi * np.arange(12) / 12
    swing, error = swing_of([passed(2.5 * np.cos(angle - 0.7))])
    assert swing == pytest.approx(2.5, abs=1e-9)
    # Each level is known to 0.2 dB; an amplitude of twelve to 0.2 * sqrt(2 / 12).
    assert error == pytest.approx(0.2 * np.sqrt(2 / 12), rel=1e-6)


def test_one_high_tooth_is_less_of_a_swing_than_runout():
    one = np.zeros(12)
    one[3] = 3.0
    assert swing_of([passed(one)])[0] < 0.6


def cut(swing, cutter):
    return JudgedCut(entry(57.0, 0, kind="cut"), "normal", 0.9, "", cutter, swing, 0.1)


def test_runout_with_two_cutters_speaks_of_the_arbor():
    (hint,) = hints([cut(3.0, "saw"), cut(2.0, "side mill")], ())
    assert hint.speaks == "bad" and "2 cutters" in hint.says


def test_runout_with_one_cutter_may_be_the_cutter():
    (hint,) = hints([cut(3.0, "saw"), cut(0.2, "side mill")], ())
    assert hint.speaks == "neutral" and "one cutter" in hint.says


def test_even_teeth_speak_well():
    (hint,) = hints([cut(0.2, "saw")], ())
    assert hint.speaks == "good"


def test_surfaces_say_what_their_table_says():
    seen = replace(entry(None, 0, kind="surface"), sign="single_lay_opposed", file=None)
    (hint,) = hints((), [seen])
    assert hint.speaks == "bad" and "not square" in hint.says and "indicator" in hint.check
