"""Damaged, foreign, older and newer books."""

from __future__ import annotations

import random
import sqlite3
from contextlib import closing

import pytest
from book_made import MILL

import chatter.logbook as lb
from chatter.errors import BookError
from chatter.logbook import opening
from chatter.places import places

OWN = list(opening.migration_steps())


@pytest.fixture
def path(tmp_path):
    """A closed book with some pages."""
    path = tmp_path / "shop.db"
    with lb.open_book(path) as book:
        lb.add_machine(book, MILL)
        with book.writing():
            for i in range(300):
                lb.add_note(book, f"note {i} " * 20)
    return path


def beside(path):
    """The book and what waits to go into it; SQLite may leave an empty file for the latter."""
    waiting = path.with_name(f"{path.name}-wal")
    return path.read_bytes(), waiting.read_bytes() if waiting.exists() else b""


def test_a_damaged_book_is_left_as_it_is(path):
    whole, rng, refused = path.read_bytes(), random.Random(1), 0
    for _ in range(60):
        harmed = bytearray(whole)
        start = rng.randrange(100, len(whole) - 200)
        harmed[start : start + 200] = rng.randbytes(200)
        path.write_bytes(harmed)
        before = beside(path)
        try:
            with lb.open_book(path) as book:  # what was hit may be a text or a free page
                list(book.each(lb.NoteRow))
        except BookError as told:
            refused += 1
            assert beside(path) == before, "the file was touched"
            if "damaged" in str(told):
                assert "left as it is" in str(told) and "backups" in str(told)
    assert refused > 20


@pytest.mark.parametrize("share", [0.3, 0.9])
def test_a_book_that_broke_off(path, share):
    whole = path.read_bytes()
    path.write_bytes(whole[: int(len(whole) * share)])
    before = beside(path)
    with pytest.raises(BookError, match="is damaged"):
        lb.open_book(path)
    assert beside(path) == before


def test_what_is_no_book(tmp_path):
    text = tmp_path / "letter.db"
    text.write_text("Dear grinder, " * 50)
    with pytest.raises(BookError, match="is not a logbook"):
        lb.open_book(text)
    other = tmp_path / "other.db"
    with closing(sqlite3.connect(other)) as theirs:
        theirs.execute("CREATE TABLE recipes (name TEXT)")
    before = other.read_bytes()
    with pytest.raises(BookError, match="another program"):
        lb.open_book(other)
    assert other.read_bytes() == before


def test_a_newer_book_is_refused(path):
    with closing(sqlite3.connect(path)) as newer, newer:
        newer.execute(
            "INSERT INTO _sqlite_migrations (migration_set, name, applied_at) "
            "VALUES ('chatter.logbook', '0099_later', 'now')"
        )
    before = beside(path)
    for write in (True, False):
        with pytest.raises(BookError, match=r"newer version of this program.*0099_later"):
            lb.open_book(path, write=write)
    assert beside(path) == before


def forms(path):
    with closing(sqlite3.connect(path)) as book:
        names = [row[0] for row in book.execute("SELECT name FROM _sqlite_migrations ORDER BY id")]
        columns = [row[1] for row in book.execute("PRAGMA table_info(machines)")]
        return names, "colour" in columns, book.execute("SELECT count(*) FROM notes").fetchone()[0]


def with_steps(monkeypatch, **more):
    known = dict(opening.migration_steps())
    monkeypatch.setattr(opening, "migration_steps", lambda: {**known, **more})


def test_a_new_form_keeps_a_copy_of_the_old(path, monkeypatch):
    with pytest.MonkeyPatch.context() as later:
        with_steps(later, **{"0099_colour": "ALTER TABLE machines ADD COLUMN colour TEXT;"})
        with pytest.raises(BookError, match="older form"):
            lb.open_book(path, write=False)
        lb.open_book(path).close()
        lb.open_book(path).close()
        copies = list(places(path).backups.iterdir())
    assert forms(path) == ([*OWN, "0099_colour"], True, 300)
    assert len(copies) == 1 and "before-0099_colour" in copies[0].name
    assert forms(copies[0]) == (OWN, False, 300)
    monkeypatch.undo()
    with lb.open_book(copies[0]) as old:
        assert old.get(lb.MachineRow, 1).machine == MILL, "the copy is a book"


def test_a_step_that_fails_changes_nothing(path, monkeypatch):
    with pytest.MonkeyPatch.context() as later:
        harm = "ALTER TABLE machines ADD COLUMN colour TEXT; INSERT INTO nowhere VALUES (1);"
        with_steps(later, **{"0099_colour": harm})
        with pytest.raises(BookError, match="cannot be opened"):
            lb.open_book(path)
    monkeypatch.undo()
    assert forms(path) == (OWN, False, 300)
    with lb.open_book(path) as book:
        assert book.get(lb.MachineRow, 1).machine == MILL


def test_where_the_book_lies(tmp_path, monkeypatch):
    assert places().book == tmp_path / "shop.db", "CHATTER_BOOK"
    monkeypatch.delenv("CHATTER_BOOK")
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    assert places().book.name == "logbook.db"
    assert "chatter" in places().book.parent.name.lower()
    assert places(tmp_path / "b.db").files == tmp_path / "b.files"


def test_a_copy_while_somebody_writes(book):
    lb.add_note(book, "before")
    with lb.open_book(book.path) as second, second.writing():
        lb.add_note(second, "not yet")
        copy = opening.backup(book.db.conn, book.places, "asked")
    with lb.open_book(copy) as kept:
        assert [row.text for row in kept.each(lb.NoteRow)] == ["before"]
    assert opening.backup(book.db.conn, book.places, "asked") != copy


def test_awkward_names(tmp_path):
    path = tmp_path / "shop #1 ?%20 é.db"
    with lb.open_book(path) as book:
        lb.add_note(book, "x")
    with lb.open_book(path, write=False) as book:
        assert book.count(lb.NoteRow) == 1
    assert path.exists()
