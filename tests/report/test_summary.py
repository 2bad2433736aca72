"""The terminal summary and the words it is made of."""

from __future__ import annotations

import io
from dataclasses import replace

import pytest

from chatter.report import words
from chatter.report.summary import print_summary


def _printed(found, width: int = 80, colour: bool = False, **how) -> str:
    from rich.console import Console

    out = io.StringIO()
    console = Console(
        file=out, width=width, highlight=False, force_terminal=colour, no_color=not colour
    )
    print_summary(found, console, **how)
    return out.getvalue()


def test_summary_fits_eighty_columns_without_colour(found):
    text = _printed(found)
    assert "\x1b" not in text
    assert max(len(line) for line in text.splitlines()) <= 80


def test_summary_says_verdict_confidence_and_first_step_on_top(found):
    flat = " ".join(_printed(found, 100).split())
    assert words.verdict_name(found.verdict).upper() in flat
    assert flat.index(words.verdict_name(found.verdict).upper()) < flat.index("Do this first")
    assert " ".join(words.first_step(found).split()) in flat
    if found.verdict != "cannot_tell":
        assert f"({found.confidence:.2f})" in flat
    assert ("Simulated recording" in flat) == found.simulated


def test_summary_names_every_pass_complaint_and_caution(made):
    found = made.findings(
        (made.one_pass(1, "cannot_tell", heard=False), made.one_pass(2, "chatter")), fit=False
    )
    flat = " ".join(_printed(found).split())
    assert found.passes[0].reason in flat
    assert "not heard" in flat and "899.4 Hz, 68 %" in flat
    assert "The recording is not fit to judge by" in flat
    for one in found.fitness.complaints:
        assert one.sentence in flat and one.advice in flat
    for one in found.cautions:
        assert one in flat


def test_markup_and_control_characters_in_a_name_stay_text(made):
    text = _printed(made.findings(name="[red]x[/red]\x1b[2J.wav"))
    assert "[red]x[/red]" in text and "\x1b" not in text


def test_many_passes_are_cut_short_and_said(made):
    text = _printed(made.many_passes(60))
    assert "20 more passes stand in the report." in text


@pytest.mark.parametrize(
    ("confidence", "said"),
    [
        (0.96, "almost certain: more than 19 in 20 (0.96)"),
        (0.91, "very likely: about 9 in 10 (0.91)"),
        (0.72, "likely: about 7 in 10 (0.72)"),
        (0.55, "more likely than not"),
        (0.42, "a weak hint: about 4 in 10 (0.42)"),
    ],
)
def test_confidence_in_words_and_number(confidence, said):
    assert words.confidence_words("chatter", confidence).startswith(said)


def test_cannot_tell_claims_no_confidence():
    assert not any(c.isdigit() for c in words.confidence_words("cannot_tell", 0.0))


@pytest.mark.parametrize(
    ("value", "digits", "said"),
    [
        (0.0, 3, "0"),
        (6.0, 3, "6"),
        (0.04, 3, "0.04"),
        (-1.25, 2, "−1.2"),
        (123456.7, 3, "123457"),
        (None, 3, "–"),
        (float("nan"), 3, "–"),
        (1e-9, 3, "0"),
    ],
)
def test_numbers_are_plain(value, digits, said):
    assert words.show_number(value, digits) == said


@pytest.mark.parametrize(
    ("seconds", "long", "said"),
    [
        (3.44, False, "3.4 s"),
        (127.3, True, "2:07.3"),
        (119.96, True, "2:00.0"),
        (3727, True, "1:02:07"),
    ],
)
def test_times(seconds, long, said):
    assert words.show_clock(seconds, long=long) == said


def test_first_step_without_suggestions(made):
    bare = replace(made.findings(fit=False), suggestions=())
    assert words.first_step(bare) == bare.fitness.complaints[0].advice
    good = replace(made.findings((made.one_pass(1, "normal"),)), suggestions=())
    assert words.first_step(good).startswith("Nothing needs changing")
    none = replace(made.findings(()), suggestions=())
    assert "at least ten turns" in words.first_step(none)


def test_spindle_words_tell_heard_from_stated(made):
    assert "1.3 % faster than stated" in words.spindle_words(made.one_pass())
    assert "not heard" in words.spindle_words(made.one_pass(heard=False))


def test_two_cautions_are_printed_and_all_when_asked(made):
    from chatter.job.build import build_job
    from chatter.trade.cautions import cautions

    job = build_job({"cut.speed": "57", "cutter.teeth": "48", "cut.material": "cast iron"})
    every = cautions(job, "listen")
    found = replace(made.findings(), cautions=every)
    few = " ".join(_printed(found).split())
    shown = [one for one in every if one in few]
    assert len(shown) == 2 < len(every) and "fine dust" in shown[1]
    assert f"({len(every) - 2} more in the report and with --cautions)" in few
    whole = " ".join(_printed(found, all_cautions=True).split())
    assert all(one in whole for one in every) and "more in the report" not in whole
