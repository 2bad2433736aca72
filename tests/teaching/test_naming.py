"""The machine's own lines are named; chatter is judged by what remains beside them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import soundfile
from book_made import findings, job

from chatter import findings as f
from chatter.job.voice import KnownLine, MachineVoice, VoiceStep
from chatter.listening.front import taken_in
from chatter.teaching.naming import name_own_lines, to_turn_down, what_remains
from chatter.teaching.telling import Taught, listen_taught


def voice(*hz, level=25.0, same_phone=True):
    lines = tuple(KnownLine(x, level, None, "2025-03-01") for x in hz)
    return MachineVoice("mill", (VoiceStep(57.0, 0.95, True, lines, (4,), same_phone),))


def told(verdict="chatter", also=(), possible=None):
    made = findings(passes=1)
    one = replace(made.passes[0], verdict=verdict, also=also, possible=possible)
    return replace(made, passes=(one,), verdict=verdict)


def remaining(verdict="normal"):
    """What is heard of a copy without the line at 899 Hz."""
    made = told(verdict)
    line = f.Line(1200.0, 20.0, None, "unexplained", "", 0.5)
    one = replace(made.passes[0], lines=(line,), chatter=None, confidence=0.8)
    source = replace(made.source, name="quieted.wav", sha256="1" * 64)
    return replace(made, passes=(one,), source=source, summary="Normal.")


def test_nothing_known_changes_nothing():
    before = told()
    assert name_own_lines(before, None) is before


def test_a_known_line_is_named():
    after = name_own_lines(told(), voice(899.4))
    line = after.passes[0].lines[0]
    assert (line.name, line.in_idle) == ("machine", True)
    assert line.label == "this machine's own, known since 2025-03-01"
    assert any("known since 2025-03-01" in note for note in after.notes)
    assert "recording 4 of the logbook" in after.how[-1]
    assert name_own_lines(told(), voice(700.0)).passes == told().passes


def test_louder_than_ever_is_told_by_the_same_phone_only():
    louder = name_own_lines(told(), voice(899.4, level=20.0))
    assert any("louder than it ever was: 29 dB" in note for note in louder.notes)
    other = name_own_lines(told(), voice(899.4, level=20.0, same_phone=False))
    assert not any("louder" in note for note in other.notes)


def test_a_line_that_outgrew_the_machine_is_not_called_its_own():
    after = name_own_lines(told(), voice(899.4, level=10.0))
    assert after.passes[0].lines[0].name == "chatter"
    assert to_turn_down(told(), voice(899.4, level=10.0)) == ()


def test_lines_are_turned_down_only_where_chatter_was_spoken_of():
    known = voice(899.4)
    assert to_turn_down(told(), known) == (899.4,)
    assert to_turn_down(told("normal", possible="chatter"), known) == (899.4,)
    assert to_turn_down(told("side_rubbing", also=("chatter",)), known) == (899.4,)
    assert to_turn_down(told("normal"), known) == ()
    assert to_turn_down(told(), voice(700.0)) == ()
    assert to_turn_down(told(), None) == ()


def test_the_answer_is_that_of_what_remains():
    after = what_remains(told(), remaining(), (899.4,))
    assert after.verdict == "normal" and after.summary == "Normal."
    assert after.source == told().source and after.fitness == told().fitness
    assert [round(line.frequency_hz) for line in after.passes[0].lines] == [899, 1200]
    assert "899 Hz turned down" in after.how[-1]
    assert "alone would have passed for chatter" in after.notes[-1]


def test_chatter_that_remains_stays_chatter():
    after = what_remains(told(), remaining("chatter"), (899.4,))
    assert after.verdict == "chatter" and after.notes == ()


def test_the_copy_is_listened_to_under_the_same_job(tmp_path):
    @dataclass(frozen=True)
    class Heard:
        findings: f.Findings

    sound = tmp_path / "cut.wav"
    t = np.arange(48_000) / 24_000
    soundfile.write(sound, 0.2 * np.sin(2 * np.pi * 899.4 * t), 24_000)
    asked = []

    def listen(heard, under):
        asked.append((Path(heard.source.path), under))
        if heard is taken:
            return Heard(told())
        level = np.std(heard.spool.read(0, heard.spool.n))
        assert level < 0.01, "the line is gone from the copy"
        return Heard(remaining())

    with taken_in(sound) as taken:
        after = listen_taught(listen, taken, job(), Taught(voice=voice(899.4))).findings
        assert after.verdict == "normal"
        assert [under for _, under in asked] == [job(), job()] and not asked[1][0].exists()
        assert after.passes[0].lines[0].label.startswith("this machine's own")
        listen_taught(listen, taken, job(), Taught(voice=voice(700.0)))
        assert len(asked) == 3, "nothing of the machine is heard: no copy is made"
