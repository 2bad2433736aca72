"""Run every command of the manual: ``python -m chatter.lab.manual``.

Prints what differs from the outputs that the manual shows; ``--write`` puts the new ones in.
A block marked ``console`` holds commands, each after ``$``, with what they print; a number after
the word keeps only so many lines of each output.  A block whose first line is ``FILE name`` or
that shows a file of the examples is filled with that file.
"""

from __future__ import annotations

import argparse
import contextlib
import difflib
import io
import os
import re
import shlex
import shutil
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from chatter.manual import EXAMPLES, FOLDER, TOPICS

ROOT = FOLDER.parent.parent
#: What stands for the folder that the commands ran in, and for the time they ran at.
HOME, WHEN = "/home/shop", "2026-01-02 10:30"
#: What stands where lines were left out.
CUT = "..."

_BLOCK = re.compile(r"^```console(?P<most> \d+)?\n(?P<body>.*?)^```$", re.MULTILINE | re.DOTALL)
_FILE = re.compile(
    r"^```(?P<kind>toml|csv)(?: (?P<name>\S+))?\n(?P<body>.*?)^```$", re.MULTILINE | re.DOTALL
)


@dataclass(frozen=True)
class Ran:
    """One command and what it printed."""

    command: str
    code: int
    printed: str


@contextlib.contextmanager
def clone() -> Iterator[Path]:
    """A folder that looks like the root of a fresh clone, to run commands in; left at the end."""
    before, book = Path.cwd(), os.environ.get("CHATTER_BOOK")
    with tempfile.TemporaryDirectory(prefix="chatter-manual-") as made:
        folder = Path(made)
        for name in ("recordings_demo", "chatter"):
            (folder / name).symlink_to(ROOT / name, target_is_directory=True)
        os.environ["CHATTER_BOOK"] = str(folder / "logbook.db")
        os.chdir(folder)
        try:
            yield folder
        finally:
            os.chdir(before)
            os.environ.pop("CHATTER_BOOK")
            if book is not None:
                os.environ["CHATTER_BOOK"] = book


def run_command(command: str, folder: Path) -> Ran:
    """Run one command of the manual as it is typed.

    Parameters
    ----------
    command : str
        ``chatter ...``, or ``cp -r FROM TO``.
    folder : Path
        Where it runs; named ``HOME`` in what it prints.
    """
    words = shlex.split(command)
    if words[:2] == ["cp", "-r"]:
        shutil.copytree(words[2], words[3])
        return Ran(command, 0, "")
    if words[0] != "chatter":
        return Ran(command, 127, f"The manual shows no other commands than chatter: {command}\n")
    from chatter.cli import main as chatter

    out, wrong = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(wrong):
        code = chatter(words[1:])
    said = out.getvalue() if code == 0 else out.getvalue() + wrong.getvalue()
    return Ran(command, code, _plain(said, folder))


def _plain(printed: str, folder: Path) -> str:
    """Without what changes from day to day and from place to place."""
    printed = printed.replace(str(folder), HOME)
    printed = re.sub(r"20\d\d-\d\d-\d\d \d\d:\d\d", WHEN, printed)
    return "".join(f"{line.rstrip()}\n" for line in printed.splitlines())


def remade(text: str, folder: Path) -> tuple[str, list[Ran]]:
    """A page of the manual with its outputs as they are now, and the commands that were run."""
    every: list[Ran] = []

    def fill(block: re.Match) -> str:
        most = int(block["most"] or 0)
        lines = []
        for line in block["body"].splitlines():
            if line.startswith("$ "):
                every.append(run_command(line[2:], folder))
                lines += [line, *_first(every[-1].printed.splitlines(), most)]
        return f"```console{block['most'] or ''}\n" + "\n".join(lines) + "\n```"

    def card(block: re.Match) -> str:
        name = block["name"] or block["body"].partition("FILE ")[2].strip()
        inside = (EXAMPLES / name).read_text(encoding="utf-8")
        return f"```{block['kind']} {name}\n{inside.strip()}\n```"

    return _BLOCK.sub(fill, _FILE.sub(card, text)), every


def _first(lines: list[str], most: int) -> list[str]:
    return lines if not most or len(lines) <= most + 1 else [*lines[:most], CUT]


def main(arguments: list[str] | None = None) -> int:
    """Compare or write; 1 when something differs or a command failed."""
    parser = argparse.ArgumentParser(prog="python -m chatter.lab.manual", description=__doc__)
    parser.add_argument("topics", nargs="*", default=TOPICS, help="only these pages")
    parser.add_argument("--write", action="store_true", help="put the new outputs in")
    options = parser.parse_args(arguments)
    wrong = 0
    for name in options.topics:
        path = FOLDER / f"{name}.md"
        text = path.read_text(encoding="utf-8")
        with clone() as folder:
            new, every = remade(text, folder)
        failed = [one for one in every if one.code != 0]
        for one in failed:
            print(f"{name}: '{one.command}' ended with {one.code}: {one.printed}")
        if new != text and not options.write:
            print(*difflib.unified_diff(text.splitlines(), new.splitlines(), name, "now", n=0,
                                        lineterm=""), sep="\n")  # fmt: skip
        elif new != text:
            path.write_text(new, encoding="utf-8")
        wrong += bool(failed) or (new != text and not options.write)
        print(f"{name}: {len(every)} commands run{', differs' if new != text else ''}")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
