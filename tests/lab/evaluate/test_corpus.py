from dataclasses import replace

import numpy as np
import pytest

from chatter.lab.evaluate.corpus import Corpus, draw_item, make_item, mixtures, seeds_of
from chatter.lab.simulate import KINDS
from chatter.lab.simulate.distractors import MAKERS


def test_the_mixtures_name_kinds_that_exist():
    for table, weights in mixtures().items():
        assert set(weights) <= set(KINDS), table


def test_an_item_depends_on_nothing_but_corpus_and_index():
    corpus = Corpus("development", "no_cutting")
    assert draw_item(corpus, 3) == draw_item(corpus, 3)
    assert draw_item(corpus, 3) != draw_item(corpus, 4)
    assert draw_item(corpus, 3) != draw_item(replace(corpus, base_seed=1), 3)
    assert draw_item(corpus, 3) != draw_item(replace(corpus, ranges="reporting"), 3)


def test_corpora_share_no_seed():
    states = {
        tuple(seeds_of(Corpus(ranges, mixture, base), i).generate_state(4))
        for ranges in ("development", "reporting")
        for mixture in ("mixture", "no_cutting")
        for base in (0, 1)
        for i in range(50)
    }
    assert len(states) == 2 * 2 * 2 * 50


def test_fingerprints_tell_corpora_apart():
    prints = {
        Corpus(r, m, s).fingerprint()
        for r in ("development", "reporting")
        for m in ("mixture", "no_cutting")
        for s in (0, 1)
    }
    assert len(prints) == 8


def test_recordings_without_cutting_hold_everything_a_workshop_phone_hears():
    corpus = Corpus("reporting", "no_cutting")
    heard = set()
    for index in range(60):
        scene, _ = draw_item(corpus, index)
        assert not scene.passes
        heard |= {one.name for one in scene.distractors}
        if {one.name for one in scene.distractors} == {"silence"}:
            assert scene.phone.peak <= 0.03, "a quiet room is recorded quietly"
    assert heard == set(MAKERS)


@pytest.mark.parametrize("ranges", ["development", "reporting"])
def test_an_item_is_written_the_same_twice(tmp_path, ranges):
    from chatter.sound.intake import take_in

    corpus = Corpus(ranges, "no_cutting")
    sounds = []
    for name in ("a", "b"):
        (tmp_path / name).mkdir()
        item = make_item(corpus, 1, tmp_path / name)
        assert item.truth.passes == () and item.path.exists()
        with take_in(item.path).spool as spool:
            sounds.append(np.asarray(spool.read(0, spool.n)))
    assert np.array_equal(*sounds)
