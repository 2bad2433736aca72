"""``chatter page``: the page at the bench."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def page_command(
    lan: Annotated[
        bool, typer.Option("--lan", help="Open it to the shop's network, with a key, for phones.")
    ] = False,
    port: Annotated[int, typer.Option(min=0, max=65535, help="Port; 0 takes any free one.")] = 8137,
    book: Annotated[
        Path | None, typer.Option(metavar="FILE", help="The logbook; default: your own.")
    ] = None,
    data: Annotated[
        Path | None,
        typer.Option(metavar="FOLDER", help="Where recordings are kept; default: by the logbook."),
    ] = None,
    untaught: Annotated[
        bool, typer.Option("--untaught", help="Leave out what the logbook has learned.")
    ] = False,
) -> None:
    """Open the page in which recordings are dropped and answers read.

    It answers on this computer only, unless --lan is given. Ctrl-C stops it; what was
    uploaded and answered is there again at the next start.
    """
    from chatter.logbook.places import places
    from chatter.page.keys import Keyring
    from chatter.page.serve import bind, own_addresses, serve
    from chatter.page.settings import Settings

    around = places(book)
    folder = data or around.book.with_name(f"{around.book.stem}.page")
    listening = bind(port, lan=lan)
    with listening:
        port = listening.getsockname()[1]
        settings = Settings(folder.expanduser().absolute(), around.book, port, lan, untaught)
        if not lan:
            typer.echo(f"The page is at http://127.0.0.1:{port}/  (this computer only)")
            keyring = Keyring()
        else:
            keyring = _open_to_phones(port, own_addresses())
        typer.echo(f"Recordings and answers are kept in {settings.data}")
        typer.echo("Stop it with Ctrl-C.")
        serve(settings, keyring, listening)


def _open_to_phones(port: int, addresses: list[str]):
    """A keyring that prints a fresh code whenever one was used."""
    from chatter.page.keys import Keyring

    address = addresses[0] if addresses else "127.0.0.1"

    def show_code() -> None:
        link = f"http://{address}:{port}/enter?key={keyring.new_key(show_code)}"
        typer.echo(f"\nScan this with the phone; it lets in one device, once:\n{_code(link)}{link}")

    keyring = Keyring()
    typer.echo(
        "The page is open to every device in this network that is shown a code from this "
        "terminal.\nWhat is sent is not encrypted: others in the same network could read along. "
        "Do this in the\nshop's own network, not in a public one, and stop the page when done."
    )
    show_code()
    own = f"http://127.0.0.1:{port}/enter?key={keyring.new_key()}"
    typer.echo(f"\nOn this computer, once: {own}")
    return keyring


def _code(link: str) -> str:
    """The QR code of a link for the terminal: light on dark whatever its own colours are."""
    import io
    import sys

    import segno

    drawn = io.StringIO()
    segno.make(link, error="l").terminal(drawn, compact=True)
    lines = drawn.getvalue().splitlines()
    if sys.stdout.isatty():
        lines = [f"\x1b[97;40m{line}\x1b[0m" for line in lines]
    return "".join(f"{line}\n" for line in lines)
