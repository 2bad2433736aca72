"""``chatter log``: the logbook, kept and shown.

Every command opens the book, does one thing, says what is in the book now, and closes it.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from chatter.cli.log_label import label_command
from chatter.cli.log_teach import teach_command
from chatter.cli.log_whole import (
    backup_command,
    check_command,
    export_command,
    import_command,
    restore_command,
)
from chatter.cli.options import BookOption
from chatter.errors import BookError

log_app = typer.Typer(
    help="Keep and show the logbook of machines, cutters, recordings.",
    invoke_without_command=True,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
)

_Machine = Annotated[
    str | None, typer.Option("--machine", metavar="NAME", help="Of this machine of the book.")
]
_Cutter = Annotated[
    str | None, typer.Option("--cutter", metavar="NAME", help="Of this cutter of the book.")
]
_Recording = Annotated[
    str | None,
    typer.Option(
        "--recording", metavar="NUMBER", help="Of this recording: its number, name or hash."
    ),
]
_Note = Annotated[str, typer.Option("--note", metavar="TEXT", help="A remark.")]
_Card = Annotated[Path | None, typer.Argument(metavar="[CARD]", help="A card (TOML).")]
_Name = Annotated[
    str | None, typer.Option("--name", help="What it is called in the book; else as on the card.")
]
_Change = Annotated[
    bool, typer.Option("--change", help="Give the one of this name this card; the old is kept.")
]


@log_app.callback()
def _log(context: typer.Context) -> None:
    if context.invoked_subcommand is None:
        typer.echo(context.get_help())


@log_app.command("machine")
def machine_command(
    card: _Card = None,
    name: _Name = None,
    note: _Note = "",
    change: _Change = False,
    book: BookOption = None,
) -> None:
    """Add a machine, by its card or by its name alone."""
    from chatter.job.cards import read_text
    from chatter.job.machine import Machine
    from chatter.logbook import MachineRow, add_machine, change_card, open_book
    from chatter.logbook.card_text import machine_on_card

    given = Machine(name=name or "") if card is None else read_text(card)
    with open_book(book) as opened:
        if change:
            called = (
                name or machine_on_card(given if isinstance(given, str) else "", str(card)).name
            )
            row = change_card(opened, opened.get(MachineRow, called), given)
        else:
            row = add_machine(opened, given, name=name, note=note)
        if note and row.note != note:
            row = opened.update(row, note=note)
        typer.echo(f"Machine {row.number} in the logbook: {row.name}.")


@log_app.command("cutter")
def cutter_command(
    card: Annotated[
        Path, typer.Argument(metavar="CARD", help="A cutter card, or a job card with a [cutter].")
    ],
    name: _Name = None,
    note: _Note = "",
    change: _Change = False,
    book: BookOption = None,
) -> None:
    """Add a cutter, by its card."""
    from chatter.job.cards import cutter_text, read_text
    from chatter.logbook import CutterRow, add_cutter, change_card, open_book
    from chatter.logbook.card_text import cutter_of

    # Only the cutter's own section: a job card holds more.
    text = cutter_text(cutter_of(read_text(card), card.name))
    with open_book(book) as opened:
        if change:
            called = name or cutter_of(text).name
            row = change_card(opened, opened.get(CutterRow, called), text)
        else:
            row = add_cutter(opened, text, name=name, note=note)
        if note and row.note != note:
            row = opened.update(row, note=note)
        typer.echo(f"Cutter {row.number} in the logbook: {row.name}.")


@log_app.command("regrind")
def regrind_command(
    cutter: Annotated[str, typer.Argument(metavar="CUTTER", help="Name or number in the book.")],
    day: Annotated[str, typer.Argument(metavar="DATE", help="2025-03-31")],
    note: _Note = "",
    book: BookOption = None,
) -> None:
    """Store that a cutter was reground."""
    from chatter.logbook import CutterRow, add_regrind, open_book

    with open_book(book) as opened:
        row = opened.get(CutterRow, cutter)
        regrind = add_regrind(opened, row, day, note=note)
        typer.echo(f"Cutter {row.number} ({row.name}): reground on {regrind.ground_on}.")


@log_app.command("add")
def add_command(
    files: Annotated[list[Path], typer.Argument(metavar="FILE ...", help="Recordings.")],
    kind: Annotated[str, typer.Option(help="What it is of: cut, idle, tap or other.")] = "cut",
    machine: _Machine = None,
    phone: Annotated[str, typer.Option(help="Which phone.")] = "",
    position: Annotated[str, typer.Option(help="Where the phone lay.")] = "",
    hours: Annotated[float | None, typer.Option(help="Running hours of the machine.")] = None,
    recorded: Annotated[
        str | None, typer.Option(metavar="TIME", help="When, '2025-03-31T14:30'.")
    ] = None,
    point: Annotated[
        bool, typer.Option("--point", help="Only remember where the file lies; keep no copy.")
    ] = False,
    note: _Note = "",
    book: BookOption = None,
) -> None:
    """Add recordings without listening.

    One that is in the book already gets what is stated now: hours, phone, machine ...
    """
    from chatter.listening.front import check_recording
    from chatter.logbook import add_recording, open_book

    for file in files:
        check_recording(file)  # what is no recording is refused before anything is stored
    with open_book(book) as opened:
        for file in files:
            row = add_recording(
                opened,
                file,
                copy=not point,
                kind=kind,
                machine=machine,
                phone=phone,
                position=position,
                hours=hours,
                recorded_at=recorded,
                note=note,
            )
            kept = "a copy is kept" if row.keeping == "copy" else "not copied"
            typer.echo(f"Recording {row.number} in the logbook: {row.name} ({kept}).")


@log_app.command("note")
def note_command(
    text: Annotated[str, typer.Argument(metavar="TEXT", help="What is to be remembered.")],
    machine: _Machine = None,
    cutter: _Cutter = None,
    recording: _Recording = None,
    book: BookOption = None,
) -> None:
    """Write a note."""
    from chatter.logbook import add_note, open_book

    with open_book(book) as opened:
        row = add_note(opened, text, machine=machine, cutter=cutter, recording=recording)
        typer.echo(f"Note {row.number} in the logbook.")


@log_app.command("surface")
def surface_command(
    sign: Annotated[
        str | None, typer.Argument(metavar="[SIGN]", help="What is seen; left out: all signs.")
    ] = None,
    face: Annotated[str, typer.Option(help="Which face: 'left wall', 'floor' ...")] = "",
    day: Annotated[str | None, typer.Option("--date", metavar="DATE", help="2025-03-31")] = None,
    machine: _Machine = None,
    cutter: _Cutter = None,
    recording: _Recording = None,
    note: _Note = "",
    book: BookOption = None,
) -> None:
    """Store what the cut surface looks like.

    It prints what that says of the alignment; without a sign it lists the signs it knows.
    """
    from chatter.cli.log_show import sign_lines
    from chatter.logbook import add_surface, open_book
    from chatter.trade.surface import sign_of, signs

    if sign is None:
        for each in signs():
            for line in sign_lines(each):
                typer.echo(line)
        _cautions()
        return
    known = sign_of(sign)
    with open_book(book) as opened:
        row = add_surface(
            opened,
            known.name,
            face=face,
            seen_on=day,
            machine=machine,
            cutter=cutter,
            recording=recording,
            note=note,
        )
        typer.echo(f"Surface {row.number} in the logbook.")
    for line in sign_lines(known):
        typer.echo(line)
    _cautions()


def _cautions() -> None:
    """What to take care of before anything is measured at the machine."""
    from chatter.trade.cautions import cautions

    for line in cautions(None, "surface"):
        typer.echo(f"Caution: {line}")


@log_app.command("photo")
def photo_command(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A photograph; a copy is kept.")],
    caption: Annotated[str, typer.Option(help="What it shows.")] = "",
    taken: Annotated[str | None, typer.Option(metavar="TIME", help="2025-03-31T14:30")] = None,
    machine: _Machine = None,
    cutter: _Cutter = None,
    recording: _Recording = None,
    book: BookOption = None,
) -> None:
    """Keep a photograph."""
    from chatter.logbook import add_photo, open_book

    with open_book(book) as opened:
        row = add_photo(
            opened,
            file,
            caption=caption,
            taken_at=taken,
            machine=machine,
            cutter=cutter,
            recording=recording,
        )
        typer.echo(f"Photograph {row.number} in the logbook: {row.name} (a copy is kept).")


@log_app.command("strike")
def strike_command(
    what: Annotated[
        str, typer.Argument(metavar="WHAT", help="note, surface, label, photo, recording ...")
    ],
    which: Annotated[str, typer.Argument(metavar="NUMBER", help="Its number, from 'log show'.")],
    book: BookOption = None,
) -> None:
    """Take a wrong entry out; it is set aside, not thrown away.

    With a recording goes all that is said of it.
    """
    from chatter.job.words import choose_word
    from chatter.logbook import TABLES, EarlierRow, open_book, strike

    kinds = {name.removesuffix("s"): kind for kind, name in TABLES.items() if kind != EarlierRow}
    kind = kinds[choose_word(what.removesuffix("s"), "entry", kinds)]
    with open_book(book) as opened:
        row = opened.get(kind, which)
        count = strike(opened, row)
        more = f", with {count - 1} entries about it" if count > 1 else ""
        typer.echo(f"Taken out of the logbook: {what} {row.number}{more}.")


@log_app.command("show")
def show_command(
    what: Annotated[
        str | None, typer.Argument(metavar="[WHAT]", help="machine, cutter, recording or record.")
    ] = None,
    which: Annotated[
        str | None, typer.Argument(metavar="[NAME]", help="Its name or number.")
    ] = None,
    book: BookOption = None,
) -> None:
    """Show the book, or all there is on one thing in it.

    "record" is how often the program was right, by the labels: of all machines or of one.
    """
    from chatter.cli.log_show import print_overview, print_page, record_page
    from chatter.cli.terminal import console
    from chatter.logbook import open_book

    if what is not None and which is None and what != "record":
        raise BookError(f"Name which {what} to show, for example 'chatter log show {what} 1'.")
    with open_book(book, write=False) as opened:
        if what is None:
            print_overview(opened, console())
        elif what == "record":
            record_page(opened, which, console())
        else:
            print_page(opened, what, str(which), console())


log_app.command("label")(label_command)
log_app.command("teach")(teach_command)
log_app.command("export")(export_command)
log_app.command("import")(import_command)
log_app.command("check")(check_command)
log_app.command("backup")(backup_command)
log_app.command("restore")(restore_command)
