"""The logbook: machines, cutters, recordings and what was found, in one SQLite file.

::

    from chatter.logbook import MachineRow, add_machine, open_book, store_listen

    with open_book() as book:                      # path=None: CHATTER_BOOK, or the user's own
        mill = add_machine(book, Path("mill.toml").read_text("utf-8"))
        logged = store_listen(book, "slot-3.m4a", job, heard.findings, machine=mill,
                              phone="kitchen phone", position="stand, left", hours=12.5)
        logged.listen.findings                     # the Findings again, equal
        book.list(MachineRow)                      # tuple of frozen dataclasses
        book.get(MachineRow, "mill by the window") # by name, number, uid, hash; BookError if none
        book.update(mill, note="belt renewed")     # the earlier row is kept

The interface other rooms build on, which stays:

- ``open_book(path=None, *, write=True) -> Book``, a context manager.
- ``Book.add(row)``, ``.get(kind, key)``, ``.list(kind, **equals)``, ``.each(kind, **equals)``
  (one row at a time), ``.update(row, **changes)``, ``.count(kind)``, ``.writing()`` (several
  changes together or not at all), ``.path``, ``.places``.  A row that was added is on the disk.
- ``add_machine``, ``add_cutter``, ``change_card``, ``add_regrind``, ``add_job``;
  ``add_recording``, ``file_of``; ``store_listen``, ``add_findings``, ``latest_listens``;
  ``add_taps``, ``add_note``, ``add_surface``, ``add_label``, ``add_photo``, ``add_compare``:
  each takes the book first and hands back the row; ``strike`` takes one out.  Wherever a
  machine, cutter or recording is asked for, a row, its number, its name or uid (a recording
  also: the beginning of its hash) will do.
- The rows, in ``chatter.logbook.rows``: ``MachineRow.machine``, ``CutterRow.cutter``,
  ``JobRow.job``, ``ListenRow.findings``, ``TapRow.found``, ``CompareRow.result`` give back the
  dataclasses that were stored.
- Every failure is a ``BookError`` of one sentence, and leaves the book as it was.

Recordings, jobs, listens, taps, photographs and comparisons get their uid from their content:
storing them twice, or importing the same book twice, makes no doubles.
"""

from __future__ import annotations

from chatter.logbook.book import Book, open_book
from chatter.logbook.cards import add_cutter, add_job, add_machine, add_regrind, change_card
from chatter.logbook.labels import add_label
from chatter.logbook.listens import Logged, add_findings, latest_listens, store_listen
from chatter.logbook.recordings import add_recording, file_of
from chatter.logbook.remarks import (
    add_compare,
    add_note,
    add_photo,
    add_surface,
    add_taps,
)
from chatter.logbook.rows import (
    TABLES,
    BookRow,
    CompareRow,
    CutterRow,
    EarlierRow,
    JobRow,
    LabelRow,
    ListenRow,
    MachineRow,
    NoteRow,
    PhotoRow,
    RecordingRow,
    RegrindRow,
    SurfaceRow,
    TapRow,
    TuningRow,
    VoiceRow,
)
from chatter.logbook.striking import strike

__all__ = [
    "TABLES",
    "Book",
    "BookRow",
    "CompareRow",
    "CutterRow",
    "EarlierRow",
    "JobRow",
    "LabelRow",
    "ListenRow",
    "Logged",
    "MachineRow",
    "NoteRow",
    "PhotoRow",
    "RecordingRow",
    "RegrindRow",
    "SurfaceRow",
    "TapRow",
    "TuningRow",
    "VoiceRow",
    "add_compare",
    "add_cutter",
    "add_findings",
    "add_job",
    "add_label",
    "add_machine",
    "add_note",
    "add_photo",
    "add_recording",
    "add_regrind",
    "add_surface",
    "add_taps",
    "change_card",
    "file_of",
    "latest_listens",
    "open_book",
    "store_listen",
    "strike",
]
