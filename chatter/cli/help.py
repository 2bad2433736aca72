"""``chatter help``: the manual on the terminal."""

from __future__ import annotations

from typing import Annotated

import typer


def help_command(
    about: Annotated[
        str | None, typer.Argument(metavar="TOPIC", help="Leave it out to see what there is.")
    ] = None,
) -> None:
    """Read the manual: record, listen, cards, plan, tap, compare, runin, batch, logbook ..."""
    from rich.markdown import Markdown

    from chatter.cli.terminal import console
    from chatter.manual import topic, topics

    screen = console()
    if about is not None:
        screen.print(Markdown(topic(about).text))
        return
    screen.print("The manual. Read one with: chatter help TOPIC", style="bold")
    screen.print()
    for chapter in topics():
        screen.print(f"  {chapter.name:9s} {chapter.title}", markup=False)
    screen.print()
    screen.print("The options of a command: chatter COMMAND --help", markup=False)
