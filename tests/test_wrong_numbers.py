"""Demo recordings with wrong and missing numbers, as the command hears them."""

from __future__ import annotations

import json
import re

import pytest

from chatter.cli import main
from chatter.demo import FOLDER


def heard(capsys, tmp_path, name, *options):
    """Findings and what was printed."""
    out = tmp_path / "findings.json"
    file = next(one for one in FOLDER.glob(f"{name}.*") if one.suffix in (".m4a", ".mp4"))
    assert main(["listen", str(file), "--no-report", "--json", str(out), *options]) == 0
    return json.loads(out.read_text(encoding="utf-8")), capsys.readouterr().out


def card(name):
    """The recording's own job card."""
    return ("--job", str(FOLDER / f"{name}.toml"))


@pytest.mark.parametrize("teeth", ["47", "49", "24", "40", "52"])
def test_a_miscounted_saw_gets_no_confident_verdict(capsys, tmp_path, teeth):
    name = "02-slot-plain-saw"
    found, _ = heard(capsys, tmp_path, name, *card(name), "--teeth", teeth)
    assert found["confidence"] < 0.8 and found["numbers"]["held"]


def test_another_speed_is_named_with_the_command_that_mends_it(capsys, tmp_path):
    name = "03-slot-staggered"
    found, said = heard(capsys, tmp_path, name, *card(name), "--rpm", "365")
    assert found["verdict"] == "cannot_tell" and found["numbers"]["rev_min"] == 57
    assert "The sound fits 57 rev/min, not 365" in " ".join(said.split())
    command = re.search(r"Listen again with\n  (chatter listen .*)", said)[1]
    assert "--rpm 57" in command and "--rpm 365" not in command and "--no-report" in command
    again = [word for word in command.split()[1:] if word != "--no-report"]
    assert main([*again, "--no-report"]) == 0
    assert "Listen again with" not in capsys.readouterr().out


def test_without_a_speed_it_is_found_among_the_machines_own(capsys, tmp_path):
    listed = ("--speeds", "42, 57, 78, 106, 144, 197, 268, 365", "--teeth", "48")
    found, said = heard(capsys, tmp_path, "04-saw-chatter", *listed)
    assert found["numbers"]["speed"] == "found" and found["job"]["cut"]["speed_rev_min"] == 106
    assert found["verdict"] == "chatter"  # and no surer than the number that it rests on
    assert found["confidence"] <= found["numbers"]["speeds"][0]["probability"]
    assert "106 rev/min found by the sound" in said


def test_without_teeth_they_are_counted(capsys, tmp_path):
    found, said = heard(capsys, tmp_path, "04-saw-chatter", "--rpm", "106")
    assert found["numbers"]["teeth"] == "found" and found["job"]["cutter"]["teeth"] == 48
    assert "48 teeth found by the sound" in said


def test_without_any_number_it_is_said_what_to_read_off(capsys, tmp_path):
    listed = ("--speeds", "42, 57, 78, 106, 144, 197, 268, 365")
    found, said = heard(capsys, tmp_path, "02-slot-plain-saw", *listed)
    assert found["verdict"] == "cannot_tell"
    told = " ".join(said.split())
    assert "spindle speed off the machine (--rpm)" in told
    assert "number of teeth off the cutter (--teeth)" in told
