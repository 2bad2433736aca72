"""Killed, full, locked, read-only: one sentence at most, and nothing lost."""

from __future__ import annotations

import json
import os
import shutil
import stat
import subprocess
import sys
import tempfile
from contextlib import contextmanager
from pathlib import Path

import pytest
from book_made import sound_file

import chatter.logbook as lb
from chatter.errors import BookError
from chatter.logbook import opening
from chatter.logbook.checking import check

resource = pytest.importorskip("resource", reason="needs limits of processes")
HERE = Path(__file__).resolve().parent
pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork and kill")


def killed(folder: Path, rounds: int, *more: str) -> dict:
    done = subprocess.run(
        [sys.executable, HERE / "killing.py", folder, str(rounds), *more],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "PYTHONPATH": str(HERE.parent.parent)},
    )
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def test_hundreds_of_kills_lose_nothing(tmp_path):
    told = killed(tmp_path, 200)
    assert (told["rounds"], told["lost"], told["wrong"]) == (200, 0, [])
    assert told["rows"] > 200, "rows were stored before the kills"
    assert told["killed_before_the_first_row"] > 5, "some died while the book was being made"


def test_the_killing_finds_a_writer_that_reports_too_soon(tmp_path):
    assert killed(tmp_path, 25, "--hasty")["lost"] > 0


def in_children(*works) -> list[int]:
    """Run each in a process of its own, at the same time; their exit codes."""
    children = []
    for work in works:
        child = os.fork()
        if child == 0:
            code = 1
            try:
                work()
                code = 0
            except BaseException as wrong:
                print(repr(wrong), file=sys.__stderr__, flush=True)
            finally:
                os._exit(code)
        children.append(child)
    return [os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) for child in children]


def test_two_programs_writing_at_once_lose_nothing(tmp_path):
    path = tmp_path / "busy.db"

    def write(who: str):
        with lb.open_book(path) as book:
            for i in range(60):
                lb.add_note(book, f"{who} {i}")

    lb.open_book(tmp_path / "warm.db").close()
    assert in_children(lambda: write("a"), lambda: write("b")) == [0, 0]
    with lb.open_book(path) as book:
        texts = [row.text for row in book.each(lb.NoteRow)]
    assert sorted(texts) == sorted(f"{who} {i}" for who in "ab" for i in range(60))


def test_many_programs_starting_the_same_book(tmp_path):
    for i in range(5):
        path = tmp_path / f"new-{i}.db"

        def start(path=path):
            with lb.open_book(path) as book:
                lb.add_note(book, "here")

        assert in_children(*[start] * 4) == [0] * 4
        with lb.open_book(path) as book:
            assert book.count(lb.NoteRow) == 4
        assert not list(tmp_path.glob("new-*.backups")), "a new book needs no copy"


def test_every_entry_is_synced(book):
    assert book.db.conn.execute("PRAGMA synchronous").fetchone()[0] == 2  # FULL
    assert book.db.conn.execute("PRAGMA journal_mode").fetchone()[0] == "wal"


def test_somebody_else_holds_the_book(book, tmp_path, monkeypatch):
    monkeypatch.setattr(opening, "PATIENCE_S", 0.05)
    with lb.open_book(tmp_path / "shop.db") as second, book.writing():
        with pytest.raises(BookError, match="another program is writing"):
            lb.add_note(second, "x")
        assert second.count(lb.NoteRow) == 0, "reading goes on meanwhile"
    with lb.open_book(tmp_path / "shop.db") as second:
        lb.add_note(second, "y")


def test_a_full_book(book):
    lb.add_note(book, "before")
    pages = book.db.conn.execute("PRAGMA page_count").fetchone()[0]
    book.db.conn.execute(f"PRAGMA max_page_count = {pages + 2}")
    with pytest.raises(BookError, match="disk is full: free some space"):
        lb.add_note(book, "x" * 100_000)
    assert [row.text for row in book.each(lb.NoteRow)] == ["before"]
    book.db.conn.execute("PRAGMA max_page_count = 100000")
    lb.add_note(book, "after")
    assert check(book).faults == ()


def test_a_full_disk(tmp_path):
    """No file may grow beyond a limit, as on a full disk: entries, and kept copies."""
    path, file = tmp_path / "shop.db", sound_file(tmp_path / "a.wav", size=900_000)
    with lb.open_book(path) as book:
        lb.add_note(book, "before")

    def fill():
        resource.setrlimit(resource.RLIMIT_FSIZE, (400_000, 400_000))
        stored = 0
        with lb.open_book(path) as book:
            with pytest.raises(BookError, match="disk is full: free some space"):
                lb.add_recording(book, file)
            with pytest.raises(BookError, match="disk") as told:
                for _ in range(1000):
                    lb.add_note(book, "y" * 20_000)
                    stored += 1
            assert "still there" in str(told.value)
            (tmp_path / "stored").write_text(str(stored))
            assert book.count(lb.NoteRow) == stored + 1
            assert book.count(lb.RecordingRow) == 0

    assert in_children(fill) == [0]
    with lb.open_book(path) as book:
        assert book.count(lb.NoteRow) == 1 + int((tmp_path / "stored").read_text()) > 5
        assert check(book).faults == () and check(book).remarks == (), "no half copy is left"
        lb.add_recording(book, file)
        assert check(book).faults == ()


@contextmanager
def locked_folder():
    """A folder with a book that cannot be written to, also not by root's children."""
    folder = Path(tempfile.mkdtemp(prefix="chatter-"))
    try:
        with lb.open_book(folder / "shop.db") as book:
            lb.add_note(book, "before")
        (folder / "shop.db").chmod(0o444)
        folder.chmod(stat.S_IRUSR | stat.S_IXUSR | stat.S_IRGRP | stat.S_IXGRP | 0o005)
        yield folder
    finally:
        folder.chmod(0o700)
        shutil.rmtree(folder)


def humbly(work):
    """Not as root, whom no permission stops."""

    def done():
        if os.geteuid() == 0:
            os.setgid(65534)
            os.setuid(65534)
        work()

    return done


def test_a_read_only_folder(tmp_path):
    sound = sound_file(tmp_path / "a.wav")
    assert sound

    def look():
        with pytest.raises(BookError, match="--book"):
            lb.open_book(folder / "shop.db")
        with pytest.raises(BookError, match="--book"):
            lb.open_book(folder / "new.db")
        with lb.open_book(folder / "shop.db", write=False) as book:
            assert [row.text for row in book.each(lb.NoteRow)] == ["before"]
            with pytest.raises(BookError, match="cannot be written to: name another place"):
                lb.add_note(book, "x")

    with locked_folder() as folder:
        before = (folder / "shop.db").read_bytes()
        assert in_children(humbly(look)) == [0]
        assert sorted(one.name for one in folder.iterdir()) == ["shop.db"]
        assert (folder / "shop.db").read_bytes() == before


def test_no_place_for_a_book(tmp_path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(BookError, match="cannot be opened"):
        lb.open_book(tmp_path / "file" / "shop.db")
    with pytest.raises(BookError, match="is a folder"):
        lb.open_book(tmp_path)
    with pytest.raises(BookError, match="There is no logbook"):
        lb.open_book(tmp_path / "none.db", write=False)
    assert not (tmp_path / "none.db").exists()


def test_a_tiny_disk(tmp_path):
    """A disk of one megabyte that really is full."""
    disk = tmp_path / "disk"
    disk.mkdir()
    mounting = ["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", str(disk)]
    if os.geteuid() != 0 or not shutil.which("mount") or subprocess.run(mounting).returncode:
        pytest.skip("only root may mount a tiny disk")
    stored = 0
    try:
        with lb.open_book(disk / "shop.db") as book, pytest.raises(BookError, match="disk is full"):
            while stored < 1000:
                lb.add_note(book, "z" * 3000)
                stored += 1
        with lb.open_book(disk / "shop.db") as book:
            assert book.count(lb.NoteRow) == stored > 10
            assert check(book).faults == ()
        (disk / "filler").write_bytes(bytes(shutil.disk_usage(disk).free))
        with pytest.raises(BookError, match="cannot be opened: the disk is full"):
            lb.open_book(disk / "new.db")
    finally:
        subprocess.run(["umount", str(disk)], check=True)
