"""The README's section on the logbook, done as a new user would."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

from typer.main import get_command

from chatter.cli import app, main

ROOT = Path(__file__).resolve().parent.parent.parent
SECTION = (
    (ROOT / "README.md").read_text(encoding="utf-8").partition("## Keep a logbook\n")[2]
).partition("\n## ")[0]


def test_the_commands_do_what_is_shown(tmp_path, monkeypatch, capsys):
    """But for when it was recorded, where the book lies, and how sure the model of the day is."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "recordings_demo").symlink_to(ROOT / "recordings_demo")
    block = SECTION.partition("```\n")[2].partition("```")[0]
    lines = [line.removeprefix(".venv/bin/chatter ") for line in block.splitlines()]
    assert len(lines) == 6 and lines[-1] == "log show"
    for line in lines:
        capsys.readouterr()
        assert main(shlex.split(line)) == 0, line
    shown = SECTION.partition("```text\n")[2].partition("```")[0]
    assert _without_place(capsys.readouterr().out) == _without_place(shown)


def _without_place(text: str) -> str:
    text = re.sub(r"Logbook: .*", "Logbook: ...", text)
    text = re.sub(r"\d{4}-\d\d-\d\d \d\d:\d\d", "when", text)
    return re.sub(r"\b[01]\.\d\d\b", "sure", text).strip()


def test_every_command_of_the_book_is_told():
    known = set(get_command(app).commands["log"].commands)
    table = SECTION.partition("| command |")[2]
    assert set(re.findall(r"`chatter log (\w+)`", table)) == known
