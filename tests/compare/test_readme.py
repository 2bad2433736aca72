"""What the README shows of a comparison is what the command prints."""

from __future__ import annotations

import shlex
from pathlib import Path

from chatter.cli import main

ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def test_the_shown_output_is_the_true_one(monkeypatch, capsys):
    before, _, rest = README.partition("<!-- compare-output -->\n```\n")
    shown = rest.partition("```")[0].rstrip().splitlines()
    command = before.rstrip().removesuffix("```").rstrip().splitlines()[-1]
    words = shlex.split(command)
    assert words[:2] == [".venv/bin/chatter", "compare"]
    monkeypatch.chdir(ROOT)
    monkeypatch.setenv("COLUMNS", "80")
    assert main([*words[1:], "--no-report"]) == 0
    printed = [line.rstrip() for line in capsys.readouterr().out.splitlines()]
    assert len(shown) > 8
    # the README leaves out the cautions at the end
    assert [line.rstrip() for line in shown] == printed[: len(shown)]
    assert printed[len(shown) + 1] == "Cautions"
