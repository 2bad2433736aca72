"""``chatter batch``: a folder of recordings, one table."""

from __future__ import annotations

from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from chatter.cli.options import BookOption, SystemOption, system_named

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.console import Console

    from chatter.batch import Done, LedgerRow
    from chatter.logbook import Book

#: Exit code when some recordings could not be heard.
SOME_FAILED = 3
#: Longer tables are in the CSV only.
_LINES_SHOWN = 60
_FAULTS_SHOWN = 20
#: Width that the other columns of the table take, and the least that is left to a name.
_REST, _NARROWEST = 64, 24


def batch_command(
    folder: Annotated[
        Path, typer.Argument(metavar="FOLDER", help="Recordings, also in folders below it.")
    ],
    job: Annotated[
        Path | None,
        typer.Option(metavar="CARD", help="Job card for all that have none beside them."),
    ] = None,
    table: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="CSV with file, speed, teeth ...: chatter help batch."),
    ] = None,
    rpm: Annotated[
        str | None, typer.Option(metavar="N", help="Spindle speed of all, rev/min.")
    ] = None,
    teeth: Annotated[str | None, typer.Option(metavar="N", help="Number of teeth, of all.")] = None,
    machine: Annotated[
        str | None, typer.Option(metavar="CARD", help="Machine of all: card, or name in the book.")
    ] = None,
    cutter: Annotated[
        str | None, typer.Option(metavar="CARD", help="Cutter of all: card, or name in the book.")
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(metavar="FOLDER", help="For table and ledger; default reports/batch-FOLDER."),
    ] = None,
    reports: Annotated[
        bool, typer.Option("--reports", help="Write a report of each recording too.")
    ] = False,
    cores: Annotated[int, typer.Option(min=0, help="Processes; 0: all cores.")] = 0,
    scheduler: Annotated[
        str | None,
        typer.Option(metavar="ADDRESS", help="Work on this running Dask cluster instead."),
    ] = None,
    again: Annotated[
        bool, typer.Option("--again", help="Listen again to what is done already.")
    ] = False,
    log: Annotated[bool, typer.Option("--log", help="Store all of it in the logbook.")] = False,
    book: BookOption = None,
    units: SystemOption = "metric",
    quiet: Annotated[
        bool, typer.Option("--quiet", "-q", help="Print no table and no progress.")
    ] = False,
) -> None:
    """Listen to a folder of recordings, into one table.

    The job card of slot-3.m4a is slot-3.toml beside it, or --job for all, or a line of a
    --table. All cores work. A run that was stopped goes on where it was.

    Exit codes: 0 all were heard, 3 some could not be, 2 nothing could be started or stored.
    """
    from chatter.batch import gather_tasks, remarks, run_batch
    from chatter.cli.terminal import console, progress_bar
    from chatter.errors import BookError

    system = system_named(units)
    _check_common(job, rpm, teeth)
    into = out or Path("reports") / f"batch-{folder.absolute().name or 'all'}"
    with ExitStack() as opened:
        known = None
        if log or book is not None or machine or cutter:
            known = _book(opened, book, log)
        tasks = gather_tasks(
            folder,
            job=job,
            table=table,
            machine=machine,
            cutter=cutter,
            stated={"cut.speed": rpm, "cutter.teeth": teeth},
            book=known,
            units=system,
            reports=into / "reports" if reports else None,
        )
        tell = opened.enter_context(progress_bar(folder.name, shown=not quiet))
        done = run_batch(
            tasks,
            into,
            cores=cores,
            scheduler=scheduler,
            book=known if log else None,
            again=again,
            tell=tell,
        )
    if not quiet:
        print_batch(done, console(), () if table is None else remarks(folder, tasks))
    if done.unlogged:
        first = done.unlogged[0]
        raise BookError(
            f"{len(done.unlogged)} of {len(done.rows)} could not be stored in the logbook, the "
            f"first {first} All the verdicts are in {done.sheet}; run it again to store them."
        )
    if done.failed:
        raise typer.Exit(SOME_FAILED)


def _check_common(job: Path | None, rpm: str | None, teeth: str | None) -> None:
    """What is stated for all must be right: one sentence now instead of one per recording."""
    from chatter.job.build import read_statement
    from chatter.job.cards import load_statement

    read_statement({"cut.speed": rpm, "cutter.teeth": teeth})
    if job is not None:
        load_statement(job)


def _book(opened: ExitStack, path: Path | None, log: bool) -> Book | None:
    """The logbook, for writing only where it is asked for; None where there is none to read."""
    from chatter.logbook import open_book
    from chatter.places import places

    if not log and path is None and not places(path).book.exists():
        return None
    return opened.enter_context(open_book(path, write=log))


def print_batch(done: Done, screen: Console, said: Sequence[str] = ()) -> None:
    """The table, or for many recordings its sums and what could not be heard; then remarks."""
    from collections import Counter

    from rich.markup import escape
    from rich.table import Table

    from chatter.batch.cover import shorten_names
    from chatter.batch.row import FAILED
    from chatter.report.care import on_terminal
    from chatter.report.words import verdict_name
    from chatter.trade.cautions import cautions

    if len(done.rows) <= _LINES_SHOWN:
        table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
        for name in ("recording", "verdict", "confidence", "rev/min", "chatter, Hz"):
            words = name in ("recording", "verdict")
            table.add_column(name, justify="left" if words else "right", overflow="fold")
        names = shorten_names(
            [row.file for row in done.rows], max(_NARROWEST, screen.width - _REST)
        )
        for row, name in zip(done.rows, names, strict=True):
            table.add_row(escape(name), *_cells(row))
        screen.print(table)
        screen.print()
    else:
        counts = Counter(row.verdict for row in done.rows if row.verdict)
        for verdict, count in counts.most_common():
            screen.print(f"  {count:6d}  {verdict_name(verdict)}", markup=False)
    faults = [row for row in done.rows if row.error]
    for row in faults[:_FAULTS_SHOWN]:
        named = row.error.startswith(row.file)
        why = row.error if named else f"{row.file}. {row.error}"
        what = "Not heard" if row.status == FAILED else "Heard, but without its report"
        screen.print(f"{what}: {why}", markup=False, soft_wrap=True)
    for row in [row for row in done.rows if row.fits][:_FAULTS_SHOWN]:
        said_of = f"The stated numbers do not fit: {row.file}; {row.fits} would."
        screen.print(said_of, markup=False, soft_wrap=True)
    if len(faults) > _FAULTS_SHOWN:
        screen.print(f"... and {len(faults) - _FAULTS_SHOWN} more in the table.")
    if any(row.simulated for row in done.rows):
        simulated = sum(row.simulated for row in done.rows)
        screen.print(f"{simulated} of them simulated: no real machine made their sound.")
    old = f", {done.known} of them in an earlier run" if done.known else ""
    sums = f"{done.heard} of {len(done.rows)} heard{old}. Table: {done.sheet}"
    screen.print(sums, markup=False, soft_wrap=True)
    for remark in said:
        screen.print(f"Note: {remark}", markup=False, soft_wrap=True)
    where = "with 'chatter help cautions'"
    for caution in on_terminal(cautions(None, "report"), where):
        mark = "" if caution.startswith("(") else "Caution: "
        screen.print(f"{mark}{caution}", markup=False)


def _cells(row: LedgerRow) -> tuple[str, ...]:
    """Everything beside the name."""
    from chatter.batch.row import FAILED
    from chatter.report.words import verdict_name

    if row.status == FAILED:
        return "(not heard)", "", "", ""
    named = [verdict_name(row.verdict), *map(verdict_name, row.also.split())]
    sure = "" if row.verdict == "cannot_tell" or row.confidence is None else f"{row.confidence:.2f}"
    speed = "" if row.heard_rev_min is None else f"{row.heard_rev_min:.1f}"
    tone = "" if row.chatter_hz is None else f"{row.chatter_hz:.0f}"
    return ", ".join(named), sure, speed, tone
