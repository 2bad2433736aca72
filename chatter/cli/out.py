"""Where answers go: JSON into a file or onto standard output, words on whichever end is free."""

from __future__ import annotations

import shlex
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any

import typer

from chatter.errors import OutputError


def check_json(json: str | None, recordings: Iterable[Path], *, called: str) -> None:
    """Refuse, before anything is listened to, to write over a recording or into a file.

    Parameters
    ----------
    json : str or None
        As stated; "-" is standard output.
    recordings : iterable of Path
    called : str
        What they are called in the sentence: "the recording itself".
    """
    if json not in (None, "-"):
        _check(Path(json), recordings, "--json", called)


def check_picture_place(picture: Path, recordings: Iterable[Path]) -> None:
    """Refuse, before anything is listened to, a picture in an impossible place.

    Only a file called .png is ever written over, so that nothing else is lost.
    """
    if picture.suffix.lower() != ".png":
        raise OutputError(f"'{picture}' is not called .png; name a PNG file with --picture.")
    _check(picture, recordings, "--picture", "the recording itself")


def _check(target: Path, recordings: Iterable[Path], option: str, called: str) -> None:
    if target.is_dir():
        raise OutputError(f"'{target}' is a folder; name a file with {option}.")
    if target.parent.exists() and not target.parent.is_dir():
        raise OutputError(f"'{target.parent}' is a file, not a folder; name another with {option}.")
    for recording in recordings:
        if target.exists() and recording.exists() and target.samefile(recording):
            raise OutputError(f"'{target}' is {called}; name another file with {option}.")


def hand_out(
    text: Callable[[], str],
    show: Callable[[Any], None],
    json: str | None,
    written: Path | None,
    quiet: bool,
) -> None:
    """JSON where it was asked for; the summary on whichever end of the terminal is free.

    Parameters
    ----------
    text : callable
        The answer as JSON.
    show : callable
        Prints the summary on a console.
    json : str or None
        File, or "-" for standard output.
    written : Path or None
        The report, to be named.
    quiet : bool
        No words.
    """
    if json == "-":
        typer.echo(text())
    elif json is not None:
        from chatter.report.files import write_text

        write_text(Path(json), text() + "\n")
    if quiet:
        return
    from chatter.cli.terminal import console

    screen = console(error=json == "-")
    show(screen)
    if written is not None:
        screen.print()
        screen.print(f"Report: {written}", markup=False, soft_wrap=True)


def command_again(context: typer.Context, changes: Mapping[str, str]) -> str:
    """This very command with some options changed, to be typed or pasted.

    Parameters
    ----------
    context : typer.Context
        Of the command that runs.
    changes : mapping
        Name of a parameter to its text.
    """
    words = context.command_path.split()[-1:]
    options: list[str] = []
    for each in context.command.params:
        value = changes.get(each.name, context.params.get(each.name))
        if value in (None, False, "", (), []):
            continue
        if each.param_type_name == "argument":
            words.append(str(value))
        elif value is True:
            options.append(each.opts[0])
        else:
            for word in value if isinstance(value, list | tuple) else (value,):
                options += [each.opts[0], str(word)]
    return shlex.join(["chatter", *words, *options])
