"""``chatter listen``: one recording, one verdict, one report."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from chatter.cli.options import (
    BookOption,
    NoReportOption,
    QuietOption,
    ReportOption,
    RpmOption,
    UnitsOption,
    check_report,
    system_named,
)

if TYPE_CHECKING:
    from rich.console import Console

    from chatter.findings import Findings
    from chatter.job.build import Statement
    from chatter.job.cut import Job
    from chatter.listening.front import Heard
    from chatter.teaching.telling import Taught

#: What tells a length or feed in inches from a metric one, once "/min" is gone.
_PER = re.compile(r"/\s*(min|s|tooth).*")
_INCHES = re.compile(r"in|ipm|thou|ft|foot|feet|[\"″”]")


def listen_command(
    context: typer.Context,
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="Any phone recording, audio or video.")
    ],
    rpm: RpmOption = None,
    teeth: Annotated[
        str | None, typer.Option(metavar="N", help="Number of teeth of the cutter.")
    ] = None,
    form: Annotated[
        str | None,
        typer.Option(help="Form of cutter: saw, side-and-face, staggered, slab, end mill ..."),
    ] = None,
    diameter: Annotated[
        str | None, typer.Option(metavar="LENGTH", help="Cutter diameter, '6 in' or '150 mm'.")
    ] = None,
    width: Annotated[
        str | None, typer.Option(metavar="LENGTH", help="Cutter width, '1/8 in' or '3 mm'.")
    ] = None,
    material: Annotated[str | None, typer.Option(help="What is being cut.")] = None,
    depth: Annotated[
        str | None, typer.Option(metavar="LENGTH", help="Depth of cut, '0.12 in' or '3 mm'.")
    ] = None,
    feed: Annotated[
        str | None, typer.Option(metavar="FEED", help="Table feed, '2 in/min' or '50 mm/min'.")
    ] = None,
    direction: Annotated[
        str | None, typer.Option(help="up (conventional) or down (climb).")
    ] = None,
    speeds: Annotated[
        str | None,
        typer.Option(metavar="LIST", help="All speeds of the machine, '40, 57, 80' rev/min."),
    ] = None,
    mains: Annotated[
        str | None, typer.Option(metavar="FREQUENCY", help="Mains frequency, '50 Hz' or '60 Hz'.")
    ] = None,
    idle: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="A recording of the same machine running idle."),
    ] = None,
    span: Annotated[
        str | None, typer.Option(metavar="FROM-TO", help="Judge only this stretch, '12-48'.")
    ] = None,
    taps: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="A tap test of this set-up, from 'chatter tap --json'."),
    ] = None,
    observed: Annotated[
        list[str] | None,
        typer.Option(
            metavar="CUT",
            help="An earlier cut, '12 mm at 57 rev/min chattered' or '... quiet'; repeatable.",
        ),
    ] = None,
    job: Annotated[
        Path | None, typer.Option(metavar="CARD", help="Job card (TOML); options win over it.")
    ] = None,
    machine: Annotated[
        str | None,
        typer.Option(metavar="CARD", help="Machine card (TOML), or its name in the logbook."),
    ] = None,
    cutter: Annotated[
        str | None,
        typer.Option(metavar="CARD", help="Cutter card (TOML), or its name in the logbook."),
    ] = None,
    json: Annotated[
        str | None,
        typer.Option(metavar="FILE", help="Write the findings as JSON; '-' is standard output."),
    ] = None,
    report: ReportOption = None,
    no_report: NoReportOption = False,
    picture: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="One picture to share, with the answer (PNG)."),
    ] = None,
    units: UnitsOption = None,
    cautions: Annotated[
        bool, typer.Option("--cautions", help="Print all cautions, not only the two that fit.")
    ] = False,
    untaught: Annotated[
        bool,
        typer.Option(
            "--untaught",
            help="Leave out what the logbook has learned: labels, and the machine's own voice.",
        ),
    ] = False,
    quiet: QuietOption = False,
    log: Annotated[
        bool, typer.Option("--log", help="Store recording, job and findings in the logbook.")
    ] = False,
    book: BookOption = None,
    phone: Annotated[str, typer.Option(help="Which phone, for the logbook.")] = "",
    position: Annotated[str, typer.Option(help="Where the phone lay, for the logbook.")] = "",
    hours: Annotated[
        float | None, typer.Option(help="Running hours of the machine, for the logbook.")
    ] = None,
) -> None:
    """Say what the noise of a cut is, and what to do about it.

    Speed and tooth count are enough: chatter listen slot-3.m4a --rpm 57 --teeth 48

    Either may be left out: --speeds or --machine lists the speeds to choose from by the sound.

    Every length and feed needs its unit; the rest sharpens the verdict or the advice.
    """
    from chatter.cli.out import check_json, check_picture_place
    from chatter.cli.store import known_parts, taught_by
    from chatter.job.cards import statement_from

    check_report(report, no_report)
    parts = known_parts(machine, cutter, book)
    system = _system(units, (diameter, width, depth, feed))
    values = statement_from(
        job,
        {
            "cut.speed": rpm,
            "cutter.teeth": teeth,
            "cutter.form": form,
            "cutter.diameter": diameter,
            "cutter.width": width,
            "cut.material": material,
            "cut.depth": depth,
            "cut.feed": feed,
            "cut.direction": direction,
            "machine.speeds": speeds,
            "machine.mains": mains,
            "take.idle": None if idle is None else str(idle),
            "take.span": span,
            "take.taps": None if taps is None else str(taps),
            "cut.observed": observed or None,
        },
        texts=parts.texts,
    )
    check_json(json, [file], called="the recording itself")
    if picture is not None:
        check_picture_place(picture, [file])
    out = None if no_report else report

    def learned(stated: Job) -> Taught | None:
        return taught_by(book, parts, stated, phone=phone, position=position)

    made = hear_file(
        file, values, out, card=job, write=not no_report, units=system, quiet=quiet,
        learned=None if untaught else learned,
    )  # fmt: skip
    heard, written = made.heard, made.written
    if picture is not None:
        from chatter.report.card import card_png
        from chatter.report.files import write_bytes

        write_bytes(picture, card_png(heard.findings, heard.exhibits.overview, units=system))
    again = _again(context, heard.findings)
    _hand_out(heard.findings, json, written, quiet, cautions, again)
    if log:
        from chatter.cli.store import store_and_say

        stored = store_and_say(
            file,
            made.job,
            heard.findings,
            parts,
            written,
            phone=phone,
            position=position,
            hours=hours,
        )
        if not quiet:
            typer.echo(stored, err=json == "-")
    if made.lacking is not None:  # the verdict is out and kept: only now say what could not be had
        raise made.lacking


def _again(context: typer.Context, findings: Findings) -> list[str]:
    """The commands that listen again with each number that fits, all else as it was."""
    from chatter.cli.out import command_again

    heard = findings.numbers
    if heard is None:
        return []
    changes = []
    if heard.rev_min is not None:
        changes.append({"rpm": f"{heard.rev_min:g}"})
    if heard.count is not None:
        changes.append({"teeth": str(heard.count)})
    if not changes:
        return []
    return ["", "Listen again with", *(f"  {command_again(context, each)}" for each in changes)]


@dataclass(frozen=True)
class HeardFile:
    """A file listened to: under which job, and the report written, or why it was not."""

    job: Job
    heard: Heard
    written: Path | None
    lacking: Exception | None  # to be raised once the verdict was handed out


def hear_file(
    file: Path,
    values: Statement,
    out: Path | None,
    *,
    card: Path | None,
    write: bool,
    units: str,
    quiet: bool,
    learned: Callable[[Job], Taught | None] | None = None,
) -> HeardFile:
    """Listen with a progress bar and write the report.

    Parameters
    ----------
    file : Path
    values : dict
        As stated; a number that is left out is found by the sound.
    out : Path, optional
        Where the report goes.
    card : Path, optional
        The job card, to name it where what is stated cannot be.
    write : bool
        Whether a report is wanted.
    units : str
    quiet : bool
    learned : callable, optional
        From the job to what the book knows of it.
    """
    from chatter.cli.terminal import progress_bar
    from chatter.job.cards import told_by_card
    from chatter.listening.finding import find_job, supposed_job
    from chatter.listening.front import listen_to, shared_out, taken_in

    with told_by_card(card):
        supposed_job(values)
    with progress_bar(file.name, shown=not quiet) as tell:
        reading, judging = shared_out(tell)
        with taken_in(file, progress=reading) as sound:
            with told_by_card(card):
                found = find_job(sound, values)
            ear = partial(listen_to, units=units, numbers=found.numbers, progress=judging)
            known = None if learned is None else learned(found.job)
            if known is None:
                heard = ear(sound, found.job)
            else:
                from chatter.teaching.telling import listen_taught

                heard = listen_taught(ear, sound, found.job, known)
        if not write:
            return HeardFile(found.job, heard, None, None)
        from chatter.report.files import write_report

        judging(1.0, "writing the report")
        try:
            written = write_report(heard, out, file, units=units)
        except Exception as wrong:
            return HeardFile(found.job, heard, None, wrong)
    return HeardFile(found.job, heard, written, None)


def _hand_out(
    findings: Findings,
    json: str | None,
    written: Path | None,
    quiet: bool,
    cautions: bool,
    again: list[str],
) -> None:
    from chatter.cli.out import hand_out
    from chatter.plain import to_json
    from chatter.report.summary import print_summary

    def show(screen: Console) -> None:
        print_summary(findings, screen, all_cautions=cautions)
        for line in again:  # to be pasted: no line is broken
            screen.print(line, markup=False, highlight=False, soft_wrap=True)

    hand_out(lambda: to_json(findings), show, json, written, quiet)


def _system(units: str | None, lengths: tuple[str | None, ...]) -> str:
    """inch or metric: as stated, else inch if the lengths were given in inches."""
    if units is not None:
        return system_named(units)
    given = [_PER.sub("", one.lower()) for one in lengths if one]
    inches = sum(bool(_INCHES.search(one)) for one in given)
    return "inch" if inches > len(given) - inches else "metric"
