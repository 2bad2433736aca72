"""The README's section on folders, done as a new user would."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

from batch_made import files

from chatter.batch import gather
from chatter.cli import main

ROOT = Path(__file__).resolve().parent.parent.parent
SECTION = (
    (ROOT / "README.md").read_text(encoding="utf-8").partition("## A folder of recordings\n")[2]
).partition("\n## ")[0]
SHOWN = re.findall(r"```text\n(.*?)```", SECTION, re.DOTALL)


def test_the_demo_folder_gives_the_table_that_is_shown(tmp_path, capsys):
    """But for how sure the model of the day is, and what it leaves open."""
    (tmp_path / "recordings_demo").symlink_to(ROOT / "recordings_demo")
    line = SECTION.partition("```\n")[2].partition("\n")[0]
    assert main(shlex.split(line.removeprefix(".venv/bin/chatter "))) == 0
    told = capsys.readouterr().out.splitlines()
    shown = SHOWN[0].splitlines()
    assert told[0].split() == shown[0].split()
    named = [row.split()[0] for row in shown if row[:2].isdecimal()]
    assert [row.split()[0] for row in told if row[:2].isdecimal()] == named and len(named) == 8
    assert [row for row in shown if row.startswith("8 of")] == [
        row for row in told if row.startswith("8 of")
    ]
    assert len(list(Path("reports/batch-recordings_demo/reports").iterdir())) == 8


def test_the_shown_table_is_read(tmp_path):
    files(tmp_path / "recordings" / "monday", 1)
    (tmp_path / "recordings/mill.toml").write_text('name = "a mill"\n')
    (tmp_path / "cuts.csv").write_text(SHOWN[1])
    first, second = gather("recordings", table="cuts.csv")
    assert (first.name, first.job.machine.name) == ("monday/slot-1.m4a", "a mill")
    assert second.job.cut.speed_rev_min == 38 and second.stated == {"hours": 12.6}
