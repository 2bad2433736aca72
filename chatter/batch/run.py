"""The run: what the ledger does not hold yet is heard, written down, and put into order."""

from __future__ import annotations

import zlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from chatter.batch.ledger import Ledger
from chatter.batch.parallel import cluster, spread_over_cluster, spread_tasks
from chatter.batch.row import FAILED, HEARD, LedgerRow
from chatter.batch.sheet import write_sheet
from chatter.batch.task import Task
from chatter.batch.work import Result, failed, hear_task
from chatter.errors import BookError
from chatter.job.build import job_from_plain

if TYPE_CHECKING:
    from chatter.logbook import Book

Tell = Callable[[float, str], None]

_DIED = (
    "The program died of it (a broken file, or too little memory): listen to it alone with "
    "'chatter listen', or record again."
)


@dataclass(frozen=True)
class Done:
    """What a run did."""

    rows: tuple[LedgerRow, ...]  # in the order of the tasks
    sheet: Path  # the table as CSV
    known: int  # rows that the ledger held already
    unlogged: tuple[str, ...] = ()  # sentences on what could not be stored in the logbook

    @property
    def heard(self) -> int:
        """Recordings that were heard, whatever the verdict."""
        return sum(row.status == HEARD for row in self.rows)

    @property
    def failed(self) -> int:
        """Recordings that could not be heard."""
        return sum(row.status == FAILED for row in self.rows)


def run_batch(
    tasks: Sequence[Task],
    out: str | Path,
    *,
    cores: int = 0,
    scheduler: str | None = None,
    book: Book | None = None,
    again: bool = False,
    tell: Tell | None = None,
    work: Callable[..., Result] = hear_task,
) -> Done:
    """Listen to many recordings.

    Parameters
    ----------
    tasks : sequence of Task
    out : path
        Folder of the ledger and the table; a run into the same folder goes on there.
    cores : int
        Processes; 0 is one per core.
    scheduler : str, optional
        Address of a running Dask cluster to work on instead; its workers must see the files
        under the same paths.
    book : Book, optional
        Logbook to store what was found in; only this process writes to it.
    again : bool
        Listen again to what the ledger holds.
    tell : callable, optional
        Called with the share done and a word.
    work : callable
        What a worker does; for tests.

    Returns
    -------
    Done

    Raises
    ------
    OutputError
        The folder cannot be written to.
    ChatterError
        The cluster does not answer.
    """
    folder = Path(out)
    place = "" if book is None else str(book.path)
    rows: dict[int, LedgerRow] = {}
    unlogged: list[str] = []
    with Ledger(folder) as ledger:
        for half in folder.glob("**/.writing-*.tmp"):  # of a run that was killed
            half.unlink(missing_ok=True)
        if not again:
            for i, task in enumerate(tasks):
                known = ledger.done(task, book=place)
                if known is not None:
                    rows[i] = known
        before = len(rows)
        left = [(i, task, book is not None) for i, task in enumerate(tasks) if i not in rows]
        for done in _spread(work, left, cores, scheduler):
            task, logged = tasks[done.index], ""
            if book is not None and done.findings is not None:
                try:
                    _store(book, task, done.findings)
                    logged = place
                except BookError as wrong:
                    unlogged.append(f"{task.name}: {wrong}")
            ledger.add(task, done.row, logged=logged)
            rows[done.index] = done.row
            if tell is not None:
                tell(len(rows) / len(tasks), f"{len(rows)}/{len(tasks)}  {task.name}")
        ordered = tuple(rows[i] for i in range(len(tasks)))
        sheet = write_sheet(ordered, folder)
    return Done(ordered, sheet, before, tuple(unlogged))


def _spread(
    work: Callable[..., Result], left: list[tuple], cores: int, scheduler: str | None
) -> Iterator[Result]:
    if not left:
        return
    if scheduler is None:
        yield from spread_tasks(work, left, cores=cores, died=_died)
        return
    with cluster(scheduler) as slots:
        yield from spread_over_cluster(work, left, slots)


def _died(task: tuple) -> Result:
    return Result(task[0], failed(task[1], _DIED))


def _store(book: Book, task: Task, packed: bytes) -> None:
    """Raises BookError."""
    from chatter.findings_json import read_findings
    from chatter.logbook import store_listen
    from chatter.logbook.known import cutter_of_job, machine_of_job

    if task.job is None:
        return
    findings = read_findings(zlib.decompress(packed).decode())
    findings = replace(findings, source=replace(findings.source, path=task.path))
    job = job_from_plain(findings.job) if task.sought else task.job
    machine = machine_of_job(book, job, task.machine)
    cutter = cutter_of_job(book, job, task.cutter)
    store_listen(book, task.path, job, findings, machine=machine, cutter=cutter, **task.stated)
