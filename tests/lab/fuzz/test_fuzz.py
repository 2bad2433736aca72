"""Damaged files, in small: 300 with a fixed seed get an answer or one sentence each."""

from __future__ import annotations

import random

import pytest

from chatter.lab.fuzz.damage import WAYS
from chatter.lab.fuzz.run import FuzzOutcome, Tally, fuzz
from chatter.lab.fuzz.seeds import make_seeds
from chatter.lab.fuzz.table import tally_page
from chatter.lab.fuzz.worker import WORKS


@pytest.fixture(scope="module")
def tally():
    return fuzz(300, seed=20)


def test_three_hundred_damaged_files_get_an_answer_or_a_sentence(tally):
    assert not tally.wrong, tally_page(tally, 20)
    ends = tally.ends()
    assert ends["answer"] + ends["sentence"] == 300
    assert ends["answer"] > 60 and ends["sentence"] > 30, "the damage is neither nothing nor all"


def test_every_work_way_and_container_had_its_turn(tally):
    assert {one.work for one in tally.outcomes} == set(WORKS)
    assert {one.way for one in tally.outcomes} == set(WAYS)
    assert len({one.seed_file for one in tally.outcomes}) >= 17


def test_memory_and_time_stay_within_bounds(tally):
    assert max(one.peak_mb for one in tally.outcomes) < 450


def test_the_same_seed_gives_the_same_damage(tmp_path):
    contents = tuple(path.read_bytes() for path in make_seeds(tmp_path)[:4])
    for name, way in WAYS.items():
        one, again = (way(contents[0], random.Random(3), contents) for _ in range(2))
        assert one == again, name
        others = {way(contents[0], random.Random(seed), contents) for seed in range(8)}
        assert len(others) > 1, f"{name} does always the same"
        assert any(other != contents[0] for other in others), name


def test_faults_crashes_hangs_and_printed_words_are_seen():
    """A counting that cannot fail would be no check."""
    ends = [
        FuzzOutcome(i, "a.wav", "bits", "tap", end) for i, end in enumerate(("answer", "crash"))
    ]
    loud = FuzzOutcome(2, "a.mp3", "bits", "tap", "sentence", words=40)
    sure = FuzzOutcome(3, "a.mp3", "bits", "listen", "answer", verdict="normal", confidence=0.9)
    told = Tally([*ends, loud, sure])
    assert [one.number for one in told.wrong] == [1, 2]
    assert [one.number for one in told.confident] == [3]
    page = tally_page(told, 1)
    assert "number 1, a.wav, bits, tap: crash" in page
    assert "number 3, a.mp3, bits, listen: normal 0.90" in page
    assert "| all | 2 | 1 | 0 | 1 | 0 | 1 | 1 |" in page


HARM = """
import os, time
from chatter.lab.fuzz import worker
def crash(path, whole): os.abort()
def sleep(path, whole): time.sleep(60)
def talk(path, whole): os.write(2, b"Note: illegal header"); return {}
def fault(path, whole): raise ZeroDivisionError("division by zero")
worker.WORKS.update(crash=crash, sleep=sleep, talk=talk, fault=fault)
worker.main()
"""


def test_the_watch_sees_what_a_worker_does(monkeypatch, tmp_path):
    from chatter.lab.fuzz import run

    popen = run.subprocess.Popen
    monkeypatch.setattr(
        run.subprocess, "Popen", lambda command, **how: popen([command[0], "-c", HARM], **how)
    )
    (tmp_path / "x").write_bytes(b"x")
    request = {"path": str(tmp_path / "x"), "whole": str(tmp_path / "x")}
    worker = run._Worker()
    talked = worker.ask({"work": "talk", **request})
    assert talked["end"] == "answer" and talked["words"] == 20
    assert worker.ask({"work": "fault", **request})["said"] == "ZeroDivisionError: division by zero"
    assert worker.ask({"work": "crash", **request})["end"] == "crash"
    monkeypatch.setattr(run, "PATIENCE_S", 5.0)
    assert run._Worker().ask({"work": "sleep", **request})["end"] == "hang"
