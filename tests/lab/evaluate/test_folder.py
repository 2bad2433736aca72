"""A folder of labelled recordings: what stands in it, and going on where it stopped."""

from __future__ import annotations

import json

from chatter.lab.evaluate.corpus import Corpus
from chatter.lab.evaluate.folder import main, make_corpus
from chatter.lab.simulate.writing import load_truth


def test_a_folder_has_recordings_truths_and_an_index(tmp_path, capsys):
    # The mixture without cutting is drawn and made quickly.
    corpus = Corpus("development", "no_cutting", base_seed=3)
    assert make_corpus(tmp_path, corpus, 0, 2) == 2
    rows = json.loads((tmp_path / "index.json").read_text())
    assert [row["index"] for row in rows] == [0, 1]
    for row in rows:
        assert (tmp_path / row["file"]).stat().st_size > 1000
        truth = load_truth(next(tmp_path.glob(f"*-{row['index']:05d}.truth.json")))
        assert row["true_teeth"] == truth.true_teeth
        assert row["stated_rev_min"] == truth.job.cut.speed_rev_min
        assert row["passes"] == [] and row["verdict"] == "machine_only"
    before = {one: one.stat().st_mtime_ns for one in tmp_path.glob("development*")}
    assert make_corpus(tmp_path, corpus, 0, 3) == 3
    assert all(one.stat().st_mtime_ns == at for one, at in before.items())
    assert "3 of 3" in capsys.readouterr().out


def test_nonsense_is_refused(tmp_path, capsys):
    for bad in (["--count", "0"], ["--seed", "-1"]):
        try:
            main([str(tmp_path), *bad])
        except SystemExit as stop:
            assert stop.code == 2
    assert "must be" in capsys.readouterr().err
