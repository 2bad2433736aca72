"""``chatter page``: the page at the bench."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from chatter.page.certificate import Certificate
    from chatter.page.keys import Keyring


_PLAIN = (
    "What is sent is not encrypted: others in the same network could read along. Do this in the\n"
    "shop's own network, not in a public one, and stop the page when done."
)
_ENCRYPTED = (
    "What is sent is encrypted with a certificate of this computer's own, which nobody vouches "
    "for:\nthe phone warns that the line is not private. Look at the certificate in that warning; "
    "go on\nonly if its SHA-256 fingerprint is\n{}\nAny other means that somebody stands between. "
    "Then 'Record here' works on the phone too."
)


def page_command(
    lan: Annotated[
        bool, typer.Option("--lan", help="Open it to the shop's network, with a key, for phones.")
    ] = False,
    port: Annotated[int, typer.Option(min=0, max=65535, help="Port; 0 takes any free one.")] = 8137,
    book: Annotated[
        Path | None, typer.Option(metavar="FILE", help="The logbook; default: your own.")
    ] = None,
    https: Annotated[
        bool,
        typer.Option("--https", help="With --lan: encrypt the line, so that a phone may record."),
    ] = False,
    browser: Annotated[
        bool, typer.Option("--open", help="Open it in the browser of this computer.")
    ] = False,
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
    from chatter.errors import JobError
    from chatter.page.certificate import certificate
    from chatter.page.keys import Keyring
    from chatter.page.serve import bind, own_addresses, serve
    from chatter.page.settings import Settings
    from chatter.page.worker import limited
    from chatter.places import places

    if https and not lan:
        raise JobError("--https is for the network: give --lan too, or leave it away.")
    if browser and port and not lan and _runs_already(port):
        import webbrowser

        typer.echo(f"The page runs already, at http://127.0.0.1:{port}/; it is opened there.")
        webbrowser.open(f"http://127.0.0.1:{port}/")
        return
    around = places(book)
    folder = data or around.book.with_name(f"{around.book.stem}.page")
    listening = bind(port, lan=lan)
    with listening:
        port = listening.getsockname()[1]
        folder = folder.expanduser().absolute()
        shown = certificate(folder, own_addresses()) if https else None
        seen = shown.file if shown else None
        settings = Settings(folder, around.book, port, lan, untaught, certificate=seen)
        keyring = Keyring(settings.limits.wrong_keys)

        def ready() -> None:  # an address is only said once it answers
            if lan:
                own = _open_to_phones(keyring, port, own_addresses(), shown)
            else:
                own = f"http://127.0.0.1:{port}/"
                typer.echo(f"The page is at {own}  (this computer only)")
            typer.echo(f"Recordings and answers are kept in {settings.data}")
            if not limited():
                typer.echo(
                    "This system cannot limit the memory of a listen; one that takes more than "
                    f"{settings.limits.wall_s / 60:.0f} minutes is stopped."
                )
            typer.echo("Stop it with Ctrl-C.")
            if browser:
                _show(own)

        serve(settings, keyring, listening, ready)


def _open_to_phones(
    keyring: Keyring, port: int, addresses: list[str], shown: Certificate | None
) -> str:
    """Print a code for the phone, and a fresh one whenever one was used; this computer's door."""
    address = addresses[0] if addresses else "127.0.0.1"
    scheme = "https" if shown else "http"

    def show_code() -> None:
        link = f"{scheme}://{address}:{port}/enter?key={keyring.new_key(show_code)}"
        typer.echo(f"\nScan this with the phone; it lets in one device, once:\n{_code(link)}{link}")

    typer.echo(
        "The page is open to every device in this network that is shown a code from this terminal."
    )
    typer.echo(_ENCRYPTED.format(shown.fingerprint) if shown else _PLAIN)
    show_code()
    own = f"{scheme}://127.0.0.1:{port}/enter?key={keyring.new_key()}"
    typer.echo(f"\nOn this computer, once: {own}")
    return own


def _runs_already(port: int) -> bool:
    """Whether a page of ours answers on this port."""
    from http.client import HTTPException
    from urllib.request import urlopen

    try:
        with urlopen(f"http://127.0.0.1:{port}/", timeout=3) as answer:
            return b" - Chatter</title>" in answer.read(4096)
    except (OSError, HTTPException, ValueError):
        return False


def _show(address: str) -> None:
    """Open an address in the browser; where there is none the printed one is enough."""
    import threading
    import webbrowser

    threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()


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
