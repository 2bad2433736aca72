"""What is possible, uneven or undecided about the speed is told as such, and is no verdict."""

from __future__ import annotations

from dataclasses import replace

from chatter.findings import Runout, SpeedCandidate
from chatter.report import words
from chatter.report.glance import glance
from chatter.report.html import listen_page


def test_what_is_possible_stands_beside_the_verdict(made):
    one = replace(made.one_pass(1, "normal"), possible="chatter")
    found = made.findings((one,))
    page = listen_page(found, made.exhibits(found, columns=40, rows=20))
    assert "<h1>Normal cutting</h1>" in page and "possible: chatter" in page
    assert ("Possible", "chatter") in glance(found).heard
    assert words.possible_words(one) == "possible chatter"
    held = made.findings((one, made.one_pass(2, "chatter", start_s=15, end_s=22)))
    assert words.possible(held) == ()  # another pass has it for certain


def test_unevenness_is_a_number_with_its_interval(made):
    plain = made.one_pass(1, "normal")
    assert words.runout_words(plain) is None
    one = replace(plain, runout=Runout(0.35, 0.28, 0.42))
    told = dict(glance(made.findings((one,))).heard)
    assert told["Strokes differ by"] == "35 % of the mean stroke (28 to 42 %)"


def test_speeds_that_the_sound_allows_are_told_only_when_it_settles_none(made):
    tried = (SpeedCandidate(57.0, 0.5), SpeedCandidate(85.0, 0.3), SpeedCandidate(38.0, 0.1))
    one = made.one_pass(1, "cannot_tell", heard=False)
    one = replace(one, spindle=replace(one.spindle, candidates=tried))
    assert "57 rev/min (0.50), 85 rev/min (0.30)" in words.candidates_words(one)
    heard = replace(one, spindle=replace(one.spindle, heard=True))
    assert words.candidates_words(heard) is None
    found = made.findings((one,))
    assert words.candidates_words(one) in listen_page(
        found, made.exhibits(found, columns=40, rows=20)
    )
