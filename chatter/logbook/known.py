"""Which machine and cutter of the book a job was done with, by their names."""

from __future__ import annotations

from chatter.errors import BookError
from chatter.job.cut import Job
from chatter.logbook.book import Book
from chatter.logbook.cards import add_cutter, add_machine
from chatter.logbook.rows import CutterRow, MachineRow


def machine_of_job(book: Book, job: Job, name: str | None = None) -> MachineRow | None:
    """The machine of a job; one that the book does not know by its name is added.

    Parameters
    ----------
    book : Book
    job : Job
    name : str, optional
        Name or number in the book, as stated; it wins over the name on the job's card.

    Returns
    -------
    MachineRow or None
        None when the job names no machine.

    Raises
    ------
    BookError
    """
    if name is not None:
        return book.get(MachineRow, name)
    called = " ".join(job.machine.name.split())
    if not called:
        return None
    for there in book.db_rows(MachineRow, "name = ? COLLATE NOCASE", (called,)):
        return there
    try:
        return add_machine(book, job.machine)
    except BookError:  # a name that cannot be one in the book
        return None


def cutter_of_job(book: Book, job: Job, name: str | None = None) -> CutterRow | None:
    """The cutter of a job; see ``machine_of_job``.  Raises BookError."""
    if name is not None:
        return book.get(CutterRow, name)
    called = " ".join(job.cutter.name.split())
    if not called:
        return None
    for there in book.db_rows(CutterRow, "name = ? COLLATE NOCASE", (called,)):
        return there
    try:
        return add_cutter(book, job.cutter)
    except BookError:
        return None
