"""The lab's wrong numbers: what is stated, what counts as right, and weights that find it."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
import soundfile

from chatter.lab.numbers.__main__ import main
from chatter.lab.numbers.asking import ask_numbers, outcome
from chatter.lab.numbers.cases import Statement, one_of_each, read_cases, statements
from chatter.lab.numbers.evidence import load_evidence, measure_evidence, rates_of, save_evidence
from chatter.lab.numbers.fitting import fit_all, pairs_for, weights_toml
from chatter.lab.numbers.listening import StatementVerdict, verdict_lines
from chatter.lab.numbers.table import lines_of, share_cell
from chatter.listening.hypotheses import as_fitted, fitted
from tests.listening.cuts_made import RATE_HZ, cut

SPEEDS = (57.0, 90.0, 143.0)


QUESTIONS = {"speed", "anywhere", "near", "octave"}


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Three saws of made strokes, with their table."""
    place = tmp_path_factory.mktemp("numbers")
    rows = []
    rng = np.random.default_rng(7)
    for i, rev_min in enumerate(SPEEDS):
        heights = np.clip(1 + 0.4 * rng.standard_normal(30), 0.2, 2.0)
        made = cut(rng, 14.0, rev_min, 30, ticks=0.3, heights=heights)
        soundfile.write(place / f"s{i}.wav", 0.3 * made.x / np.abs(made.x).max(), RATE_HZ)
        rows.append(
            {
                **{"file": f"s{i}.wav", "stated_rev_min": rev_min * (2.0 if i == 2 else 1.0)},
                **{"teeth": 29 if i == 1 else 30, "true_teeth": 30, "true_rev_min": rev_min},
                **{"verdict": "uneven_teeth", "wrong_number": "speed" if i == 2 else None},
                "passes": [{"start_s": 0.0, "end_s": 14.0, "verdict": "uneven_teeth"}],
            }
        )
    idle = {"file": "idle.wav", "verdict": "machine_only", "true_rev_min": None}
    soundfile.write(place / "idle.wav", 0.01 * rng.standard_normal(RATE_HZ), RATE_HZ)
    rows.append({**rows[0], **idle, "passes": []})
    (place / "truth.json").write_text(json.dumps(rows), encoding="utf-8")
    return place


@pytest.fixture(scope="module")
def cases(folder):
    return read_cases("made", folder)


@pytest.fixture(scope="module")
def rates(cases, tmp_path_factory):
    return rates_of(cases, tmp_path_factory.mktemp("cache"))


def test_the_truth_is_read_and_idling_left_out(cases):
    assert [(one.true_rev_min, one.teeth) for one in cases] == [(speed, 30) for speed in SPEEDS]
    assert cases[0].dial_rev_min == 57.0  # as stated, for it is right
    assert abs(cases[2].dial_rev_min / 143.0 - 1) < 0.08  # the stated one was not


def test_the_invented_machine_has_the_right_notch_and_two_beside_it(cases):
    for one in cases:
        steps = np.diff(np.log(one.card))
        assert 2 <= one.notch <= 5 and len(one.card) == 8
        assert np.all((steps > np.log(1.2)) & (steps < np.log(1.66)))


def test_every_wrong_number_is_stated_once(cases):
    said = list(statements(cases[0]))
    assert said[0] == Statement("right", 57.0, 30)
    assert {one.teeth for one in said} == {30, 28, 29, 31, 32, 15, 60, None}
    assert {one.rev_min for one in said if one.teeth == 30 and one.name != "right"} >= {None}
    assert {one.name for one in said if not one.listed} == {
        "right, no list",
        "lever 1 off, no list",
    }
    assert len({(one.rev_min, one.teeth, one.listed) for one in said}) == len(said)
    names = [one.name for one in one_of_each(cases[0])]
    assert len(names) == len(set(names)) == len({one.name for one in said})


def test_what_was_measured_comes_back(folder, tmp_path):
    measure_evidence(folder / "s0.wav", tmp_path / "a.npz")
    first = load_evidence(tmp_path / "a.npz")
    save_evidence(first, tmp_path / "b.npz")
    again = load_evidence(tmp_path / "b.npz")
    assert again.length_s == first.length_s == pytest.approx(14.0, abs=0.01)
    assert set(again.sound) == {1.5, 4.0, 10.0} and np.array_equal(
        again.fast[4.0].gain, first.fast[4.0].gain
    )


def test_wrong_numbers_are_noticed_and_named(cases, rates):
    told = {
        said.name: outcome(cases[0], rates[0], said)[0]
        for said in one_of_each(cases[0])
    }  # fmt: skip
    assert told["right"] == "right" and told["no speed"] == "right"
    assert told["lever 1 off"] == told["lever 2 off"] == "right"
    assert told["no number"] == "silent"


def test_a_right_number_that_is_doubted_counts_as_wrong(cases, rates):
    wrong = replace(cases[0], dial_rev_min=cases[0].card[cases[0].notch + 1])
    assert outcome(wrong, rates[0], Statement("right", wrong.dial_rev_min, 30)) == (
        "other",
        True,
    )


def test_the_fit_finds_the_right_pair_first(cases, rates):
    """Two makers of the same sound: what is fitted on one finds the other's."""
    both = [replace(one, maker=f"m{i % 2}") for i, one in enumerate([*cases, *cases])]
    said = []
    found, without = fit_all(both, [*rates, *rates], said.append)
    assert len(said) == 4 and "the right one first in 1.000" in said[0]
    assert set(without) == {"m0", "m1"} and set(found) == QUESTIONS
    import tomllib

    again = tomllib.loads(weights_toml(found, ["m0", "m1"]))
    assert np.allclose(as_fitted(again["near"]).tooth, found["near"].tooth, atol=1e-4)
    assert again["speed"]["doubt"] == pytest.approx(found["speed"].doubt, abs=1e-3)
    asked = ask_numbers(both[:1], rates[:1], without)
    assert asked[0].outcome == "right" and asked[0].audible


def test_questions_are_put_where_they_can_be_answered(cases):
    few = replace(cases[0], teeth=4)
    assert pairs_for("near", few) == pairs_for("octave", few) == ()
    assert len(pairs_for("speed", few)) == 8
    assert [one.teeth for one in pairs_for("octave", cases[0])] == [30, 15, 60]


def test_the_shipped_weights_are_of_these_scores():
    assert set(fitted()) == QUESTIONS
    assert all(np.isfinite(one.tooth).all() and one.doubt > 0.5 for one in fitted().values())


def test_the_tables(cases, rates):
    lines = "\n".join(lines_of(ask_numbers(cases[:1], rates[:1])))
    assert "all recordings (1 recordings)" in lines and "lever 1 off" in lines
    assert share_cell(1, 4) == "25.0 % (4.6-69.9)"
    told = [
        StatementVerdict("m", "right", "chatter", 0.9, True, False),
        StatementVerdict("m", "right", "normal", 0.9, False, False),
        StatementVerdict("m", "right", "machine_only", 0.75, True, False),
        StatementVerdict("m", "right", "cannot_tell", 0.0, False, True),
    ]
    (line,) = [one for one in verdict_lines(told) if one.startswith("right")]
    assert line.count("25.0 %") == 4


def test_the_command(folder, tmp_path, capsys):
    arguments = [f"made={folder}", "--cache", str(tmp_path), "--most", "1"]
    assert main(arguments) == 0
    assert "by the shipped weights" in capsys.readouterr().out
    assert main([f"made={tmp_path}", "--cache", str(tmp_path)]) == 2
