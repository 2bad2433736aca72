"""Out as plain files and in again: nothing lost, nothing doubled."""

from __future__ import annotations

import csv
import json
import random
from contextlib import contextmanager

import pytest
from book_made import MILL, SAW, findings, job, picture_file, sound_file

import chatter.logbook as lb
from chatter.errors import BookError
from chatter.logbook.checking import check
from chatter.logbook.exporting import export
from chatter.logbook.merging import merge


def fill(book, tmp_path, *, shop="a", seed=1):
    """A bit of everything."""
    mill, saw = lb.add_machine(book, MILL), lb.add_cutter(book, SAW)
    lb.add_regrind(book, saw, "2025-02-01", note="hollow ground")
    file = sound_file(tmp_path / f"{shop}.wav", seed=seed)
    logged = lb.store_listen(book, file, job(), findings(), machine=mill, cutter=saw, hours=2.5)
    lb.add_note(book, f"of shop {shop}: 'é', \"x\"\n=1+1", machine=mill)
    lb.add_surface(book, "cross hatch", recording=logged.recording)
    lb.add_label(book, logged.recording, "chatter", cure="less depth")
    lb.add_photo(book, picture_file(tmp_path / f"{shop}.jpg", seed=seed + 50), machine=mill)
    lb.add_compare(book, "t", "s", {"x": 1}, [logged.recording], schema_version=1)
    book.update(mill, note="gib tightened")
    return logged


def tables(book):
    """Everything but the numbers, which belong to one file."""
    return {
        table: sorted(
            (
                tuple((k, v) for k, v in vars(row).items() if k != "number")
                for row in book.each(kind)
            ),
            key=str,
        )
        for kind, table in lb.TABLES.items()
    }


@contextmanager
def another(tmp_path, name="other"):
    (tmp_path / name).mkdir(exist_ok=True)
    with lb.open_book(tmp_path / name / "other.db") as opened:
        yield opened


def test_round_trip_is_equal(book, tmp_path):
    logged = fill(book, tmp_path)
    counts = export(book, tmp_path / "out")
    assert counts["earlier"] == 1 and counts["listens"] == 1
    with another(tmp_path) as other:
        done = merge(other, tmp_path / "out")
        assert (done.new, done.files, done.missing) == (sum(counts.values()), 2, ())
        assert tables(other) == tables(book)
        assert [list(other.each(kind)) for kind in lb.TABLES] == [
            list(book.each(kind)) for kind in lb.TABLES
        ], "into an empty book even the numbers are the same"
        assert other.get(lb.ListenRow, 1).findings == findings()
        kept = lb.file_of(other, other.get(lb.RecordingRow, logged.recording.sha256))
        assert kept.read_bytes() == (tmp_path / "a.wav").read_bytes()
        export(other, tmp_path / "again")
        assert not check(other).faults
    first, second = (
        json.loads((tmp_path / name / "logbook.json").read_text(encoding="utf-8"))
        for name in ("out", "again")
    )
    assert first["tables"] == second["tables"]


def test_importing_twice_changes_nothing(book, tmp_path):
    fill(book, tmp_path)
    export(book, tmp_path / "out")
    before = tables(book)
    done = merge(book, tmp_path / "out")
    assert (done.new, done.changed, done.older, done.files) == (0, 0, 0, 0) and done.same > 5
    assert tables(book) == before


def test_two_books_become_one_either_way(book, tmp_path):
    fill(book, tmp_path)
    with another(tmp_path) as other:
        export(book, tmp_path / "start")
        merge(other, tmp_path / "start")
        fill(other, tmp_path, shop="b", seed=2)
        # both go on, and both change the same machine; the other one last
        book.update(book.get(lb.MachineRow, 1), note="here")
        other.update(other.get(lb.MachineRow, 1), note="there")
        lb.add_note(book, "only here")
        export(book, tmp_path / "mine")
        merge(book, other.path)
        merge(other, tmp_path / "mine")
        assert book.get(lb.MachineRow, 1).note == "there"
        wordings = {row.row_json for row in book.each(lb.EarlierRow)}
        assert any('"note": "here"' in one for one in wordings), "the other wording is kept"
        assert {row.text[-1:] for row in book.each(lb.NoteRow)} >= {"e"}
        here, there = tables(book), tables(other)
        for table in here:
            if table != "earlier":
                assert here[table] == there[table], table
        before = tables(book), tables(other)
        merge(book, other.path)
        merge(other, book.path)
        assert (tables(book), tables(other)) == before
        assert len(book.list(lb.RecordingRow)) == 2
        assert not check(book).faults and not check(other).faults


def test_a_copy_is_not_given_up_for_a_pointer(book, tmp_path):
    file = sound_file(tmp_path / "a.wav")
    with another(tmp_path) as other:
        lb.add_recording(book, file)
        lb.add_recording(other, file, copy=False, phone="newer wording")
        merge(book, other.path)
    row = book.get(lb.RecordingRow, 1)
    assert (row.phone, row.keeping) == ("newer wording", "copy")
    assert lb.file_of(book, row).is_relative_to(book.places.files)


def test_tables_for_spreadsheets(book, tmp_path):
    fill(book, tmp_path)
    export(book, tmp_path / "out", files=False)
    assert not (tmp_path / "out/files").exists()
    with (tmp_path / "out/csv/notes.csv").open(encoding="utf-8", newline="") as sheet:
        row = next(csv.DictReader(sheet))
    assert row["text"] == "of shop a: 'é', \"x\"\n=1+1" and row["number"] == "1"
    with (tmp_path / "out/csv/listens.csv").open(encoding="utf-8", newline="") as sheet:
        row = next(csv.DictReader(sheet))
    assert row["verdict"] == "chatter" and "findings_json" not in row
    with another(tmp_path) as other:
        assert sorted(merge(other, tmp_path / "out").missing) == ["a.jpg", "a.wav"]
        assert len(check(other).faults) == 2


def test_an_export_overwrites_nothing(book, tmp_path):
    (tmp_path / "out").mkdir()
    (tmp_path / "out/mine.txt").write_text("x")
    with pytest.raises(BookError, match="not an empty folder"):
        export(book, tmp_path / "out")


@pytest.mark.parametrize(
    "harm",
    [
        lambda told: told["tables"]["notes"][0].pop("text"),
        lambda told: told["tables"]["notes"][0].update(extra="x"),
        lambda told: told["tables"]["notes"][0].update(text=5),
        lambda told: told["tables"]["notes"][0].update(machine="0" * 32),
        lambda told: told["tables"]["recordings"][0].update(place="../../evil.wav"),
        lambda told: told["tables"]["recordings"][0].update(simulated=2),
        lambda told: told.update(form="9999_later"),
        lambda told: told.update(format="something else"),
        lambda told: told["tables"].update(strangers=[]),
        lambda told: told.update(tables=None),
    ],
)
def test_a_harmed_export_imports_nothing(book, tmp_path, harm):
    fill(book, tmp_path)
    export(book, tmp_path / "out")
    path = tmp_path / "out/logbook.json"
    told = json.loads(path.read_text(encoding="utf-8"))
    harm(told)
    path.write_text(json.dumps(told), encoding="utf-8")
    with another(tmp_path) as other:
        with pytest.raises(BookError):
            merge(other, path)
        assert all(other.count(kind) == 0 for kind in lb.TABLES)


def test_half_a_json_is_refused(book, tmp_path):
    fill(book, tmp_path)
    export(book, tmp_path / "out")
    path = tmp_path / "out/logbook.json"
    path.write_bytes(path.read_bytes()[:-40])
    with pytest.raises(BookError, match="is not an export"):
        merge(book, path)


def test_a_check_finds_what_is_lost(book, tmp_path):
    logged = fill(book, tmp_path)
    assert check(book).faults == ()
    kept = lb.file_of(book, logged.recording)
    kept.chmod(0o644)
    kept.write_bytes(b"other")
    told = check(book)
    assert len(told.faults) == 1 and "was changed" in told.faults[0]
    kept.unlink()
    assert "is not at" in check(book).faults[0]
    (book.places.files / "stray.wav").write_bytes(b"x")
    assert any("stray.wav" in one for one in check(book).remarks)


@pytest.mark.parametrize("seed", range(4))
def test_three_books_in_any_order(tmp_path, seed):
    """Random work in three books that are merged now and then: in the end all agree, and every
    wording that ever stood anywhere is in a row or among the earlier ones."""
    rng = random.Random(seed)
    books = [lb.open_book(tmp_path / f"{name}.db") for name in "abc"]
    written = set()
    for i in range(60):
        book = rng.choice(books)
        notes = book.list(lb.NoteRow)
        action = rng.random()
        if action < 0.4 or not notes:
            lb.add_note(book, f"wording {i}")
            written.add(f"wording {i}")
        elif action < 0.8:
            book.update(rng.choice(notes), text=f"wording {i}")
            written.add(f"wording {i}")
        else:
            merge(book, rng.choice(books).path)
    for _ in range(2):
        for book in books:
            for other in books:
                merge(book, other.path)
    rows = [{(row.uid, row.text) for row in book.each(lb.NoteRow)} for book in books]
    assert rows[0] == rows[1] == rows[2]
    for book in books:
        kept = {row.text for row in book.each(lb.NoteRow)}
        kept |= {json.loads(row.row_json)["text"] for row in book.each(lb.EarlierRow)}
        assert kept == written
        before = tables(book)
        for other in books:
            merge(book, other.path)
        assert tables(book) == before
        book.close()
