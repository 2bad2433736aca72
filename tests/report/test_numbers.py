"""Numbers that do not fit, in the words of report, terminal, batch table and JSON."""

from __future__ import annotations

from dataclasses import replace

from chatter.batch.row import ledger_row
from chatter.findings import CountCandidate, Numbers, SpeedCandidate
from chatter.findings_json import read_findings
from chatter.plain import to_json
from chatter.report.words import counted_words, fitting_words, source_of

WRONG = Numbers(
    rev_min=106.0,
    count=47,
    held=True,
    speeds=(SpeedCandidate(106.0, 0.97), SpeedCandidate(57.0, 0.02)),
    counts=(CountCandidate(47, 0.9), CountCandidate(48, 0.06)),
)


def test_what_fits_is_told_everywhere(made):
    found = replace(made.findings(), numbers=WRONG)
    assert fitting_words(found) == ("106 rev/min", "47 teeth")
    assert ledger_row(found, "a.m4a", report="", seconds=1.0).fits == "106 rev/min or 47 teeth"
    assert counted_words(found) == "47 (0.90), 48 (0.06)"
    assert read_findings(to_json(found)).numbers == WRONG


def test_nothing_is_told_where_the_numbers_fit(made):
    for numbers in (None, Numbers()):
        found = replace(made.findings(), numbers=numbers)
        assert fitting_words(found) == () and counted_words(found) == ""
        assert ledger_row(found, "a.m4a", report="", seconds=1.0).fits == ""


def test_a_count_that_is_hardly_likelier_than_others_is_no_help(made):
    numbers = replace(WRONG, counts=(CountCandidate(47, 0.4), CountCandidate(48, 0.35)))
    assert counted_words(replace(made.findings(), numbers=numbers)) == ""


def test_where_a_number_comes_from(made):
    found = replace(made.findings(), numbers=Numbers(speed="found", teeth="guessed"))
    assert source_of(found, "speed") == "found by the sound"
    assert source_of(found, "teeth") == "guessed"
    assert source_of(made.findings(), "speed") == "stated"
