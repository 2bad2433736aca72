"""Machines, cutters and jobs of the book, by their cards."""

from __future__ import annotations

import hashlib
import json
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import TypeVar

from chatter.errors import BookError
from chatter.job.cards import cutter_text, job_text, machine_text
from chatter.job.cut import Job
from chatter.job.cutter import Cutter
from chatter.job.machine import Machine
from chatter.job.units import echo
from chatter.logbook.book import Book
from chatter.logbook.card_text import cutter_of, machine_on_card
from chatter.logbook.rows import CutterRow, JobRow, MachineRow, RegrindRow
from chatter.plain import to_plain

_LONGEST_NAME = 80


def add_machine(
    book: Book, card: str | Machine, *, name: str | None = None, note: str = ""
) -> MachineRow:
    """Store a machine; one that the book has under this name with this card is returned.

    Parameters
    ----------
    book : Book
    card : str or Machine
        The text of a machine card (not its path), or a machine.
    name : str, optional
        What it is called in the book; that on the card if left out.
    note : str

    Raises
    ------
    BookError
        It has no name, or the book knows another machine by this name.
    CardError
        The card cannot be read.
    """
    text = card if isinstance(card, str) else machine_text(card)
    known = machine_on_card(text, name or "machine card")
    row = MachineRow(name=_name(name, known.name, "machine"), card=text, note=note)
    return _add(book, replace(row, facts=_facts(known)))


def add_cutter(
    book: Book, card: str | Cutter, *, name: str | None = None, note: str = ""
) -> CutterRow:
    """Store a cutter; see ``add_machine``.

    Raises
    ------
    BookError, CardError
    """
    text = card if isinstance(card, str) else cutter_text(card)
    known = cutter_of(text, name or "cutter card")
    if not known.teeth:
        raise BookError("The cutter's card does not say how many teeth it has: add 'teeth = ...'.")
    row = CutterRow(name=_name(name, known.name, "cutter"), card=text, note=note)
    return _add(book, replace(row, facts=_facts(known)))


def change_card(
    book: Book, row: MachineRow | CutterRow, card: str | Machine | Cutter
) -> MachineRow | CutterRow:
    """Give a machine or cutter another card; the earlier one is kept.

    Raises
    ------
    BookError, CardError
    """
    if isinstance(card, Machine):
        card = machine_text(card)
    elif isinstance(card, Cutter):
        card = cutter_text(card)
    if isinstance(row, MachineRow):
        return book.update(row, card=card, facts=_facts(machine_on_card(card, row.name)))
    return book.update(row, card=card, facts=_facts(cutter_of(card, row.name)))


def add_regrind(
    book: Book, cutter: CutterRow | str, ground_on: str | date, *, note: str = ""
) -> RegrindRow:
    """Store that a cutter was reground.  Raises BookError."""
    known = book.get(CutterRow, cutter)
    day = a_date(ground_on, "day of the regrind")
    if day > date.today().isoformat():
        raise BookError(f"The day of the regrind '{day}' has not come yet: state when it was.")
    for there in book.each(RegrindRow, cutter=known, ground_on=day):
        return there if not note or there.note == note else book.update(there, note=note)
    return book.add(RegrindRow(cutter=known.uid, ground_on=day, note=note))


def add_job(
    book: Book,
    job: Job,
    *,
    machine: MachineRow | str | None = None,
    cutter: CutterRow | str | None = None,
) -> JobRow:
    """Store what was stated of a cut; the same job is stored once.

    Parameters
    ----------
    book : Book
    job : Job
    machine, cutter : row, name or number, optional
        Those of the book that it was made with.

    Raises
    ------
    BookError
    """
    on = None if machine is None else book.get(MachineRow, machine).uid
    by = None if cutter is None else book.get(CutterRow, cutter).uid
    facts = json.dumps(to_plain(job), ensure_ascii=False, sort_keys=True)
    row = JobRow(
        uid=uid_of("job", facts, on, by),
        card=job_text(job, Path.cwd() / "job.toml"),
        facts=facts,
        machine=on,
        cutter=by,
    )
    return book.add(row)


def uid_of(*parts: object) -> str:
    """The uid of a row that is known by its content: the same in every book."""
    return hashlib.sha256(json.dumps(parts).encode()).hexdigest()[:32]


def a_date(stated: str | date, what: str) -> str:
    """A day as the book writes it.  Raises BookError."""
    if isinstance(stated, date):
        return stated.isoformat()[:10]
    try:
        return date.fromisoformat(stated.strip()).isoformat()
    except ValueError:
        raise BookError(
            f"The {what} '{echo(stated)}' is not a date: write for example 2025-03-31."
        ) from None


def _facts(part: Machine | Cutter) -> str:
    return json.dumps(to_plain(part), ensure_ascii=False, sort_keys=True)


def _name(stated: str | None, on_card: str, what: str) -> str:
    name = " ".join((stated or on_card).split())
    if not name or name.isdecimal() or len(name) > _LONGEST_NAME:
        raise BookError(
            f"The {what} needs a name of 1 to {_LONGEST_NAME} signs that is no bare number, not "
            f"'{echo(name)}': write 'name = ...' on its card, or state it with --name."
        )
    return name


Carded = TypeVar("Carded", MachineRow, CutterRow)


def _add(book: Book, row: Carded) -> Carded:
    with book.writing():
        for there in book.db_rows(type(row), "name = ? COLLATE NOCASE", (row.name,)):
            if there.facts == row.facts:
                return there
            what = "machine" if isinstance(row, MachineRow) else "cutter"
            raise BookError(
                f"The logbook has a {what} '{there.name}' with another card: state another "
                f"--name, or change its card with --change."
            )
        return book.add(row)
