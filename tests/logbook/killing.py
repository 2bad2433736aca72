"""Writers that are killed in the middle of it, hundreds of times; run as a program.

The parent has everything imported and forks, so that a round takes some ten milliseconds.  A
writer opens the book (every tenth one starts a new book), writes, and reports each row on a pipe
after it was stored.  The parent kills it with SIGKILL at a random moment, then opens the book and
looks for every reported row.

With ``--hasty`` the writer reports before its transaction is over: a fault that must be found.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import select
import shutil
import signal
import sys
import time
from pathlib import Path

import chatter.logbook as lb
from chatter.logbook import keeping
from chatter.logbook.keeping import content_of

_UID = 32


def write_until_killed(path: Path, pipe: int, seed: int, hasty: bool) -> None:
    """Pairs of notes, and now and then a kept file."""
    rng = random.Random(seed)
    with lb.open_book(path) as book:
        while True:
            if rng.random() < 0.3:
                file = path.parent / f"take-{os.getpid()}.wav"
                file.write_bytes(os.urandom(400_000))
                made = [lb.add_recording(book, file)]
            else:
                with book.writing():
                    made = [lb.add_note(book, f"pair {rng.random()} {i}") for i in (1, 2)]
                    if hasty:
                        os.write(pipe, b"".join(row.uid.encode() for row in made))
                        time.sleep(0.001)
            if not hasty:
                os.write(pipe, b"".join(row.uid.encode() for row in made))


def one_round(path: Path, seed: int, hasty: bool) -> list[str]:
    """Start a writer, kill it, and return what it reported as stored."""
    rng = random.Random(seed)
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reading)
        try:
            write_until_killed(path, writing, seed, hasty)
        finally:
            os._exit(3)  # only if it fails by itself
    os.close(writing)
    if rng.random() < 0.75:  # in the middle of writing, however slow this computer is today
        select.select([reading], [], [], 2.0)
        time.sleep(rng.uniform(0.0, 0.020))
    else:  # while it opens the book, or makes it
        time.sleep(rng.uniform(0.0, 0.020))
    os.kill(child, signal.SIGKILL)
    told = b""
    while block := os.read(reading, 65536):
        told += block
    os.close(reading)
    _, status = os.waitpid(child, 0)
    if not os.WIFSIGNALED(status):
        raise SystemExit(f"round {seed}: the writer ended by itself")
    return [told[i : i + _UID].decode() for i in range(0, len(told), _UID)]


def look(path: Path, reported: set[str]) -> tuple[int, list[str]]:
    """How many reported rows are gone, and whatever else is wrong."""
    wrong = []
    with lb.open_book(path) as book:
        if book.db.conn.execute("PRAGMA integrity_check").fetchone()[0] != "ok":
            wrong.append("the book is not whole")
        notes, takes = book.list(lb.NoteRow), book.list(lb.RecordingRow)
        if len(notes) % 2:
            wrong.append("half a pair was stored")
        for take in takes[-3:]:
            if content_of(lb.file_of(book, take)).sha256 != take.sha256:
                wrong.append(f"an entry has half a file: {take.place}")
        for file in book.places.files.glob("??/*"):  # also those whose entry was not stored
            if content_of(file).sha256 != file.stem:
                wrong.append(f"half a file has its name already: {file.name}")
        return len(reported - {row.uid for row in (*notes, *takes)}), wrong


def main() -> None:
    asked = argparse.ArgumentParser()
    asked.add_argument("folder", type=Path)
    asked.add_argument("rounds", type=int)
    asked.add_argument("--hasty", action="store_true")
    stated = asked.parse_args()
    lb.open_book(stated.folder / "warm.db").close()  # imports
    keeping._BLOCK = 1024  # copying takes long enough to be hit
    path, reported, total, lost, wrong, empty = None, set(), 0, 0, [], 0
    for seed in range(stated.rounds):
        if seed % 10 == 0:
            for old in stated.folder.iterdir():
                shutil.rmtree(old) if old.is_dir() else old.unlink()
            path, reported = stated.folder / f"book-{seed}.db", set()
        told = one_round(path, seed, stated.hasty)
        empty += not told
        total += len(told)
        reported |= set(told)
        missing, more = look(path, reported)
        lost += missing
        wrong += more
    json.dump(
        {"rounds": stated.rounds, "rows": total, "lost": lost, "wrong": wrong[:5]}
        | {"killed_before_the_first_row": empty},
        sys.stdout,
    )


if __name__ == "__main__":
    main()
