"""A book in a folder of its own, with cuts that nobody heard."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import pytest

from chatter import findings as f
from chatter.logbook import add_label, add_machine, open_book, store_listen

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "logbook"))
from book_made import MILL, findings, job, sound_file


@pytest.fixture(autouse=True)
def limits(monkeypatch):
    """From when chatter is named and called possible, whatever the model of the day says."""
    from chatter.listening import judging

    monkeypatch.setattr(judging, "chatter_limits", lambda: (0.5, 0.3))


@pytest.fixture
def book(tmp_path):
    with open_book(tmp_path / "shop.db") as opened:
        yield opened


@pytest.fixture
def mill(book):
    return add_machine(book, MILL)


@pytest.fixture
def cut(book, mill, tmp_path):
    """Store one cut of one pass: ``cut(day, "chatter", 0.9)`` is its row."""
    made = []

    def store(day: int, verdict: str, confidence: float, *, label: str = "", **more):
        told = findings(name=f"cut{len(made)}.wav", passes=1)
        p = {**dict.fromkeys(f.CAUSES, 0.05), verdict: confidence}
        answered = verdict if confidence >= 0.65 else "cannot_tell"
        one = replace(
            told.passes[0],
            verdict=answered,
            also=(),
            confidence=confidence if answered != "cannot_tell" else 0.0,
            probabilities=p,
        )
        told = replace(told, passes=(one,), verdict=answered, confidence=one.confidence)
        file = sound_file(tmp_path / f"cut{len(made)}.wav", seed=len(made) + 1)
        at = f"2025-03-{day:02d}T12:{len(made) % 60:02d}+00:00"
        logged = store_listen(book, file, job(), told, machine=mill, recorded_at=at)
        made.append(logged)
        if label:
            add_label(book, logged.recording, label, pass_index=1, **more)
        return logged.recording

    return store
