"""Wrong entries are taken out, set aside, and do not come back."""

from __future__ import annotations

import pytest
from book_made import MILL, findings, job, sound_file

import chatter.logbook as lb
from chatter.cli import main
from chatter.errors import BookError
from chatter.logbook.checking import check
from chatter.logbook.exporting import export
from chatter.logbook.merging import merge


@pytest.fixture
def take(book, tmp_path):
    """A recording with all that can be said of it."""
    mill = lb.add_machine(book, MILL)
    file = sound_file(tmp_path / "a.wav")
    stored = lb.store_listen(book, file, job(), findings(), machine=mill).recording
    lb.add_note(book, "of the recording", recording=stored)
    lb.add_label(book, stored, "chatter")
    lb.add_surface(book, "burr", recording=stored)
    lb.add_note(book, "of the machine", machine=mill)
    return stored


def test_a_note_is_set_aside(book, take):
    assert take
    note = book.get(lb.NoteRow, 1)
    assert lb.strike(book, note) == 1
    assert [one.text for one in book.list(lb.NoteRow)] == ["of the machine"]
    (kept,) = book.list(lb.EarlierRow)
    assert kept.of_uid == note.uid and "of the recording" in kept.row_json
    with pytest.raises(BookError, match="no note"):
        lb.strike(book, note)


def test_a_recording_goes_with_what_is_said_of_it(book, take):
    kept = lb.file_of(book, take)
    assert lb.strike(book, take) == 5
    left = {table: book.count(kind) for kind, table in lb.TABLES.items() if book.count(kind)}
    assert left == {"machines": 1, "jobs": 1, "notes": 1, "earlier": 5}
    assert kept.exists() and check(book).faults == ()
    again = lb.add_recording(book, kept, name="a.wav")
    assert again.uid == take.uid, "it can be stored again"


def test_a_machine_in_use_stays(book, take):
    assert take
    with pytest.raises(BookError, match="other entries name it"):
        lb.strike(book, book.get(lb.MachineRow, 1))
    assert book.count(lb.EarlierRow) == 0


def test_an_import_does_not_bring_it_back(book, take, tmp_path):
    export(book, tmp_path / "out")
    lb.strike(book, take)
    done = merge(book, tmp_path / "out")
    assert (done.struck, done.new) == (5, 0)
    assert book.count(lb.RecordingRow) == book.count(lb.LabelRow) == 0
    with lb.open_book(tmp_path / "other" / "b.db") as other:
        merge(other, tmp_path / "out")
        lb.add_label(other, other.get(lb.RecordingRow, 1), "normal")
        done = merge(book, other.path)
        assert (done.struck, book.count(lb.LabelRow)) == (6, 0), "nor what was added elsewhere"
        merge(other, book.path)
        assert other.count(lb.RecordingRow) == 1, "there it stays"


def test_by_command(book, take, capsys):
    assert take
    assert main(["log", "strike", "labels", "1"]) == 0
    assert "Taken out of the logbook: labels 1." in capsys.readouterr().out
    assert main(["log", "strike", "recording", "a.wav"]) == 0
    assert "with 3 entries about it" in capsys.readouterr().out
    assert main(["log", "strike", "song", "1"]) == 2
    assert "is not known" in capsys.readouterr().err
    assert book.count(lb.RecordingRow) == 0
