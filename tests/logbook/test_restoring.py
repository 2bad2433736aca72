"""Damaged schemas, missing tables, full disks, and the way back from a copy."""

from __future__ import annotations

import os
import random
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest
from book_made import MILL

import chatter.logbook as lb
from chatter.cli import main
from chatter.errors import BookError
from chatter.logbook import opening
from chatter.logbook.checking import check
from chatter.logbook.restoring import restore
from chatter.logbook.rows import TABLES
from chatter.places import places

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def path(tmp_path):
    """A closed book: three notes, a copy of it, two more notes."""
    path = tmp_path / "shop.db"
    with lb.open_book(path) as book:
        mill = lb.add_machine(book, MILL)
        for i in range(3):
            lb.add_note(book, f"note {i}", machine=mill)
        opening.backup(book.db.conn, book.places, "asked")
        for i in range(3, 5):
            lb.add_note(book, f"note {i}", machine=mill)
    return path


def read_all(path, *, write: bool) -> None:
    with lb.open_book(path, write=write) as book:
        for kind in TABLES:
            list(book.each(kind))
        check(book)


def harm(path, was: bytes, now: bytes) -> None:
    whole = path.read_bytes()
    assert was in whole and len(was) == len(now)
    path.write_bytes(whole.replace(was, now))


def test_flipped_bits_anywhere_give_an_answer_or_one_sentence(path):
    whole, rng, refused = path.read_bytes(), random.Random(7), 0
    schema = whole.index(b"CREATE TABLE machines")
    for turn in range(240):
        harmed = bytearray(whole)
        at = schema - 2500 + rng.randrange(3500) if turn % 2 else rng.randrange(100, len(whole))
        harmed[at] ^= 1 << rng.randrange(8)
        path.write_bytes(harmed)
        for write in (False, True):
            for end in ("-wal", "-shm"):
                path.with_name(path.name + end).unlink(missing_ok=True)
            try:
                read_all(path, write=write)
            except BookError:
                refused += 1
    assert refused > 40


@pytest.mark.parametrize("write", [False, True])
@pytest.mark.parametrize(
    ("was", "now", "what"),
    [
        (b"CREATE TABLE labels", b"CREATE TABLE lab\xffls", "damaged"),
        (b"CREATE TABLE labels", b"CREATE TABLE labeps", "damaged"),
        (b"    note TEXT NOT NULL", b"    nope TEXT NOT NULL", "has other columns"),
    ],
)
def test_a_damaged_schema_is_one_sentence_with_the_way_back(path, was, now, what, write):
    harm(path, was, now)
    with pytest.raises(BookError, match=what) as told:
        read_all(path, write=write)
    assert "chatter log restore" in str(told.value) and "left as it is" in str(told.value)


@pytest.mark.parametrize("command", [["log", "show"], ["log", "check"], ["log", "label", "1", "x"]])
def test_a_missing_table_is_noticed_by_every_command(path, command, capsys):
    with closing(sqlite3.connect(path)) as book, book:
        book.execute("DROP TABLE labels")
    assert main([*command, "--book", str(path)]) == 2
    said = capsys.readouterr().err
    assert "its table labels is missing" in said and "chatter log restore" in said


def test_names_that_are_no_text_are_damage(path):
    """Found by flipping bits: SQLite quotes the schema in its complaint, whatever is in it."""
    harm(path, b"uid TEXT NOT NULL UNIQUE,", b"uid TEXT NOT N\xffLL UNIQUE,")
    for write in (False, True):
        with pytest.raises(BookError, match="description of itself is no text"):
            lb.open_book(path, write=write)


def test_a_book_without_copies_is_told_what_else_there_is(path):
    shutil.rmtree(places(path).backups)
    with closing(sqlite3.connect(path)) as book, book:
        book.execute("DROP TABLE labels")
    with pytest.raises(BookError, match=r"there is no copy.*chatter log import"):
        lb.open_book(path)
    with pytest.raises(BookError, match="There is no copy of the logbook"):
        restore(places(path))


def notes(path) -> list[str]:
    with lb.open_book(path, write=False) as book:
        return [row.text for row in book.each(lb.NoteRow)]


def test_restore_brings_the_copy_back_and_what_can_still_be_read(path, capsys):
    harm(path, b"CREATE TABLE labels", b"CREATE TABLE labeps")
    harmed = path.read_bytes()
    assert main(["log", "restore", "--book", str(path)]) == 0
    said = capsys.readouterr().out
    assert notes(path)[:3] == ["note 0", "note 1", "note 2"]
    (aside,) = path.parent.glob("shop.aside-*.db")
    assert aside.read_bytes() == harmed and str(aside) in said
    assert main(["log", "check", "--book", str(path)]) == 0


def test_entries_newer_than_the_copy_are_read_out_of_a_book_that_lost_a_page(path):
    with closing(sqlite3.connect(path)) as book, book:
        book.execute("DROP TABLE labels")
    done = restore(places(path))
    assert done.rescued == 2 and notes(path) == [f"note {i}" for i in range(5)]
    assert done.rows == 1 + 5


def test_a_whole_book_is_not_replaced_unless_a_copy_is_named(path):
    with pytest.raises(BookError, match="is whole: nothing was restored"):
        restore(places(path))
    (copy,) = places(path).backups.iterdir()
    done = restore(places(path), copy)
    assert notes(path) == ["note 0", "note 1", "note 2"] and done.rescued == 0
    assert notes(done.aside) == [f"note {i}" for i in range(5)], "nothing is thrown away"
    with pytest.raises(BookError, match="is the logbook itself"):
        restore(places(path), path)


def test_a_damaged_copy_is_passed_over(path):
    newer = places(path).backups / "shop-99990101T000000-asked.db"
    newer.write_bytes(b"SQLite format 3\0" + b"\x01" * 5000)
    path.unlink()
    done = restore(places(path))
    assert done.copy != newer and len(notes(path)) == 3 and done.aside is None
    with pytest.raises(BookError, match="cannot be brought back"):
        restore(places(path), newer)


def test_what_waited_to_go_into_the_damaged_book_does_not_go_into_the_new_one(path):
    waiting = path.with_name("shop.db-wal")
    path.write_bytes(path.read_bytes()[:5000])
    waiting.write_bytes(b"left over")
    done = restore(places(path))
    assert not waiting.exists() or waiting.stat().st_size == 0
    assert done.aside.with_name(done.aside.name + "-wal").read_bytes() == b"left over"
    assert len(notes(path)) == 3


@pytest.fixture
def small_disk(tmp_path):
    """A disk of one megabyte."""
    place = tmp_path / "disk"
    place.mkdir()
    made = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", str(place)],
        capture_output=True,
        check=False,
    )
    if made.returncode:
        pytest.skip("only root may mount a small disk")
    yield place
    subprocess.run(["umount", "-l", str(place)], check=True)


def fill(place: Path) -> None:
    with (place / "ballast").open("wb", buffering=0) as out:
        try:
            while True:
                out.write(b"x" * 4096)
        except OSError:
            pass
    assert shutil.disk_usage(place).free == 0


CUT_OFF = """
import os, sys
import chatter.logbook as lb
book = lb.open_book(sys.argv[1])
lb.add_note(book, "last words")
os._exit(0)
"""


@pytest.mark.parametrize("waiting", [False, True])
@pytest.mark.skipif(not hasattr(os, "fork"), reason="no small disks there")
def test_on_a_full_disk_the_book_is_read_and_writing_says_why_not(
    small_disk, path, waiting, capsys
):
    """Also when a writer was cut off, and its last entry waits beside the book."""
    book = small_disk / "shop.db"
    shutil.copy(path, book)
    if waiting:
        subprocess.run(
            [sys.executable, "-c", CUT_OFF, str(book)],
            check=True,
            env={**os.environ, "PYTHONPATH": str(ROOT)},
        )
        assert (small_disk / "shop.db-wal").stat().st_size > 0
        (small_disk / "shop.db-shm").unlink()
    fill(small_disk)
    expected = [f"note {i}" for i in range(5)] + (["last words"] if waiting else [])
    assert notes(book) == expected
    assert main(["log", "show", "--book", str(book)]) == 0
    capsys.readouterr()
    assert main(["log", "note", "x" * 100_000, "--book", str(book)]) == 2
    assert "the disk is full: free some space" in capsys.readouterr().err
    assert notes(book) == expected
