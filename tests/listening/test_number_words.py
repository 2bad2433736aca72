"""What is said where numbers do not fit, and that no verdict rests on them."""

from __future__ import annotations

from dataclasses import replace

import pytest

from chatter.findings import CAUSES, CountCandidate, Numbers, SpeedCandidate
from chatter.job.build import build_job
from chatter.listening.number_words import (
    doubt_sentence,
    guess_sentence,
    heard_sentences,
    opinion_of,
)
from chatter.listening.numbers import GUESSED, HELD

JOB = build_job({"cut.speed": "57", "cutter.teeth": "48", "machine.speeds": "57, 106"})


def opinion(numbers, wrong=None, **p):
    probabilities = {**dict.fromkeys(CAUSES, 0.02), **p}
    return opinion_of(
        probabilities, revolutions=40.0, turn_s=1.0, wrong=wrong, unfit=None, numbers=numbers
    )


@pytest.mark.parametrize(
    ("numbers", "said"),
    [
        (Numbers(rev_min=106.0), "The sound fits 106 rev/min, not 57"),
        (Numbers(count=47), "The sound fits 47 teeth, not 48"),
        (Numbers(rev_min=106.0, count=24), "106 rev/min would fit, or 24 teeth"),
    ],
)
def test_what_would_fit_is_named(numbers, said):
    assert said in doubt_sentence(JOB, numbers)


def test_numbers_that_fit_are_not_spoken_of():
    assert doubt_sentence(JOB, Numbers()) is None and guess_sentence(Numbers()) is None
    assert heard_sentences(JOB, Numbers()) == ()


def test_a_verdict_is_held_back_where_others_fit_better():
    assert opinion(Numbers(), normal=0.95).confidence == 0.95
    assert opinion(Numbers(held=True), normal=0.95).confidence == HELD < 0.8
    found = Numbers("found", speeds=(SpeedCandidate(57.0, 0.9),))
    assert opinion(found, normal=0.95).confidence == 0.9  # no surer than what it rests on
    assert opinion(Numbers(held=True), machine_only=0.95).confidence == HELD


def test_on_a_guess_only_the_machine_alone_is_named():
    guessed = Numbers(speed="guessed")
    wrong = guess_sentence(guessed)
    assert opinion(guessed, wrong, chatter=0.9).verdict == "cannot_tell"
    assert opinion(guessed, wrong, chatter=0.9).possible == "chatter"
    alone = opinion(guessed, wrong, machine_only=0.95)
    assert (alone.verdict, alone.confidence, alone.reason) == ("machine_only", GUESSED, None)


def test_which_number_to_read_off():
    speeds = (SpeedCandidate(57.0, 0.5), SpeedCandidate(106.0, 0.4))
    said = guess_sentence(Numbers("guessed", "guessed", speeds=speeds))
    assert "spindle speed off the machine (--rpm); likeliest by the sound: 57 (0.50)" in said
    assert "number of teeth off the cutter (--teeth)." in said


def test_a_speed_that_is_not_the_machines_may_be_a_miscount():
    said = doubt_sentence(JOB, Numbers(rev_min=55.8, count=47))
    assert "55.8 rev/min would fit" not in said  # whole turns are exact enough on a dial
    assert "(56 rev/min would fit) or the tooth count (about 47 would fit)" in said


def test_what_was_found_is_said():
    counts = (CountCandidate(48, 0.95), CountCandidate(47, 0.03))
    assert "by the sound it is 48" in heard_sentences(JOB, Numbers(teeth="found", counts=counts))[0]
    by_ear = heard_sentences(JOB, Numbers(counts=counts))
    assert by_ear == ("Teeth counted by ear, at 57 rev/min: 48 (0.95), 47 (0.03).",)
    unsure = replace(counts[0], probability=0.4)
    assert heard_sentences(JOB, Numbers(counts=(unsure,))) == ()
    speeds = (SpeedCandidate(57.0, 0.97),)
    assert "The speed was not stated" in heard_sentences(JOB, Numbers("found", speeds=speeds))[0]
