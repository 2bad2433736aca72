"""``chatter log teach`` and ``chatter log show record``: what the labels taught, and how right
the program was."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Annotated

import typer

from chatter.cli.options import BookOption

if TYPE_CHECKING:
    from chatter.teaching.record import Record


def teach_command(
    machine: Annotated[
        str | None, typer.Argument(metavar="[MACHINE]", help="Its name or number; else all.")
    ] = None,
    book: BookOption = None,
) -> None:
    """Learn anew from all labels and idle recordings."""
    from chatter.errors import BookError
    from chatter.logbook import MachineRow, open_book
    from chatter.teaching.applying import tuned_how
    from chatter.teaching.keeping import Learned, relearn, relearn_all
    from chatter.teaching.voice import voice_of

    with open_book(book) as opened:
        if machine is None:
            learned, rows = relearn_all(opened), opened.list(MachineRow)
        else:
            row = opened.get(MachineRow, machine)
            learned, rows = (Learned(row.name, relearn(opened, row)),), (row,)
        for taught in learned:
            typer.echo(
                f"{taught.name}: {taught.tuning.labels} labelled cuts of {taught.tuning.days} days."
            )
            if taught.tuning.kind == "none":
                typer.echo(f"  Nothing is tuned: {taught.tuning.why}.")
            else:
                typer.echo(f"  {tuned_how(taught.tuning)}")
        anything = bool(learned)
        for row in rows:
            voice = voice_of(opened, row)
            for step in voice.steps if voice else ():
                anything = True
                typer.echo(
                    f"{row.name} idling at {step.rev_min:g} rev/min: {len(step.lines)} lines known."
                )
        if not anything:
            raise BookError(
                "There is nothing to learn from yet: label cuts with 'chatter log label', and "
                "store idling with 'chatter runin add'."
            )


def record_lines(record: Record) -> Iterator[str]:
    """The record as text."""
    from chatter.report.words import verdict_name

    of = record.machine or "all machines"
    yield f"Record of {of}: {record.labelled} labelled passes"
    if not record.labelled:
        yield "  Say what cuts really were with 'chatter log label NUMBER ...'."
    else:
        yield f"  answers given that were right: {record.right.words}"
    if record.blind.total:
        yield f"  of those labelled blind: {record.blind.words}"
    for verdict, share in record.by_verdict.items():
        yield f"  said {verdict_name(verdict).lower()}: right {share.words}"
    for label, share in record.by_label.items():
        yield f"  was {verdict_name(label).lower()}: said so {share.words}"
    if record.divided:
        yield f"  {record.divided} passes on which people do not agree count for nothing"
    if record.wrong:
        yield "  To listen to again:"
    for case in record.wrong[:20]:
        yield (
            f"    recording {case.recording} ({case.name}), pass {case.pass_index}, "
            f"{case.start_s:.1f} to {case.end_s:.1f} s: said {verdict_name(case.verdict).lower()} "
            f"{case.confidence:.2f}, was {verdict_name(case.label).lower()}"
        )
    if record.steps:
        yield f"  After a fault the next cut with the cutter was better: {record.better.words}"
    for step in record.steps[-10:]:
        changed = ", ".join(step.changed) or "nothing that was stated"
        after = verdict_name(step.verdict_after).lower()
        yield (
            f"    recording {step.before} {verdict_name(step.verdict).lower()}, then "
            f"{step.after} {after}; changed: {changed}"
        )
    for line in record.lost:
        yield f"  {line}"
    yield f"  {record.teaches}"
