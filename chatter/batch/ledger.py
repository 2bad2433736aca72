"""The ledger of a batch: a line of JSON per recording that is done, so that none is done twice.

A line is written when the recording is done and flushed to the disk.  A line that broke off, as
when the run was killed while writing it, is left aside.  A recording is known by its content, its
job and the version of the program; where size and date of the file are as they were it is not
read again.
"""

from __future__ import annotations

import json
import os
from dataclasses import dataclass, replace
from pathlib import Path

from chatter.batch.row import HEARD, LedgerRow
from chatter.batch.task import Task, content_hash
from chatter.errors import OutputError
from chatter.locks import Held, Lock
from chatter.plain import from_plain, to_json

NAME = "ledger.jsonl"


@dataclass(frozen=True)
class LedgerEntry:
    """One line."""

    job_key: str
    path: str
    size_bytes: int
    changed_ns: int
    logged: str  # path of the logbook it was stored in, else ""
    row: LedgerRow


class Ledger:
    """What is done.  Use ``with``; only one run at a time may write."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / NAME
        try:
            folder.mkdir(parents=True, exist_ok=True)
            self._lock = _lock(folder)
            self._entries = _read(self.path)
            self._out = self.path.open("a+b")
            self._end_line()
        except OSError as wrong:
            raise OutputError(
                f"The folder '{folder}' cannot be written to ({wrong.strerror}): name another "
                "with --out."
            ) from wrong
        self._sizes = {entry.size_bytes for entry in self._entries.values()}

    def __enter__(self) -> Ledger:
        return self

    def __exit__(self, *_: object) -> None:
        self._out.close()
        if self._lock is not None:
            self._lock.release()

    def done(self, task: Task, *, book: str = "") -> LedgerRow | None:
        """The row of a recording that was heard already; None when there is work to do.

        Parameters
        ----------
        task : Task
        book : str
            A logbook it must have been stored in, "" for none.
        """
        if task.job is None:
            return None
        try:
            stat = os.stat(task.path)
        except OSError:
            return None
        if stat.st_size not in self._sizes:
            return None
        entry = self._entries.get((task.job_key, task.path))
        same = entry is not None and (entry.size_bytes, entry.changed_ns) == (
            stat.st_size,
            stat.st_mtime_ns,
        )
        if not same:
            sha256 = content_hash(task.path)
            entry = None if sha256 is None else self._entries.get((task.job_key, sha256))
        if entry is None or entry.row.status != HEARD:
            return None  # what could not be heard is tried again
        if book and entry.logged != book:
            return None
        if task.report is not None and not os.path.exists(task.report):
            return None
        return replace(entry.row, file=task.name, report=task.report or entry.row.report)

    def add(self, task: Task, row: LedgerRow, *, logged: str = "") -> None:
        """Write down that a recording is done.

        Raises
        ------
        OutputError
            The line cannot be written.
        """
        try:
            stat = os.stat(task.path)
            size, changed = stat.st_size, stat.st_mtime_ns
        except OSError:
            size, changed = -1, 0
        entry = LedgerEntry(task.job_key, task.path, size, changed, logged, row)
        line = to_json(entry, indent=None)
        try:
            self._out.write(line.encode("utf-8", "replace") + b"\n")
            self._out.flush()
            os.fsync(self._out.fileno())
        except OSError as wrong:
            raise OutputError(
                f"The ledger '{self.path}' cannot be written ({wrong.strerror}): free some space "
                "or name another folder with --out; what is in it is kept."
            ) from wrong
        _enter(self._entries, entry)
        self._sizes.add(size)

    def _end_line(self) -> None:
        """What follows starts on a line of its own, also after a line that broke off."""
        if self._out.seek(0, os.SEEK_END):
            self._out.seek(-1, os.SEEK_END)
            if self._out.read(1) != b"\n":
                self._out.write(b"\n")


def _read(path: Path) -> dict[tuple[str, str], LedgerEntry]:
    entries: dict[tuple[str, str], LedgerEntry] = {}
    if not path.exists():
        return entries
    with path.open("rb") as lines:
        for line in lines:
            try:
                _enter(entries, from_plain(LedgerEntry, json.loads(line), drop_unknown=True))
            except ValueError:
                continue  # broke off
    return entries


def _enter(entries: dict[tuple[str, str], LedgerEntry], entry: LedgerEntry) -> None:
    entries[entry.job_key, entry.path] = entry
    if entry.row.sha256:
        entries[entry.job_key, entry.row.sha256] = entry


def _lock(folder: Path) -> Lock | None:
    """Keep a second run out of the same folder, where the system has locks."""
    try:
        return Lock(folder / "ledger.lock")
    except Held:
        raise OutputError(
            f"Another batch is writing into '{folder}': wait for it, or use another --out."
        ) from None
    except OSError:  # a network drive without locks
        return None
