"""Stamp: answers of two codes, or of two models, can be told apart."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import chatter
from chatter.lab.evaluate.model_file import MODEL
from chatter.listening import stamp
from chatter.listening.stamp import made_by
from chatter.listening.trees import use_model

PARTS = re.compile(r"chatter \S+, code ([0-9a-f]{8}|as built), model ([0-9a-f]{8})")


def stamp_of(house: Path) -> re.Match:
    """What the copy of the package at ``house`` stamps its findings with."""
    done = subprocess.run(
        [sys.executable, "-c", "from chatter.listening.stamp import made_by; print(made_by())"],
        cwd=house,
        env=dict(os.environ, PYTHONPATH=str(house), PYTHONDONTWRITEBYTECODE="1"),
        capture_output=True,
        text=True,
        check=True,
    )
    return PARTS.fullmatch(done.stdout.strip())


@pytest.fixture(scope="module")
def house(tmp_path_factory) -> Path:
    here = tmp_path_factory.mktemp("house")
    package = Path(chatter.__file__).parent
    unread = shutil.ignore_patterns("lab", "demo_recordings", "manual", "page", "__pycache__")
    shutil.copytree(package, here / "chatter", ignore=unread)
    return here


@pytest.mark.parametrize(
    ("file", "code_moves", "model_moves"),
    [
        ("listening/judging.py", True, False),
        ("listening/hypotheses.toml", True, False),
        ("sound/spectrum.py", True, False),
        ("listening/model.json", False, True),
        ("report/words.py", False, False),
    ],
)
def test_the_stamp_moves_with_what_decides(house, file, code_moves, model_moves):
    before = PARTS.fullmatch(made_by())
    place = house / "chatter" / file
    kept = place.read_bytes()
    try:
        place.write_bytes(kept + b"\n")
        now = stamp_of(house)
    finally:
        place.write_bytes(kept)
    assert (now[1] != before[1], now[2] != before[2]) == (code_moves, model_moves)


def test_the_ready_made_app_holds_no_sources(monkeypatch, tmp_path):
    """There the rooms are compiled, and a room without data is no folder at all."""
    here = PARTS.fullmatch(made_by())
    monkeypatch.setattr(stamp, "files", lambda _: tmp_path)
    monkeypatch.setattr(stamp, "_code", stamp._code.__wrapped__)  # nothing kept from before
    built = PARTS.fullmatch(made_by())
    assert built[1] == "as built" and built[2] == here[2]


def test_another_model_in_use_is_another_stamp(tmp_path):
    shipped = PARTS.fullmatch(made_by())
    other = tmp_path / "model.json"
    other.write_bytes(MODEL.read_bytes() + b"\n")
    try:
        use_model(other)
        now = PARTS.fullmatch(made_by())
    finally:
        use_model(None)
    assert now[1] == shipped[1] and now[2] != shipped[2]
    assert PARTS.fullmatch(made_by())[2] == shipped[2]
