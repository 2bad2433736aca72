"""Evidence listed for a verdict does not contradict what the verdict means."""

from __future__ import annotations

import itertools
import tomllib
from dataclasses import replace
from importlib.resources import files

import pytest

from chatter.findings import CAUSES, Evidence
from chatter.report.definition import contradicts, speaks
from chatter.report.drawing import Drawing
from chatter.report.html import EVIDENCE_OPEN, pass_view

ROWS = tomllib.loads(files("chatter.listening").joinpath("evidence.toml").read_text("utf-8"))
#: Every sentence that any piece of evidence can say.
SENTENCES = sorted(
    {
        row[key].format(v=7.0, pct=70.0, hz=700.0)
        for row in ROWS["piece"]
        for key in ("says", "says_below")
        if key in row
    }
)


def _piece(sentence: str, cause: str, weight: float) -> Evidence:
    return Evidence("x", "A title", 7.0, "dB", "0 by chance", cause, weight, sentence)


@pytest.mark.parametrize(
    ("cause", "sentence", "wrong"),
    [
        ("side_rubbing", "The noise swells at every tooth, 9 dB above chance.", True),
        ("side_rubbing", "Above 1 kHz the noise swells with each tooth to 4 dB.", True),
        ("side_rubbing", "The noise does not swell with the teeth (1 dB, chance gives 5).", False),
        ("side_rubbing", "The hiss above 1 kHz swells once a turn (depth 4 dB).", False),
        ("chatter", "70 % of the swelling repeats turn after turn.", True),
        ("chatter", "The tone sits on a multiple of the mains frequency.", True),
        ("chatter", "The tone sits between the multiples of tooth passing.", False),
        ("uneven_teeth", "Above 1 kHz the turn shapes the noise 8 dB more than the teeth.", True),
        ("machine_only", "The tone is 9 dB louder than while idling: the cut makes it.", True),
        ("machine_only", "The tone is there while idling too (only 2 dB louder).", False),
    ],
)
def test_what_contradicts(cause, sentence, wrong):
    assert contradicts(cause, sentence) == wrong
    said = speaks(_piece(sentence, cause, 1.0))
    assert said.startswith("no sign of" if wrong else "for ")
    assert speaks(_piece(sentence, cause, -1.0)).startswith("against ")


def test_no_sign_stands_open_for_a_verdict_that_it_contradicts(made):
    """Over every sentence of the evidence, however heavily it was counted."""
    seen = 0
    for cause in CAUSES:
        odd = [s for s in SENTENCES if contradicts(cause, s)]
        good = [s for s in SENTENCES if not contradicts(cause, s)][: EVIDENCE_OPEN + 2]
        pieces = [_piece(s, cause, 4.0) for s in odd] + [_piece(s, cause, 0.5) for s in good]
        one = replace(made.one_pass(1, cause), evidence=tuple(pieces))
        view = pass_view(one, None, False, Drawing())
        assert len(view.evidence) == EVIDENCE_OPEN
        assert not [e for e in view.evidence if contradicts(cause, e.sentence)]
        assert all(speaks(e).startswith("for ") for e in view.evidence)
        assert {e.sentence for e in view.more_evidence} >= set(odd)  # told, but behind
        seen += len(odd)
    assert seen > 0


def test_the_rules_are_still_about_sentences_that_are_said():
    """When the evidence is worded anew, a rule that meets no sentence has gone blind."""
    pairs = itertools.product(("side_rubbing", "chatter"), SENTENCES)
    blind = {"side_rubbing", "chatter"} - {cause for cause, s in pairs if contradicts(cause, s)}
    assert not blind
