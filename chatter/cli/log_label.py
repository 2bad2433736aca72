"""``chatter log label``: what a recording, or one pass of it, really was."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Annotated

import typer

from chatter.cli.options import BookOption

if TYPE_CHECKING:
    from chatter.logbook import Book, RecordingRow


def label_command(
    recording: Annotated[
        str, typer.Argument(metavar="RECORDING", help="Its number, name or hash.")
    ],
    verdict: Annotated[
        str | None,
        typer.Argument(
            help="normal, side rubbing, chatter, uneven teeth, machine only or not sure; "
            "left out: list the passes and what was said of them."
        ),
    ] = None,
    one_pass: Annotated[
        int | None, typer.Option("--pass", metavar="N", help="Of this pass only.")
    ] = None,
    how: Annotated[
        str,
        typer.Option(
            help="How it is known: heard, seen on faces, cured by change, indicator (reading)."
        ),
    ] = "",
    by: Annotated[str, typer.Option(help="Who says so: initials.")] = "",
    cure: Annotated[str, typer.Option(help="What cured it.")] = "",
    blind: Annotated[
        bool, typer.Option("--blind", help="You have not seen the program's answer.")
    ] = False,
    note: Annotated[str, typer.Option("--note", metavar="TEXT", help="A remark.")] = "",
    book: BookOption = None,
) -> None:
    """Say what it really was, and how you know.

    Several people may label the same pass; nothing is overwritten. With --blind the list shows
    no answers.
    """
    from chatter.logbook import RecordingRow, add_label, open_book
    from chatter.logbook.labels import same_words
    from chatter.teaching.keeping import machine_of_recording, relearn

    with open_book(book, write=verdict is not None) as opened:
        row = opened.get(RecordingRow, recording)
        if verdict is None:
            for line in passes_lines(opened, row, blind=blind):
                typer.echo(line)
            return
        label = add_label(
            opened,
            row,
            verdict,
            cure=cure,
            pass_index=one_pass,
            by=by,
            note=note,
            how_known=how,
            blind=blind,
        )
        words = label.verdict.replace("_", " ")
        of = f"Recording {row.number} ({row.name})"
        if label.pass_index is not None:
            of = f"Pass {label.pass_index} of recording {row.number} ({row.name})"
        said = (
            f"{of}: not sure what it was." if words == "not sure" else f"{of} was really: {words}."
        )
        typer.echo(said)
        doubled = same_words(opened, label)
        if doubled:
            typer.echo(doubled)
        learned = relearn(opened, machine_of_recording(opened, row))
        if learned.kind != "none":
            typer.echo(f"Sureness is tuned by {learned.labels} labelled cuts now.")


def passes_lines(book: Book, row: RecordingRow, *, blind: bool) -> Iterator[str]:
    """The passes of the newest listen, with what people said of each."""
    from chatter.logbook import LabelRow, ListenRow
    from chatter.logbook.labels import by_pass, label_words, lost

    listens = book.list(ListenRow, recording=row)
    findings = listens[-1].findings if listens else None
    labels = book.list(LabelRow, recording=row)
    of_passes, left = by_pass(labels, findings)
    said = {labelled.one_pass.index: labelled.labels for labelled in of_passes}
    yield f"Recording {row.number} ({row.name})"
    if findings is None:
        yield "  Nobody listened to it yet: 'chatter listen FILE --log' finds its passes."
    for one_pass in findings.passes if findings else ():
        answer = "" if blind else f"; answer: {one_pass.verdict.replace('_', ' ')}"
        yield f"  pass {one_pass.index}: {one_pass.start_s:.1f} to {one_pass.end_s:.1f} s{answer}"
        for label in said.get(one_pass.index, ()):
            yield f"    {label_words(label)}"
    for label in left:
        yield f"  {label_words(label)}" if label.pass_index is None else f"  {lost(label)}"
