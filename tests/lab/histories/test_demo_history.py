"""The invented mill's history, as the manual has it made: the truth is what the report finds."""

from __future__ import annotations

import json
import re

from chatter.cli import main
from chatter.lab.histories.command import main as histories


def test_the_report_finds_what_is_true(tmp_path, capsys):
    demo, out = tmp_path / "runin-demo", tmp_path / "report.html"
    assert histories(["--make", str(demo)]) == 0
    assert main(["runin", "report", str(demo), "--no-cuts", "--report", str(out)]) == 0
    told = capsys.readouterr().out
    truth = json.loads((demo / "truth.json").read_text())
    worse = [line for line in told.splitlines() if re.match(r"\s+worse ", line)]
    assert len(worse) == 1 and truth["worsens"].split(":")[1] in worse[0]
    better = [line for line in told.splitlines() if re.match(r"\s+better ", line)]
    assert len(better) == 1 and truth["wears_in"].split(":")[1] in better[0]
    assert "Simulated recordings." in out.read_text()
