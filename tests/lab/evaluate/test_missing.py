"""What is taken away is taken away, and nothing else."""

from dataclasses import replace

import numpy as np
import pytest

from chatter.lab.evaluate import missing
from chatter.lab.evaluate.corpus import Corpus
from chatter.lab.evaluate.missing import WAYS, missing_lines, outcomes_of
from chatter.lab.simulate import draw_scene, ranges_reporting


@pytest.fixture(scope="module")
def scene():
    return draw_scene(np.random.default_rng(11), "side_rubbing", ranges_reporting, regime="saw")


TOUCHED = {
    "as it is": set(),
    "the best phone": {"phone", "format"},
    "a still shop": {"machine", "distractors"},
    "no room": {"room"},
    "speed and teeth known": {"stated"},
    "all of these": {"phone", "format", "machine", "distractors", "room", "stated"},
}


@pytest.mark.parametrize("name", list(WAYS))
def test_the_cut_stays_the_same(scene, name):
    changed = WAYS[name](scene)
    parts = {field for field in vars(scene) if getattr(scene, field) != getattr(changed, field)}
    assert parts <= TOUCHED[name]
    assert bool(parts) == bool(TOUCHED[name])


def test_the_truth_is_stated(scene):
    wrong = replace(scene, stated=replace(scene.stated, rev_min=1.0, teeth=3))
    said = WAYS["speed and teeth known"](wrong).stated
    assert (said.rev_min, said.teeth) == (scene.rev_min, scene.teeth.count)


def test_what_is_no_cut_keeps_its_noise():
    silent = draw_scene(np.random.default_rng(3), "no_cutting", ranges_reporting)
    assert WAYS["a still shop"](silent).distractors == silent.distractors


def test_every_way_of_one_recording_is_judged(monkeypatch):
    monkeypatch.setattr(missing, "WAYS", {k: WAYS[k] for k in ("as it is", "no room")})
    made = outcomes_of(Corpus("development", "no_cutting"), 3)
    assert set(made) == {"as it is", "no room"}
    assert all(one.crash is None and not one.truth for one in made.values())
    ways = missing.judge_missing(Corpus("development", "no_cutting"), [3], jobs=1)
    assert [way.name for way in ways] == ["as it is", "no room"]
    assert "no room" in missing_lines(ways)
