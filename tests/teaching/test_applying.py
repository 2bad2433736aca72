"""What was taught changes sureness and names, and nothing that was measured."""

from __future__ import annotations

from dataclasses import replace

from book_made import findings

from chatter import findings as f
from chatter.job.voice import KnownLine, MachineVoice, VoiceStep, own_line
from chatter.listening import judging
from chatter.teaching.applying import least, name_own_lines, tuned
from chatter.teaching.tuning import Tuning


def found(p=0.9):
    told = findings(passes=1)
    chances = {**dict.fromkeys(f.CAUSES, 0.05), "chatter": p}
    one = replace(told.passes[0], also=(), confidence=p, probabilities=chances)
    return replace(told, passes=(one,), confidence=p)


def lessons(offset):
    move = {**dict.fromkeys(f.CAUSES, 0.0), "chatter": offset}
    return Tuning("mill", "offset", move, dict.fromkeys(f.CAUSES, 1.0), 23, 6, 23, 20)


def test_it_tells_as_the_listening_does():
    assert least("normal") == judging.TELL and least("chatter") == 0.5


def test_sureness_moves_and_what_was_measured_stays():
    before = found()
    after = tuned(before, lessons(-1.0))
    assert after.verdict == "chatter" and least("chatter") < after.confidence < 0.9
    one, two = before.passes[0], after.passes[0]
    assert two.untuned == one.probabilities and two.probabilities != one.probabilities
    kept = replace(two, probabilities=one.probabilities, untuned={}, confidence=one.confidence)
    assert kept == one
    assert "tuned by 23 labelled cuts of mill" in after.notes[-1]
    assert "20 of 23, 68 to 95 %" in after.notes[-1]


def test_too_little_is_taken_back_and_never_turned_around():
    after = tuned(found(), lessons(-5.0))
    assert after.passes[0].possible == "chatter"
    assert after.verdict == "cannot_tell" and after.confidence == 0.0
    assert "labelled cuts" in after.passes[0].reason and after.passes[0].chatter is not None
    assert after.suggestions == () and after.summary.startswith("Can't tell.")
    silent = replace(found(), passes=(replace(found().passes[0], verdict="cannot_tell"),))
    assert tuned(silent, lessons(4.0)).passes[0].verdict == "cannot_tell"


def test_nothing_learned_changes_nothing():
    before = found()
    assert tuned(before, None) is before
    assert tuned(before, Tuning("mill", "none", why="few")) is before
    assert name_own_lines(before, None) is before


def voice(*hz, turns=None, same_phone=True, level=20.0):
    lines = tuple(KnownLine(x, level, turns, "2025-03-01") for x in hz)
    return MachineVoice("mill", (VoiceStep(57.0, 0.95, True, lines, (4,), same_phone),))


def test_a_known_line_is_named_and_is_no_chatter():
    told = found()
    alone = replace(told.passes[0].chatter, family_hz=())
    told = replace(told, passes=(replace(told.passes[0], chatter=alone),))
    after = name_own_lines(told, voice(899.4))
    assert after.verdict == "cannot_tell" and "899 Hz, is the machine's own" in after.summary
    line = after.passes[0].lines[0]
    assert (line.name, line.in_idle) == ("machine", True)
    assert line.label == "this machine's own, known since 2025-03-01"
    assert any("known since 2025-03-01" in note for note in after.notes)
    assert "recording 4 of the logbook" in after.how[-1]


def test_a_family_beside_it_is_no_machine_alone():
    after = name_own_lines(found(), voice(899.4))
    assert after.verdict == "chatter" and after.passes[0].chatter is not None


def test_a_line_elsewhere_changes_no_verdict():
    after = name_own_lines(found(), voice(700.0))
    assert after.verdict == "chatter" and after.passes == found().passes


def test_louder_than_ever_is_told_by_the_same_phone_only():
    quiet = name_own_lines(found(), voice(899.4, level=15.0))
    assert any("louder than it ever was: 29 dB" in note for note in quiet.notes)
    other = name_own_lines(found(), voice(899.4, level=15.0, same_phone=False))
    assert not any("louder" in note for note in other.notes)


def test_where_lines_lie_when_the_spindle_slows():
    step = VoiceStep(57.0, 1.0, True, (KnownLine(500.0, 20.0, None, "2025-03-01"),))
    known = MachineVoice("mill", (step,))
    expected = known.lines_at(57.0, 0.97)
    assert [hz for hz, _ in expected] == [485.0, 500.0], "by its order, or by its frequency"
    assert own_line(485.6, expected) is not None and own_line(492.0, expected) is None
    assert known.lines_at(90.0, 1.5) == (), "of another step nothing is known"
    turning = MachineVoice("mill", (replace(step, lines=(replace(step.lines[0], turns=True),)),))
    assert [hz for hz, _ in turning.lines_at(90.0, 1.5)] == [750.0]
