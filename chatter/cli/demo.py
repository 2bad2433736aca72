"""``chatter demo``: the demo recordings, the truth beside the verdict."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from chatter.cli.options import SystemOption, system_named


def demo_command(
    reports: Annotated[Path, typer.Option(metavar="FOLDER", help="Where the reports go.")] = Path(
        "reports"
    ),
    no_report: Annotated[bool, typer.Option("--no-report", help="Write no reports.")] = False,
    units: SystemOption = "metric",
) -> None:
    """Listen to the demo recordings and show each verdict beside the truth.

    The recordings are simulated: the truth is known, and no real machine was heard.
    """
    from chatter.cli.listen import hear_file
    from chatter.cli.terminal import console
    from chatter.demo import TAPS, demo_takes
    from chatter.job.cards import load_statement
    from chatter.report.demo_table import DemoRow, print_demo
    from chatter.report.files import check_place

    system = system_named(units)
    if not no_report:
        check_place(reports)  # before the folder is made: it says what is wrong
        _make(reports)
    rows, first = [], None
    for take in demo_takes():
        made = hear_file(
            take.recording,
            load_statement(take.job),
            reports,
            card=take.job,
            write=not no_report,
            units=system,
            quiet=False,
        )
        rows.append(DemoRow(take.recording.name, take.truth, made.heard.findings, made.written))
        first = first or made.lacking
    screen = console()
    print_demo(tuple(rows), screen)
    if TAPS.is_file():
        said = f"Taps on an arbor, simulated too: chatter tap '{TAPS}' --simulated"
        screen.print(said, markup=False, soft_wrap=True)
    if first is not None:
        raise first


def _make(folder: Path) -> None:
    from chatter.errors import OutputError

    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as wrong:
        raise OutputError(
            f"'{folder}' cannot be made ({wrong.strerror}); name another folder with --reports."
        ) from wrong
