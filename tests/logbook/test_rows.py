"""Rows go in and come out equal, once each."""

from __future__ import annotations

import hashlib
import json
import math
import sqlite3
from dataclasses import replace

import pytest
from book_made import MILL, SAW, findings, job, picture_file, sound_file

import chatter.logbook as lb
from chatter.errors import BookError, JobError
from chatter.tapping.findings import Room, Tap, TapFindings
from chatter.trade.modes import Mode


def test_machine_and_cutter_come_back_as_they_were(book):
    mill, saw = lb.add_machine(book, MILL), lb.add_cutter(book, SAW)
    assert book.get(lb.MachineRow, "Mill by the WINDOW") == mill
    assert (mill.machine, saw.cutter) == (MILL, SAW)
    assert '"mains_hz": 60.0' in mill.facts
    assert lb.add_machine(book, mill.card) == mill, "the same card is the same machine"
    assert book.count(lb.MachineRow) == 1


def test_a_second_machine_of_the_same_name_is_refused(book):
    lb.add_machine(book, MILL)
    with pytest.raises(BookError, match="another card"):
        lb.add_machine(book, replace(MILL, mains_hz=50.0))
    assert book.get(lb.MachineRow, 1).machine.mains_hz == 60.0


@pytest.mark.parametrize("name", ["", "12", "x" * 81])
def test_names_that_cannot_be(book, name):
    with pytest.raises(BookError, match="needs a name"):
        lb.add_machine(book, replace(MILL, name=name))


def test_findings_come_back_equal(book, tmp_path):
    file, told = sound_file(tmp_path / "slot.wav"), findings()
    logged = lb.store_listen(book, file, job(), told, phone="kitchen phone", hours=12.5)
    again = book.get(lb.ListenRow, logged.listen.number)
    assert again.findings == told
    assert math.copysign(1, again.findings.passes[0].measures["minus"]) == -1
    assert again.schema_version == told.schema_version
    assert book.get(lb.JobRow, 1).job == job()
    assert (logged.recording.hours, logged.recording.simulated) == (12.5, True)


def test_the_kept_file_is_the_file(book, tmp_path):
    file = sound_file(tmp_path / "slot.M4A")
    stored = lb.add_recording(book, file)
    kept = lb.file_of(book, stored)
    assert kept.read_bytes() == file.read_bytes() and kept.suffix == ".m4a"
    assert kept.is_relative_to(tmp_path / "shop.files")
    assert stored.sha256 == hashlib.sha256(file.read_bytes()).hexdigest()
    assert not list((tmp_path / "shop.files").glob(".copying*"))
    file.unlink()
    assert lb.file_of(book, stored) == kept


def test_a_file_that_is_only_pointed_at(book, tmp_path):
    file = sound_file(tmp_path / "slot.wav")
    stored = lb.add_recording(book, file, copy=False)
    assert not (tmp_path / "shop.files").exists()
    assert lb.file_of(book, stored) == file
    again = lb.add_recording(book, file)
    assert again.keeping == "copy" and again.number == stored.number
    assert lb.add_recording(book, file, copy=False).keeping == "copy", "a copy is not given up"
    lb.file_of(book, again).unlink()
    with pytest.raises(BookError, match="not at"):
        lb.file_of(book, again)
    assert lb.file_of(book, lb.add_recording(book, file)).exists(), "and is made again"


def test_the_same_twice_is_stored_once(book, tmp_path):
    file, told = sound_file(tmp_path / "slot.wav"), findings()
    mill, saw = lb.add_machine(book, MILL), lb.add_cutter(book, SAW)
    first = lb.store_listen(book, file, job(), told, machine=mill, cutter=saw)
    renamed = file.rename(tmp_path / "copy of slot.wav")
    second = lb.store_listen(book, renamed, job(), told, machine="1", cutter=saw.name)
    assert second.listen == first.listen and second.recording.name == "slot.wav"
    assert [book.count(kind) for kind in (lb.RecordingRow, lb.JobRow, lb.ListenRow)] == [1, 1, 1]
    other = lb.store_listen(book, renamed, job(), replace(told, made_by="chatter 0.2"))
    assert other.listen.number == 2 and other.job.number == 2, "without a machine: another job"


def test_a_change_keeps_what_was(book, tmp_path):
    stored = lb.add_recording(book, sound_file(tmp_path / "a.wav"), hours=3)
    changed = lb.add_recording(book, tmp_path / "a.wav", hours=4, phone="new phone")
    assert (changed.hours, changed.phone, changed.number) == (4, "new phone", stored.number)
    earlier = book.list(lb.EarlierRow, of_uid=stored.uid)
    assert len(earlier) == 1 and '"hours": 3' in earlier[0].row_json
    assert lb.add_recording(book, tmp_path / "a.wav") == changed, "nothing stated, nothing changed"
    assert book.count(lb.EarlierRow) == 1


def test_the_newest_listen_of_each_recording(book, tmp_path):
    mill = lb.add_machine(book, MILL)
    for day, name in ((3, "c.wav"), (1, "a.wav"), (2, "b.wav")):
        file = sound_file(tmp_path / name, seed=day)
        kind = "idle" if day == 2 else "cut"
        at = f"2025-03-0{day}T12:00+00:00"
        for version in ("1", "2"):
            told = replace(findings(name=name), made_by=f"chatter {version}")
            on = mill if day != 1 else None
            lb.store_listen(book, file, job(), told, recorded_at=at, kind=kind, machine=on)
    lb.add_recording(book, sound_file(tmp_path / "unheard.wav", seed=9), machine=mill)
    newest = list(lb.latest_listens(book))
    assert [one.recording.name for one in newest] == ["a.wav", "b.wav", "c.wav"]
    assert {one.listen.made_by for one in newest} == {"chatter 2"}
    assert [one.recording.name for one in lb.latest_listens(book, machine=mill)] == [
        "b.wav",
        "c.wav",
    ]
    assert [one.recording.name for one in lb.latest_listens(book, kind="idle")] == ["b.wav"]


def test_what_people_add(book, tmp_path):
    mill, saw = lb.add_machine(book, MILL), lb.add_cutter(book, SAW)
    take = lb.add_recording(book, sound_file(tmp_path / "a.wav"))
    assert lb.add_regrind(book, saw, "2025-02-01") == lb.add_regrind(book, saw, "2025-02-01")
    note = lb.add_note(book, " belt renewed ", machine=mill)
    seen = lb.add_surface(book, "one-sided drag marks", face="left wall", recording=take)
    label = lb.add_label(book, take, "side rubbing", cure="hollow-ground saw", pass_index=1)
    photo = lb.add_photo(book, picture_file(tmp_path / "p.jpg", seed=4), recording=take)
    assert (note.text, seen.sign, label.verdict) == ("belt renewed", "drag_one", "side_rubbing")
    assert (book.places.files / photo.place).read_bytes() == (tmp_path / "p.jpg").read_bytes()
    assert lb.add_photo(book, tmp_path / "p.jpg", recording=take) == photo
    for name, content in (("a.jpg", b"\xff\xd8\xff\xe0" + bytes(40)), ("notes.png", b"left wall")):
        (tmp_path / name).write_bytes(content)
        with pytest.raises(BookError, match=f"'{name}' holds no photograph"):
            lb.add_photo(book, tmp_path / name, recording=take)
    heic = tmp_path / "phone.heic"
    heic.write_bytes(b"\0\0\0\x18ftypheic" + bytes(40))
    lb.add_photo(book, heic, recording=take)
    with pytest.raises(JobError, match="did you mean 'chatter'"):
        lb.add_label(book, take, "chater")
    with pytest.raises(BookError, match="is not a date"):
        lb.add_regrind(book, saw, "first of May")
    with pytest.raises(BookError, match="no recording '77'"):
        lb.add_label(book, 77, "chatter")
    assert book.count(lb.LabelRow) == 1


def test_taps_and_compares_come_back(book, tmp_path):
    found = TapFindings(
        "taps.m4a",
        (Tap(1.5, 30.0, True), Tap(3.5, 10.0, False, "too weak")),
        (Mode(frequency_hz=610.0, damping_ratio=1 / 3),),
        (),
        Room(None, None, 0.0, None),
        None,
        what="arbor",
    )
    row = lb.add_taps(book, found, machine=lb.add_machine(book, MILL))
    assert book.get(lb.TapRow, row.number).found == found
    takes = [lb.add_recording(book, sound_file(tmp_path / f"{i}.wav", seed=i)) for i in (1, 2)]
    made = lb.add_compare(
        book, "saws", "No difference shown.", {"a": [1.5]}, takes, schema_version=1
    )
    again = book.get(lb.CompareRow, made.number)
    assert again.result == {"a": [1.5]}
    assert json.loads(again.recordings) == [one.uid for one in takes]


def test_a_name_that_is_not_there_gets_the_nearest(book):
    lb.add_machine(book, MILL)
    with pytest.raises(BookError, match="did you mean 'mill by the window'"):
        book.get(lb.MachineRow, "mill by the windwo")


def test_a_recording_by_the_beginning_of_its_hash(book, tmp_path):
    take = lb.add_recording(book, sound_file(tmp_path / "a.wav"))
    assert book.get(lb.RecordingRow, take.sha256[:8].upper()) == take
    assert book.get(lb.RecordingRow, "a.wav") == take


def test_together_or_not_at_all(book):
    with pytest.raises(RuntimeError), book.writing():
        lb.add_note(book, "first")
        with pytest.raises(BookError), book.writing():
            lb.add_note(book, "second")
            lb.add_note(book, "of nothing", machine="no such machine")
        assert [one.text for one in book.list(lb.NoteRow)] == ["first"]
        raise RuntimeError
    assert book.count(lb.NoteRow) == 0


def test_a_row_that_names_nothing_is_refused(book):
    with pytest.raises(BookError, match="refuses this entry"):
        book.add(lb.NoteRow(text="x", machine="0" * 32))
    with pytest.raises(BookError, match="refuses this entry"):
        book.add(lb.NoteRow(text=None))


def test_columns_take_only_their_type(book):
    with pytest.raises(sqlite3.IntegrityError, match="REAL"):
        book.db.conn.execute(
            "INSERT INTO recordings SELECT 1,'u','c','c',?,'n',1,'copy','p','cut','loud',"
            "NULL,'','',NULL,NULL,'',0,''",
            ("0" * 64,),
        )


def test_threads_may_share_a_book(book):
    """Writers wait for each other; readers see no half of a pair."""
    from concurrent.futures import ThreadPoolExecutor

    odd = []

    def write(who: int) -> None:
        for i in range(15):
            with book.writing():
                lb.add_note(book, f"{who} {i} first")
                lb.add_note(book, f"{who} {i} second")
            odd.append(len(book.list(lb.NoteRow)) % 2)

    with ThreadPoolExecutor(4) as pool:
        list(pool.map(write, range(4)))
    assert book.count(lb.NoteRow) == 120 and not any(odd)


def test_reading_while_writing_goes_page_by_page(book):
    with book.writing():
        for i in range(120):
            lb.add_note(book, str(i))
    seen = []
    for row in book.each(lb.NoteRow):
        seen.append(row.text)
        if row.text == "30":
            book.update(row, text="changed")
            lb.add_note(book, "last")
    assert seen == [*map(str, range(120)), "last"]
    with book.reading():
        first = book.count(lb.NoteRow)
        with lb.open_book(book.path) as other:
            lb.add_note(other, "meanwhile")
        assert book.count(lb.NoteRow) == first
    assert book.count(lb.NoteRow) == first + 1
