"""What a worker does: one recording in, one small row out; whatever goes wrong is a row too."""

from __future__ import annotations

import os
import time
import zlib
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from chatter.batch.row import FAILED, LedgerRow, ledger_row
from chatter.batch.task import Task
from chatter.errors import ChatterError
from chatter.job.build import statement_of

if TYPE_CHECKING:
    from chatter.listening.front import Heard


@dataclass(frozen=True)
class Result:
    """What comes back from a worker."""

    index: int
    row: LedgerRow
    findings: bytes | None = None  # packed JSON, where it is asked for


def hear_task(index: int, task: Task, want_findings: bool, started: str | None = None) -> Result:
    """Listen to one recording and write its report.

    Parameters
    ----------
    index : int
        Handed back.
    task : Task
    want_findings : bool
        Whether the parent stores them.
    started : str, optional
        A folder where a file named by ``index`` tells that this one is being worked on, as long
        as it is: when a worker dies, the parent looks there for what it died of.
    """
    mark = None if started is None else Path(started) / str(index)
    if mark is not None:
        mark.touch()
    try:
        return _hear(index, task, want_findings)
    except ChatterError as wrong:
        said = str(wrong)
    except MemoryError:
        said = "There is not enough memory for it: use fewer cores with --cores."
    except Exception as wrong:
        said = f"Something went wrong inside the program ({type(wrong).__name__}: {wrong})."
    finally:
        if mark is not None:
            mark.unlink(missing_ok=True)
    return Result(index, failed(task, said))


def failed(task: Task, sentence: str) -> LedgerRow:
    """The row of a recording that could not be heard."""
    stated = None
    if task.job is not None and "cut.speed" not in task.sought:
        stated = task.job.cut.speed_rev_min
    return LedgerRow(
        file=task.name, status=FAILED, stated_rev_min=stated, error=" ".join(sentence.split())
    )


def _hear(index: int, task: Task, want_findings: bool) -> Result:
    from chatter.listening.finding import find_job
    from chatter.listening.front import listen_to, taken_in

    if task.job is None:
        return Result(index, failed(task, task.error or "It has no job card."))
    began = time.perf_counter()
    values = {key: x for key, x in statement_of(task.job).items() if key not in task.sought}
    with taken_in(task.path) as sound:
        completed = find_job(sound, values)
        heard = listen_to(sound, completed.job, units=task.units, numbers=completed.numbers)
    lacking = None if task.report is None else _report(heard, task.report, task)
    seconds = time.perf_counter() - began
    written = "" if lacking is not None or task.report is None else task.report
    row = ledger_row(heard.findings, task.name, report=written, seconds=seconds)
    row = replace(row, error=lacking or "")
    packed = None
    if want_findings:
        from chatter.plain import to_json

        packed = zlib.compress(to_json(heard.findings, indent=None).encode())
    return Result(index, row, packed)


def _report(heard: Heard, report: str, task: Task) -> str | None:
    """Write the report; what stood in the way, in a sentence: the verdict is kept without it."""
    from chatter.report.files import write_report

    try:
        os.makedirs(os.path.dirname(report), exist_ok=True)
        write_report(heard, report, task.path, units=task.units)
    except ChatterError as wrong:
        return " ".join(str(wrong).split())
    except Exception as wrong:
        said = " ".join(str(wrong).split())
        return f"The report could not be written ({type(wrong).__name__}: {said})."
    return None
