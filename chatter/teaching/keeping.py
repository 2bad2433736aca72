"""What was learned, kept in the book as data and remade from its labels."""

from __future__ import annotations

import json
from dataclasses import dataclass

from chatter.listening.stamp import made_by
from chatter.logbook import Book, JobRow, ListenRow, MachineRow, RecordingRow, TuningRow
from chatter.plain import from_plain, to_json
from chatter.teaching.cases import Case, labelled_passes
from chatter.teaching.tuning import Lesson, Tuning, learn


def relearn(book: Book, machine: MachineRow | None) -> Tuning:
    """Learn anew from all labels of the book, for one machine, and keep it.

    Parameters
    ----------
    book : Book
    machine : MachineRow or None
        None: cuts that name no machine.

    Returns
    -------
    Tuning
        Kept unless the book has the very same already.

    Raises
    ------
    BookError
    """
    lessons = [lesson_of(one) for one in labelled_passes(book) if one.label]
    name = "" if machine is None else machine.name
    learned = learn(lessons, "" if machine is None else machine.uid, name)
    before = tuning_of(book, machine)
    if before != learned and (before is not None or learned.labels):
        book.add(
            TuningRow(
                machine=None if machine is None else machine.uid,
                made_by=made_by(),
                tuning_json=to_json(learned, indent=None),
            )
        )
    return learned


def lesson_of(case: Case) -> Lesson:
    """What the fit needs of a labelled pass."""
    return Lesson(
        case.machine,
        case.day,
        case.probabilities,
        case.label,
        case.error,
        case.right if case.answered else None,
    )


def tuning_of(book: Book, machine: MachineRow | None) -> Tuning | None:
    """The newest tuning of a machine; None when there is none.  Raises BookError."""
    rows = book.list(TuningRow, machine=machine)
    return from_plain(Tuning, json.loads(rows[-1].tuning_json)) if rows else None


def machine_of_recording(book: Book, recording: RecordingRow) -> MachineRow | None:
    """The machine of a recording, or of the job it was last heard under.  Raises BookError."""
    uid = recording.machine
    if uid is None:
        listens = book.list(ListenRow, recording=recording)
        uid = book.get(JobRow, listens[-1].job).machine if listens else None
    return None if uid is None else book.get(MachineRow, uid)


@dataclass(frozen=True)
class Learned:
    """A machine, and how its tuning stands."""

    name: str
    tuning: Tuning


def relearn_all(book: Book) -> tuple[Learned, ...]:
    """Learn anew for every machine with labels.  Raises BookError."""
    uids = dict.fromkeys(one.machine for one in labelled_passes(book))
    learned = []
    for uid in uids:
        machine = book.get(MachineRow, uid) if uid else None
        name = "cuts that name no machine" if machine is None else machine.name
        learned.append(Learned(name, relearn(book, machine)))
    return tuple(learned)
