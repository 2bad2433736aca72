"""What the README shows of a comparison is what the command prints."""

from __future__ import annotations

import re
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
    printed = capsys.readouterr().out.partition("\nCautions")[0]
    assert len(shown) > 8
    # every word; decibels may move a little when the listening gets better
    assert _words(" ".join(shown)) == _words(printed)
    for told, now in zip(_decibels(" ".join(shown)), _decibels(printed), strict=True):
        assert abs(told - now) <= 2


def _words(text: str) -> list[str]:
    return re.sub(r"\d+", "#", text).split()


def _decibels(text: str) -> list[int]:
    return [int(one) for one in re.findall(r"(\d+) dB \u00b1", " ".join(text.split()))]
