"""Options that several commands have, declared once, and what they have in common."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from chatter.errors import JobError

RpmOption = Annotated[
    str | None, typer.Option("--rpm", metavar="N", help="Spindle speed as dialled, rev/min.")
]
ReportOption = Annotated[
    Path | None,
    typer.Option("--report", metavar="FILE", help="Write the report here; default in reports/."),
]
NoReportOption = Annotated[bool, typer.Option("--no-report", help="Write no report.")]
QuietOption = Annotated[
    bool, typer.Option("--quiet", "-q", help="Print no summary and no progress.")
]
UnitsOption = Annotated[
    str | None, typer.Option("--units", help="inch or metric, where the cards do not tell.")
]
#: The same where there is always one.
SystemOption = Annotated[
    str, typer.Option("--units", help="inch or metric, where the cards do not tell.")
]
BookOption = Annotated[
    Path | None,
    typer.Option(
        "--book", metavar="FILE", help="The logbook; else CHATTER_BOOK, else the user's own."
    ),
]


def check_report(report: Path | None, no_report: bool) -> None:
    """Refuse, before anything is listened to, a report that cannot be written as asked.

    Raises
    ------
    JobError
        It is asked for and forbidden at once.
    OutputError
        It cannot lie there.
    """
    if report is not None and no_report:
        raise JobError("--report and --no-report exclude each other: state one of them.")
    if not no_report:
        from chatter.report.files import check_place

        check_place(report)


def system_named(units: str) -> str:
    """The system of units that was stated, "inch" or "metric".  Raises JobError."""
    from chatter.job.words import choose_word

    return choose_word(units, "system of units", ("inch", "metric"), {"imperial": "inch"})
