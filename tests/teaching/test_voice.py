"""The machine's own voice out of idle recordings of the book."""

from __future__ import annotations

import numpy as np
import pytest
import soundfile

import chatter.logbook as lb
from chatter.runin.book import add_to_book
from chatter.teaching.telling import listen_taught, taught
from chatter.teaching.voice import idle_for, voice_of

RATE = 24_000


def idle_file(path, tones, seed=0, seconds=6.0):
    rng = np.random.default_rng(seed)
    t = np.arange(int(seconds * RATE)) / RATE
    x = 0.02 * rng.standard_normal(t.size)
    for hz in tones:
        x += 0.03 * np.sin(2 * np.pi * hz * t)
    soundfile.write(path, x.astype(np.float32), RATE)
    return path


def add(book, mill, path, speed, day="2025-03-01", **more):
    row = {"kind": "idle", "file": str(path), "speed": f"{speed}", "date": day, **more}
    add_to_book(book, mill.uid, row)


def test_lines_of_one_step_are_known_since_their_first_day(book, mill, tmp_path):
    add(book, mill, idle_file(tmp_path / "a.wav", (722.0, 1300.0)), 300)
    later = idle_file(tmp_path / "b.wav", (722.0, 2100.0), seed=1)
    add(book, mill, later, 300, day="2025-04-01")
    (step,) = voice_of(book, mill).steps
    known = {round(line.frequency_hz): line for line in step.lines}
    assert {722, 1300, 2100} <= set(known)
    assert (known[722].since, known[722].recordings) == ("2025-03-01", 2)
    assert known[2100].since == "2025-04-01"
    assert known[722].turns is None, "one step does not tell whether it turns"
    assert book.count(lb.VoiceRow) == 2
    voice_of(book, mill)
    assert book.count(lb.VoiceRow) == 2, "heard once"


def test_two_steps_part_what_turns_from_what_stays(book, mill, tmp_path):
    add(book, mill, idle_file(tmp_path / "a.wav", (610.0, 1000.0)), 300)
    add(book, mill, idle_file(tmp_path / "b.wav", (915.0, 1000.0), seed=1), 450)
    lines = {round(one.frequency_hz): one.turns for one in voice_of(book, mill).steps[0].lines}
    assert lines[610] is True and lines[1000] is False


def test_levels_count_only_by_the_same_phone(book, mill, tmp_path):
    path = idle_file(tmp_path / "a.wav", (722.0,))
    add(book, mill, path, 300, phone="mine", place="stand")
    assert voice_of(book, mill, phone="mine", position="stand").steps[0].same_phone
    assert not voice_of(book, mill, phone="other", position="stand").steps[0].same_phone


def test_no_idle_recording_is_no_voice(book, mill, tmp_path):
    assert voice_of(book, mill) is None
    file = idle_file(tmp_path / "a.wav", (722.0,))
    lb.add_recording(book, file, kind="idle", machine=mill)
    assert voice_of(book, mill) is None, "its speed is not known"


def test_a_file_that_is_gone_costs_nothing_else(book, mill, tmp_path):
    add(book, mill, idle_file(tmp_path / "a.wav", (722.0,)), 300)
    add(book, mill, idle_file(tmp_path / "b.wav", (733.0,), seed=1), 450)
    gone = book.list(lb.RecordingRow)[0]
    lb.file_of(book, gone).unlink()
    assert [step.rev_min for step in voice_of(book, mill).steps] == [450.0]
    assert idle_for(book, mill, 300) is None
    assert idle_for(book, mill, 449).name == "b.wav"


@pytest.fixture
def ear():
    """Listens to nothing, and remembers under which jobs."""
    from dataclasses import dataclass, replace

    from book_made import findings

    from chatter.findings import Findings, Stretch
    from chatter.plain import to_plain

    @dataclass(frozen=True)
    class Heard:
        findings: Findings

    def make(idle_s):
        asked = []

        def listen(_sound, job):
            asked.append(job)
            rest = (Stretch(0.0, idle_s, "idle"),)
            return Heard(replace(findings(), stretches=rest, job=to_plain(job)))

        return listen, asked

    return make


def test_a_cut_without_idling_is_held_against_the_books(book, mill, tmp_path, ear):
    from book_made import job

    add(book, mill, idle_file(tmp_path / "a.wav", (722.0,)), 57)
    learned = taught(book, mill, job())
    listen, asked = ear(0.0)
    sound = tmp_path / "cut.wav"
    told = listen_taught(listen, sound, job(), learned).findings
    assert [one.take.idle_path is not None for one in asked] == [False, True]
    assert any("Held against the machine idling" in step for step in told.how)
    listen, asked = ear(5.0)
    told = listen_taught(listen, sound, job(), learned).findings
    assert len(asked) == 1, "its own idling is better: same phone, same day"
    assert not any("Held against the machine idling" in step for step in told.how)
