"""What was taught changes sureness and names, and nothing that was measured."""

from __future__ import annotations

from dataclasses import replace

from book_made import findings

from chatter import findings as f
from chatter.listening import judging
from chatter.teaching.applying import least, tuned
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
