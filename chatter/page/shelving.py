"""How each kind of answer is kept in the logbook."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from chatter.findings_json import read_findings
from chatter.job.build import job_from_plain
from chatter.page import forms
from chatter.page.requests import chosen, newest_answer
from chatter.page.shelf import by_uid
from chatter.page.spool import Kept, PageListen, RecordingStore

if TYPE_CHECKING:
    from chatter.logbook import Book


def store_answer(book: Book, spool: RecordingStore, kept: Kept, take: PageListen) -> dict:
    """Keep an answer in the book; the changes that this makes to the take."""
    return _STORES[kept.kind](book, spool, kept, take)


def _cut(book: Book, spool: RecordingStore, kept: Kept, take: PageListen) -> dict:
    """What was heard in a cut."""
    from chatter.logbook import CutterRow, MachineRow, store_listen

    text = (spool.take_folder(kept, take.number) / "findings.json").read_text(encoding="utf-8")
    findings = read_findings(text)
    logged = store_listen(
        book,
        spool.folder(kept) / "recording",
        forms.job_from_form(take.stated)
        if "cut.speed" in take.stated
        else job_from_plain(findings.job),
        findings,
        machine=by_uid(book, MachineRow, kept.machine),
        cutter=by_uid(book, CutterRow, kept.cutter),
        name=kept.name,
    )
    return {
        "entry": logged.recording.uid,
        "verdict": findings.verdict,
        "confidence": findings.confidence,
        "summary": findings.summary,
    }


def _tap(book: Book, spool: RecordingStore, kept: Kept, take: PageListen) -> dict:
    """A tap test, with its recordings; it points at the first of them."""
    from chatter.logbook import CutterRow, MachineRow, add_recording, add_taps
    from chatter.tapping.findings import load_taps

    findings = load_taps(spool.take_folder(kept, take.number) / "taps.json")
    machine = by_uid(book, MachineRow, kept.machine)
    cutter = by_uid(book, CutterRow, kept.cutter)
    first, *_ = [
        add_recording(
            book, path, kind="tap", name=name, machine=machine, simulated=findings.simulated
        )
        for path, name in zip(spool.files(kept), (kept.name, *kept.more), strict=True)
    ]
    add_taps(book, findings, machine=machine, cutter=cutter, recording=first)
    return {"entry": first.uid}


def _idle(book: Book, spool: RecordingStore, kept: Kept, take: PageListen) -> dict:
    """A recording of idling, for the run-in log of its machine."""
    from chatter.logbook import MachineRow, add_recording
    from chatter.runin.book import add_to_book

    machine = book.get(MachineRow, kept.machine)
    path = spool.folder(kept) / "recording"
    recording = add_recording(book, path, kind="idle", name=kept.name, machine=machine)
    row = {"kind": "idle", "file": str(path), **take.stated}
    add_to_book(book, machine.uid, row)
    return {"entry": recording.uid}


def _compare(book: Book, spool: RecordingStore, kept: Kept, take: PageListen) -> dict:
    """A comparison of recordings of the book."""
    from chatter.logbook import add_compare

    text = (spool.take_folder(kept, take.number) / "compare.json").read_text(encoding="utf-8")
    comparison = json.loads(text)
    takes = [newest_answer(spool.get(id_)) for _, ids in chosen(spool, kept) for id_ in ids]
    entries = [each.entry for each in takes if each is not None and each.entry]
    add_compare(
        book,
        kept.name,
        comparison["summary"],
        comparison,
        entries,
        schema_version=comparison["schema_version"],
    )
    return {"summary": comparison["summary"]}


def _runin(_book: Book, spool: RecordingStore, kept: Kept, take: PageListen) -> dict:
    """A run-in report is made anew from the book at any time: nothing is stored."""
    text = (spool.take_folder(kept, take.number) / "runin.json").read_text(encoding="utf-8")
    return {"summary": json.loads(text)["headline"]}


_STORES = {"cut": _cut, "tap": _tap, "idle": _idle, "compare": _compare, "runin": _runin}
