from dataclasses import replace

import pytest
from evaluate_made import found_pass, outcome, true_pass

from chatter.lab.evaluate import run as runs
from chatter.lab.evaluate.corpus import Corpus

CORPUS = Corpus("development", "no_cutting")


def fake(calls):
    def run_item(_, index, *__):
        calls.append(index)
        return outcome(index, [true_pass(0, 9)], [found_pass(0, 9)])

    return run_item


def test_a_killed_run_goes_on_where_it_stopped(tmp_path, monkeypatch):
    calls = []
    monkeypatch.setattr(runs, "run_item", fake(calls))
    first = runs.run_corpus(CORPUS, range(4), jobs=1, cache=tmp_path)
    store = next(tmp_path.iterdir())
    lines = store.read_text().splitlines()
    store.write_text("\n".join(lines[:2]) + "\n" + lines[2][: len(lines[2]) // 2])  # killed here
    calls.clear()
    assert runs.run_corpus(CORPUS, range(5), jobs=1, cache=tmp_path)[:4] == first
    assert calls == [2, 3, 4]
    calls.clear()
    assert len(runs.run_corpus(CORPUS, range(5), jobs=1, cache=tmp_path)) == 5
    assert calls == []


def test_other_code_starts_the_cache_anew(tmp_path, monkeypatch):
    calls = []
    monkeypatch.setattr(runs, "run_item", fake(calls))
    runs.run_corpus(CORPUS, range(2), jobs=1, cache=tmp_path)
    monkeypatch.setattr(runs, "code_digest", lambda: "other")
    runs.run_corpus(CORPUS, range(2), jobs=1, cache=tmp_path)
    assert calls == [0, 1, 0, 1]


def test_a_real_item_is_heard_and_deleted(tmp_path, monkeypatch):
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    one = runs.run_item(CORPUS, 0)
    assert one.crash is None and one.truth == () and one.verdict
    assert list(tmp_path.iterdir()) == []


def test_a_kept_recording_is_listened_to_again_but_not_made_again(tmp_path, monkeypatch):
    first = runs.run_item(CORPUS, 0, tmp_path)
    recording, truth = sorted(next(tmp_path.iterdir()).iterdir())
    assert recording.stem == "00000" and truth.name == "00000.truth.json"

    def never(*_):
        raise AssertionError("made again")

    monkeypatch.setattr(runs, "make_item", never)
    again = runs.run_item(CORPUS, 0, tmp_path)
    timeless = {"make_s": 0.0, "listen_s": 0.0}
    assert replace(again, **timeless) == replace(first, **timeless)
    # The code that makes recordings changed: the kept one is of no use.
    monkeypatch.setattr("chatter.lab.evaluate.kept.code_digest", lambda _: "other")
    with pytest.raises(AssertionError, match="made again"):
        runs.run_item(CORPUS, 0, tmp_path)


def test_a_crash_of_the_listener_is_a_result(monkeypatch):
    def broken(*_, **__):
        raise ZeroDivisionError("by zero")

    monkeypatch.setattr("chatter.listening.front.listen", broken)
    one = runs.run_item(CORPUS, 0)
    assert "ZeroDivisionError: by zero" in one.crash
    assert (one.verdict, one.error, one.found) == ("cannot_tell", None, ())
