"""The logbook as the page uses it: in threads of its own, so that the page never waits."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import TYPE_CHECKING, Any, Concatenate, ParamSpec, TypeVar

from chatter.page import forms

if TYPE_CHECKING:
    from chatter.logbook import Book, BookRow, CutterRow, MachineRow
    from chatter.teaching.record import Record

Got = TypeVar("Got")
One = TypeVar("One", bound="BookRow")
P = ParamSpec("P")

#: Recordings of the book that the list shows beside those of the page.
MOST_LOGGED = 60


class Shelf:
    """An open logbook: one thread that writes, one that reads and never waits for the first.

    Parameters
    ----------
    path : Path
        The book; started when it is not there.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._writer, self._reader = _Desk("logbook-write"), _Desk("logbook-read")

    def open(self) -> None:
        """Open the book.  Raises BookError."""
        self._writer.open(self._path, write=True)
        try:
            self._reader.open(self._path, write=False)
        except BaseException:
            self._writer.close()
            raise

    def close(self) -> None:
        """Close it."""
        self._reader.close()
        self._writer.close()

    async def ask(
        self, what: Callable[Concatenate[Book, P], Got], *arguments: P.args, **named: P.kwargs
    ) -> Got:
        """``what(book, ...)``, which only reads.  Raises what it raises."""
        return await self._reader.do(what, *arguments, **named)

    async def put(
        self, what: Callable[Concatenate[Book, P], Got], *arguments: P.args, **named: P.kwargs
    ) -> Got:
        """``what(book, ...)``, which writes.  Raises what it raises."""
        return await self._writer.do(what, *arguments, **named)


class _Desk:
    """A thread with a connection of its own."""

    def __init__(self, name: str) -> None:
        self._thread = ThreadPoolExecutor(1, name)
        self._book: Book | None = None

    def open(self, path: Path, *, write: bool) -> None:
        from chatter.logbook import open_book

        self._book = self._thread.submit(open_book, path, write=write).result()

    def close(self) -> None:
        if self._book is not None:
            self._thread.submit(self._book.close).result()
        self._thread.shutdown()

    async def do(
        self, what: Callable[Concatenate[Book, P], Got], *arguments: P.args, **named: P.kwargs
    ) -> Got:
        assert self._book is not None, "it is opened before it is asked"
        work = self._thread.submit(what, self._book, *arguments, **named)
        return await asyncio.wrap_future(work)


def machines(book: Book) -> list[MachineRow]:
    """Machines of the book, by name."""
    from chatter.logbook import MachineRow

    return sorted(book.list(MachineRow), key=lambda row: row.name.lower())


def cutters(book: Book) -> list[CutterRow]:
    """Cutters of the book, by name."""
    from chatter.logbook import CutterRow

    return sorted(book.list(CutterRow), key=lambda row: row.name.lower())


def both(book: Book) -> dict[str, Any]:
    """Machines and cutters, as the forms show them, and the speeds on the machines' cards."""
    rows = machines(book)
    return {"machines": rows, "cutters": cutters(book), "speeds": {r.uid: _speeds(r) for r in rows}}


def card_texts(book: Book, machine: str, cutter: str) -> dict[str, str]:
    """What the cards of a machine and a cutter (uids, "" for none) state, as option texts."""
    from chatter.job.cards import read_card
    from chatter.logbook import CutterRow, MachineRow

    texts: dict[str, str] = {}
    rows = (by_uid(book, MachineRow, machine), by_uid(book, CutterRow, cutter))
    for section, row in zip(("machine", "cutter"), rows, strict=True):
        if row is not None:
            for name, value in read_card(row.card, section, row.name).items():
                texts[name] = forms.form_text(name, value)
            texts[f"{section}.name"] = row.name
    return texts


def _speeds(row: MachineRow) -> str:
    """The spindle speeds on a machine's card, "38 57 85"."""
    from chatter.errors import ChatterError
    from chatter.job.cards import read_card

    try:
        listed = read_card(row.card, "machine", row.name).get("machine.speeds", ())
    except ChatterError:  # written by hand; the form says so once the card is chosen
        return ""
    return " ".join(f"{speed:g}" for speed in listed)


def by_uid(book: Book, kind: type[One], uid: str) -> One | None:
    """The row with this uid; None when there is none."""
    rows = book.list(kind, uid=uid) if uid else ()
    return rows[0] if rows else None


def logged(book: Book, here: frozenset[str]) -> list[tuple]:
    """Cuts of the book that are not on the page: (row, newest listen), the newest first."""
    from chatter.logbook import ListenRow, RecordingRow

    rows = [row for row in book.list(RecordingRow, kind="cut") if row.uid not in here]
    rows = sorted(rows, key=lambda row: row.recorded_at or "", reverse=True)[:MOST_LOGGED]
    listened = ((row, book.list(ListenRow, recording=row)) for row in rows)
    return [(row, listens[-1]) for row, listens in listened if listens]


def labels(book: Book) -> dict[str, str]:
    """Verdict of the newest label of each recording, by its uid."""
    from chatter.logbook import LabelRow

    return {row.recording: row.verdict for row in book.list(LabelRow)}


def put_label(book: Book, entry: str, verdict: str, /, **more: Any) -> None:
    """Say what a recording or a pass really was, and learn from it; nothing is overwritten."""
    from chatter.logbook import RecordingRow, add_label
    from chatter.teaching.keeping import machine_of_recording, relearn

    add_label(book, entry, verdict, **more)
    relearn(book, machine_of_recording(book, book.get(RecordingRow, entry)))


def record_of_machine(book: Book, machine: str) -> Record | None:
    """The record of a machine (its uid), or of all for ""; None when there is no such one."""
    from chatter.logbook import MachineRow
    from chatter.teaching.record import record_of

    row = by_uid(book, MachineRow, machine)
    return None if machine and row is None else record_of(book, row)
