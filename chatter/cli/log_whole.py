"""``chatter log``, the commands on the whole book: export, import, check, backup."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from chatter.cli.options import BookOption
from chatter.errors import BookError


def export_command(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="New or empty.")],
    labelled: Annotated[
        bool,
        typer.Option(
            "--labelled", help="Only labelled recordings, as a collection that anyone can read."
        ),
    ] = False,
    no_files: Annotated[
        bool,
        typer.Option("--no-files", help="Leave out recordings and photographs; measures stay."),
    ] = False,
    yes: Annotated[
        bool, typer.Option("--yes", help="With --labelled: give the sound without being asked.")
    ] = False,
    book: BookOption = None,
) -> None:
    """Write the whole book as plain files, or labelled recordings."""
    from chatter.logbook import open_book
    from chatter.logbook.exporting import export
    from chatter.logbook.sharing import share_collection

    if labelled and not no_files and not yes:
        _ask_for_sound()
    with open_book(book, write=False) as opened:
        if not labelled:
            counts = export(opened, folder, files=not no_files)
            typer.echo(f"{sum(counts.values())} entries written to {folder}.")
            return
        done = share_collection(opened, folder, sound=not no_files)
    with_it = "with their sound" if not no_files else "measures only, no sound"
    typer.echo(
        f"{done.labels} labels of {done.recordings} recordings written to {folder}, {with_it}."
    )
    for sentence in done.missing:
        typer.echo(sentence)


def _ask_for_sound() -> None:
    """Sound may hold voices: nobody gives it away unasked.  Raises BookError."""
    import sys

    warning = "People may be heard on the recordings."
    if not sys.stdin.isatty():
        raise BookError(
            f"{warning} Give --yes to write them all the same, or --no-files for measures only."
        )
    if not typer.confirm(f"{warning} Write the sound too?"):
        raise BookError("Nothing was written: --no-files writes labels and measures only.")


def import_command(
    other: Annotated[
        Path, typer.Argument(metavar="PLACE", help="Folder of an export, or another logbook.")
    ],
    book: BookOption = None,
) -> None:
    """Take another book, or an export, into this one.

    Importing twice makes no doubles.
    """
    from chatter.logbook import open_book
    from chatter.logbook.merging import merge

    with open_book(book) as opened:
        done = merge(opened, other)
    typer.echo(
        f"{done.new} new entries, {done.changed} brought up to date, {done.same} known already, "
        f"{done.older} older than here (set aside); {done.files} files copied."
    )
    if done.struck:
        typer.echo(f"{done.struck} entries that were taken out here were left out.")
    for name in done.missing:
        typer.echo(f"The kept file {name} is not with the import: copy its files folder too.")


def check_command(book: BookOption = None) -> None:
    """Read all entries and kept files: is all there?"""
    from chatter.logbook import open_book
    from chatter.logbook.checking import check

    with open_book(book) as opened:
        report = check(opened)
        place = opened.path
    rows = ", ".join(
        f"{count} {name.removesuffix('s') if count == 1 else name}"
        for name, count in report.counts.items()
        if count
    )
    typer.echo(f"{place}: {rows or 'empty'}.")
    typer.echo(f"Kept files: {report.kept_files}, {report.kept_bytes / 1e6:.1f} MB.")
    for line in report.remarks:
        typer.echo(f"Note: {line}")
    if report.faults:
        raise BookError(" ".join(report.faults))
    typer.echo("All of it is whole.")


def restore_command(
    copy: Annotated[
        Path | None,
        typer.Argument(metavar="[COPY]", help="Which copy; else the newest that is whole."),
    ] = None,
    book: BookOption = None,
) -> None:
    """Bring a copy back in place of a damaged book.

    The damaged one is put aside, nothing is thrown away; what can still be read of it is added.
    Stop the page first.
    """
    from chatter.logbook.restoring import restore
    from chatter.places import places

    around = places(book)
    done = restore(around, copy)
    typer.echo(f"{around.book} is again as in {done.copy}: {done.rows} entries.")
    if done.aside is not None:
        typer.echo(f"What was there is kept as {done.aside}.")
    if done.rescued:
        typer.echo(
            f"{done.rescued} of the entries are newer than the copy and were read out of the "
            "damaged book: look at them with 'chatter log show'."
        )


def backup_command(book: BookOption = None) -> None:
    """Copy the book into its folder of backups.

    The kept recordings and photographs are not copied; an export holds them too.
    """
    from chatter.logbook import open_book
    from chatter.logbook.opening import backup

    with open_book(book) as opened:
        typer.echo(f"Copied to {backup(opened.db.conn, opened.places, 'asked')}.")
