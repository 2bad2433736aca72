"""The plan on the terminal."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from chatter.cli.plan import plan_command
from chatter.errors import JobError

app = typer.Typer()
app.command()(plan_command)

CARD = """
[cutter]
teeth = 48
form = "slitting_saw"
diameter = "6 in"
width = "1/8 in"
[cut]
material = "cast iron"
depth = "1/2 in"
length = "10 in"
[machine]
speeds = [25, 38, 57]
feeds = "0.75, 1.125, 1.75, 2.5 in/min"
"""


def test_a_setting_without_a_name_of_its_own_is_there_to_compare():
    stated = ["--material", "cast iron", "--teeth", "48", "--form", "saw", "--diameter", "6 in"]
    done = CliRunner().invoke(app, [*stated, "--depth", "1/2 in", "--speeds", "38 57 85"])
    heads = done.output.split("Speed, rev/min")[0]
    assert done.exit_code == 0 and "first" in heads and "to compare" in heads


@pytest.fixture
def card(tmp_path: Path) -> str:
    (tmp_path / "slot.toml").write_text(CARD)
    return str(tmp_path / "slot.toml")


def run(*words: str) -> str:
    result = CliRunner().invoke(app, list(words))
    if result.exception is not None:
        raise result.exception
    return result.output


def test_a_card_without_a_speed_can_be_planned(card: str) -> None:
    said = run(card, "--units", "inch")
    assert "50 ft/min to 100 ft/min" in said
    assert "31.8 rev/min to 63.7" in said
    assert "first" in said
    assert "Never reach near a turning cutter" in said
    assert "Owner's manual of a bench-top milling machine" in said


def test_earlier_cuts_warn_and_reassure(card: str) -> None:
    said = " ".join(run(card, "--units", "metric", "--observed", "12 mm at 38 chattered").split())
    assert "12 mm chattered at this speed before: take less depth or another speed." in said
    said = " ".join(run(card, "--units", "metric", "--observed", "14 mm at 57 quiet").split())
    assert "14 mm was quiet at 57 rev/min before: 12.7 mm should be too." in said
    clash = ("--observed", "10 mm at 38 chattered", "--observed", "14 mm at 38 quiet")
    assert "Two of the stated cuts do not fit together" in " ".join(run(card, *clash).split())


def test_options_win_over_the_card(card: str) -> None:
    assert "91.4 m/min" in run(card, "--material", "brass", "--units", "metric")


def test_units_are_those_of_the_card_unless_asked_for(card: str, tmp_path: Path) -> None:
    assert "100 ft/min" in run(card) and "30.5 m/min" in run(card, "--units", "metric")
    (tmp_path / "metric.toml").write_text(CARD.replace("in/min", "mm/min").replace("0.75", "20"))
    assert "30.5 m/min" in run(str(tmp_path / "metric.toml"))


def test_no_number_is_cut_off_on_a_narrow_terminal(card: str) -> None:
    said = run(card, "--rpm", "57", "--motor-power", "1 hp")
    assert "…" not in said
    assert max(len(line) for line in said.splitlines()) <= 80


def test_notes_under_the_table_belong_to_a_setting(card: str) -> None:
    said = run(card, "--rpm", "100", "--feed", "20 in/min", "--units", "inch")
    assert "[1]" in said
    notes = next(line for line in said.splitlines() if line.strip().startswith("Notes"))
    assert "1" in notes


def test_mistakes_are_one_sentence(card: str) -> None:
    for words, says in (
        (["--depth", "3"], "no unit"),
        (["--units", "furlongs"], "choice of units"),
        (["--teeth", "0"], "number of teeth 0"),
    ):
        with pytest.raises(JobError, match=says):
            run(card, *words)


def test_planning_needs_no_heavy_package() -> None:
    code = "import chatter.cli.plan, chatter.planning.front, sys; print(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = done.stdout.split()
    assert "chatter.planning.front" in loaded
    assert not {"numpy", "scipy", "matplotlib"} & set(loaded)
