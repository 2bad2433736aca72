import json
import math

import numpy as np
import pytest
from evaluate_made import found_pass, outcome, true_pass

from chatter.lab.evaluate import fit
from chatter.lab.evaluate.ablation import ablate
from chatter.lab.evaluate.corpus import Corpus
from chatter.lab.evaluate.fit import FitError, allowed, fit_cause, sample_of
from chatter.lab.evaluate.fit_text import ablation_lines, ablation_svg, fit_lines
from chatter.lab.evaluate.model_file import model_of, write_model
from chatter.lab.evaluate.ramps import knots_of, ramps, worth_of


def run(n=60, seed=0):
    """Chatter shows in family_db; prominence_db says nothing; every third is no cut."""
    rng = np.random.default_rng(seed)
    made = []
    for i in range(n):
        chatters = i % 2 == 0
        told = {
            "family_db": float(rng.normal(9 if chatters else 1, 2.5)),
            "prominence_db": float(rng.normal(14, 5)),
            "contrast_db": float(rng.normal(12, 3)),
        }
        made.append(
            outcome(
                i,
                [true_pass(0, 10, "chatter" if chatters else "normal")],
                [found_pass(0, 10, measures=told), found_pass(12, 19, measures={"contrast_db": 0})],
            )
        )
    return made


def test_every_cause_of_the_model_has_its_pieces():
    assert set(allowed()) == {"cutting", "chatter", "side_rubbing", "uneven_teeth", "tone"}


def test_a_sample_holds_labels_scores_and_equal_weights():
    sample = sample_of(run(20), "cutting")
    assert sample.y.sum() == 20 and len(sample.y) == 40
    assert np.allclose(sample.weights, 0.5)
    at = sample.owner == sample.names.index("contrast_db")
    assert np.all(sample.x[1, at] == 0.0)  # 0 dB is the least of all
    assert sample.x[:, at].max() == 1.0 and at.sum() > 1
    chatter = sample_of(run(20), "chatter")
    assert chatter.y.sum() == 10 and len(chatter.y) == 20


def test_marginal_passes_teach_nothing():
    doubtful = outcome(
        0, [true_pass(0, 9, "chatter", marginal=True)], [found_pass(0, 9, measures={"freedom": 1})]
    )
    assert len(sample_of([doubtful], "chatter").y) == 0
    assert len(sample_of([doubtful], "cutting").y) == 1


def test_the_fit_finds_the_piece_that_tells_and_the_ablation_shows_it(monkeypatch):
    few = {"chatter": {"family_db": "+", "prominence_db": "+", "freedom": "+"}}
    monkeypatch.setattr(fit, "allowed", lambda: few)
    outcomes = run()
    model = fit_cause(sample_of(outcomes, "chatter"))
    adds = model.worths["family_db"].adds
    assert adds[-1] - adds[0] > 2.0 and min(np.diff(adds)) >= 0
    assert model.quality.auc > 0.95
    table = ablate(outcomes, {"chatter": model})
    worth = {w.piece: w for w in table}
    assert max(table, key=lambda w: w.log_loss).piece == "family_db"
    assert worth["family_db"].low > 0 and worth["family_db"].balanced > 0.2
    assert abs(worth["prominence_db"].log_loss) < 0.03
    assert "family_db" in ablation_lines(table) and "chatter" in fit_lines({"chatter": model})
    assert "<svg" in ablation_svg(table, "chatter")


def test_too_few_recordings_are_refused_in_one_sentence():
    with pytest.raises(FitError, match=r"Only 7 recordings where chatter is true; .* --count"):
        fit_cause(sample_of(run(14), "chatter"))
    assert fit_cause(sample_of(run(16), "chatter")).quality.recordings == 16


def test_the_written_model_says_what_made_it(tmp_path):
    model = {"chatter": fit_cause(sample_of(run(), "chatter"))}
    path = tmp_path / "model.json"
    write_model(model_of(model, Corpus("development", base_seed=7), 60, "abc"), path)
    plain = json.loads(path.read_text())
    assert "--fit --write-model --ranges development --seed 7 --count 60" in plain["made_by"]
    assert set(plain["causes"]["chatter"]["worths"]) == set(allowed()["chatter"])
    assert 0 <= plain["cross_validated"]["chatter"]["brier"] < 0.1
    assert [p.name for p in tmp_path.iterdir()] == ["model.json"]


def test_ramps_add_up_to_what_was_fitted():
    values = np.array([-3.0, 0.0, 1.0, 2.0, 8.0, np.nan])
    knots = np.array([0.0, 1.0, 4.0])
    columns = ramps(values, knots, 1.0)
    np.testing.assert_allclose(columns[:, 0], [0, 0, 1, 1, 1, 1])
    np.testing.assert_allclose(columns[:, 1], [0, 0, 0, 1 / 3, 1, 0])
    worth, level = worth_of(knots, np.array([2.0, 3.0]), 1.0)
    assert level == 2.0 and worth.of(1.0) == 0.0 and worth.of(math.nan) == 0.0
    told = columns @ [2.0, 3.0]
    np.testing.assert_allclose([worth.of(v) + level for v in values], told)


def test_knots_of_what_hardly_varies():
    assert list(knots_of(np.array([np.nan, np.nan]))) == [0.0, 1.0]
    assert list(knots_of(np.full(9, 2.5))) == [2.5, 3.5]
    assert list(knots_of(np.r_[np.zeros(99), 1.0])) == [0.0, 1.0]


def test_only_the_vibration_itself_is_taught_as_chatter():
    """Not the other members of its family, nor any line of a cut that does not chatter."""
    lines = tuple({"tone_hz": f, "share_db": -5.0} for f in (500.0, 501.5, 540.0, 900.0))
    true = true_pass(0, 9, "chatter", chatter_hz=500.0, chatter_width_hz=1.0)
    sample = sample_of(
        [outcome(0, [true], [found_pass(0, 9, measures={"x": 1}, tones=lines)])], "tone"
    )
    assert list(sample.y) == [1, 1, 0, 0]
    calm = outcome(0, [true_pass(0, 9)], [found_pass(0, 9, measures={"x": 1}, tones=lines)])
    assert list(sample_of([calm], "tone").y) == [0, 0, 0, 0]
