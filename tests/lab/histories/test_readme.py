"""What the README shows of the run-in is what its commands print; the truth is what they find."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from chatter.cli import main
from chatter.lab.histories.command import main as histories

README = (Path(__file__).resolve().parents[3] / "README.md").read_text(encoding="utf-8")
SECTION = README.partition("## Run in a machine\n")[2].partition("\n## ")[0]
SHOWN = re.findall(r"^```text\n(.*?)^```$", SECTION, re.MULTILINE | re.DOTALL)


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    folder = tmp_path_factory.mktemp("shop") / "runin-demo"
    assert histories(["--make", str(folder)]) == 0
    return folder


def test_the_report_is_the_one_shown(demo, capsys):
    out = demo.parent / "report.html"
    assert main(["runin", "report", str(demo), "--no-cuts", "--report", str(out)]) == 0
    told = capsys.readouterr().out
    assert SHOWN[0] in told
    truth = json.loads((demo / "truth.json").read_text())
    worse = [line for line in told.splitlines() if re.match(r"\s+worse ", line)]
    assert len(worse) == 1 and truth["worsens"].split(":")[1] in worse[0]
    better = [line for line in told.splitlines() if re.match(r"\s+better ", line)]
    assert len(better) == 1 and truth["wears_in"].split(":")[1] in better[0]
    assert "Simulated recordings." in out.read_text()


def test_the_survey_is_the_one_shown(demo, capsys):
    assert main(["runin", "survey", str(demo)]) == 0
    assert SHOWN[1] in capsys.readouterr().out


def test_the_figures_have_their_place():
    assert SECTION.count("run-in figures -->") == 2
    assert len(SHOWN) >= 2
