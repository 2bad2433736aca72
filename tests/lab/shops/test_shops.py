"""Invented shops: what is drawn, and that a wrong sureness is found and mended."""

from __future__ import annotations

import json

import numpy as np
import pytest

from chatter.findings import CAUSES
from chatter.lab.shops import run
from chatter.lab.shops.command import main, shops_parser
from chatter.lab.shops.draw import draw_shop, judged, outcome_table
from chatter.teaching.tuning import Tuning


@pytest.fixture
def few(monkeypatch):
    monkeypatch.setattr(run, "LATER", 80)


@pytest.mark.usefixtures("few")
def test_the_same_shop_is_drawn_again():
    assert run.one_shop(1, 2) == run.one_shop(1, 2)
    assert run.one_shop(1, 2) != run.one_shop(1, 3)


def test_log_odds_are_drawn_as_measured():
    rng = np.random.default_rng(0)
    found = {cause: [] for cause in CAUSES}
    for _ in range(150):
        for cut in draw_shop(rng).cuts(rng, 0, 40):
            found[cut.truth].append(cut.probabilities["chatter"])
    middle = np.median(found["chatter"])
    assert abs(np.log(middle / (1 - middle)) - outcome_table().mean[2, 2]) < 0.35
    # about 1300 cuts in 150 shops that share a third of a variance of 4: error 0.1


def test_verdicts_as_the_listening_gives_them():
    low = dict.fromkeys(CAUSES, 0.01)
    assert judged({**low, "normal": 0.9}) == ("normal", 0.9)
    assert judged({**low, "chatter": 0.95, "side_rubbing": 0.9}) == ("chatter", 0.95)
    assert judged({**low, "normal": 0.5, "side_rubbing": 0.4}) == ("cannot_tell", 0.0)


@pytest.mark.usefixtures("few")
def test_no_labels_change_nothing_and_the_table_counts(capsys):
    made = run.one_shop(0, 0)
    assert made[0][0] == made[0][1] and made[0][2] == "none"
    assert main(["--shops", "3", "--jobs", "1"]) == 0
    told = capsys.readouterr().out
    assert "calibration error" in told and told.count("\n") > 16
    rows = run.learning_table([run.one_shop(0, i) for i in range(3)])
    zero = [row for row in rows if row.labels == 0]
    assert all(row.change == (0.0, 0.0, 0.0) and row.taken == 0.0 for row in zero)


def test_what_is_taken_back_is_no_answer():
    cuts = list(draw_shop(np.random.default_rng(1)).cuts(np.random.default_rng(1), 0, 200))
    move = Tuning("m", "offset", dict.fromkeys(CAUSES, -9.0), dict.fromkeys(CAUSES, 1.0))
    assert run.scored(cuts, move).answered == 0.0
    assert run.scored(cuts, Tuning("m", "none")).answered > 0.2


def test_learning_the_table_anew(tmp_path, capsys):
    path = tmp_path / "evaluation.json"
    p = dict.fromkeys(CAUSES, 0.5)
    answers = [{"label": cause, "passes": [{"probabilities": p}] * 9} for cause in CAUSES]
    path.write_text(json.dumps({"answers": answers}))
    assert main(["--learn", str(path)]) == 0
    assert "mean = [0.0, 0.0, 0.0, 0.0, 0.0]" in capsys.readouterr().out
    path.write_text("{}")
    assert main(["--learn", str(path)]) == 2
    assert "name its JSON" in capsys.readouterr().err


def test_every_option_is_explained():
    assert all(action.help for action in shops_parser()._actions)
