"""A fit from folders to figures, on sounds made here; its labels; and what a run is."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile

from chatter.errors import RecordingError
from chatter.lab.evaluate.labelled.hearing import Answer, AnswerPass
from chatter.lab.evaluate.labelled.reading import read_folder
from chatter.lab.fit import __main__ as command
from chatter.lab.fit import boosting, left_out
from chatter.lab.fit.gather import Gathered, MeasuredRun, _runs, gather_runs
from chatter.lab.fit.labels import line_label, pass_label, segment_labels
from chatter.lab.fit.left_out import fit_calibration, limits
from chatter.lab.fit.stages import STATEMENTS, ask, fit_chain
from chatter.lab.fit.steps import _holds, lost_lines, lost_steps
from chatter.lab.fit.truths import FitPass, TrueRecording, read_truths
from chatter.listening.cuts import FoundCut
from chatter.listening.line_measures import LineMeasures
from chatter.listening.spans import Span
from chatter.listening.trees import forest, model_data, use_model
from tests.listening.cuts_made import RATE_HZ, cut, sine

pytest.importorskip("lightgbm")

REV_MIN, TEETH = 286.0, 12


def written(folder: Path, seed: int, count: int = 6) -> Path:
    """Recordings of three seconds of idling and six of cutting, every second one chattering."""
    rng = np.random.default_rng(seed)
    folder.mkdir()
    rows = []
    for i in range(count):
        x = 0.01 * rng.standard_normal(9 * RATE_HZ)
        made = cut(rng, 6.0, REV_MIN, TEETH, ticks=0.8).x
        hz = float(rng.uniform(700.0, 1300.0))
        x[3 * RATE_HZ :] += made + (sine(6.0, hz, 0.3) if i % 2 else 0.0)
        soundfile.write(folder / f"{i}.wav", x.astype(np.float32), RATE_HZ, subtype="FLOAT")
        verdict = "chatter" if i % 2 else "normal"
        one = {"start_s": 3.0, "end_s": 9.0, "verdict": verdict, "rev_min": REV_MIN}
        one |= {"chatter_hz": hz} if i % 2 else {}
        rows.append(
            {"file": f"{i}.wav", "stated_rev_min": REV_MIN, "teeth": TEETH, "verdict": verdict,
             "passes": [one]}
        )  # fmt: skip
    (folder / "index.json").write_text(json.dumps(rows))
    return folder


@pytest.fixture(scope="module")
def folders(tmp_path_factory):
    home = tmp_path_factory.mktemp("fit")
    return {"one": written(home / "one", 1), "two": written(home / "two", 2)}


@pytest.fixture(scope="module")
def cache(tmp_path_factory):
    return tmp_path_factory.mktemp("cache")


@pytest.fixture(scope="module")
def gathered(folders, cache):
    truths = [t for maker, folder in folders.items() for t in read_truths(folder, maker)]
    return [gather_runs(truth, cache) for truth in truths]


def test_what_is_gathered(gathered, cache):
    for one in gathered:
        assert [run.true for run in one.runs if run.true is not None] == [0]
        (cutting,) = (run.cut.span for run in one.runs if run.true == 0)
        assert (cutting.start_s, cutting.end_s) == pytest.approx((3.0, 9.0), abs=0.2)
        (rest,) = (run for run in one.runs if run.true is None)
        assert rest.cut.span.end_s == pytest.approx(3.0, abs=0.2)
        assert one.observation.sounds[0].power.size == 0, "kept without its spectra"
    # kept: measured once only
    kept = {path.stat().st_mtime_ns for path in cache.iterdir()}
    again = gather_runs(gathered[0].truth, cache)
    assert again.truth == gathered[0].truth
    assert {path.stat().st_mtime_ns for path in cache.iterdir()} == kept


def test_labels_of_what_was_gathered(gathered):
    for one in gathered:
        told = segment_labels(one)
        for label, span in zip(told, one.observation.spans, strict=True):
            assert label == (1 if span.start_s > 2.5 else 0), span
        lines = [line for of_segment in one.observation.lines for line in of_segment]
        chatter = [line for line in lines if line_label(one, line) == 1]
        if one.truth.chatter:
            hz = one.truth.passes[0].chatter_hz[0]
            assert any(abs(line.frequency_hz - hz) < 1.0 for line in chatter)
        else:
            assert not chatter and {line_label(one, line) for line in lines} <= {0}


def test_a_fit_prints_what_it_says_of_makers_it_never_met(
    folders, cache, tmp_path, capsys, monkeypatch
):
    from chatter.lab.evaluate.model_file import write_model

    for settings in (boosting.SEGMENT, boosting.LINE, boosting.PASS):  # few trees: quick
        monkeypatch.setitem(settings, "n_estimators", 20)
    place = tmp_path / "model.json"
    monkeypatch.setattr(command, "write_model", lambda plain: write_model(plain, place))
    named = [f"{maker}={folder}" for maker, folder in folders.items()]
    code = command.main([*named, "--write", "--parts", "3", "--jobs", "1", "--cache", str(cache)])
    printed, _, by_parts = capsys.readouterr().out.partition("other recordings of known makers")
    assert len([row for row in by_parts.splitlines() if row.startswith(("one", "two"))]) == 4
    assert code == 0 and "12 recordings measured" in printed
    rows = [line.split("|") for line in printed.splitlines() if line.startswith(("one", "two"))]
    assert len(rows) == 4  # each maker, and below 300 rev/min
    for row in rows:
        assert int(row[1]) == 6 and int(row[2]) == 3
        assert 0.0 <= float(row[3]) <= 1.0
    plain = json.loads(place.read_text())
    assert plain["recordings"] == {"one": 6, "two": 6}
    assert set(plain["forests"]) == {"segment", "together", "line", *STATEMENTS}
    assert plain["limits"]["chatter_possible"] < plain["limits"]["chatter_named"]
    try:
        use_model(place)
        assert model_data()["made_by"].startswith("python -m chatter.lab.fit one=FOLDER two=FOLDER")
        assert np.isfinite(forest("chatter").log_odds([{}])[0])
    finally:
        use_model(None)
    assert model_data()["recordings"] != {"one": 6, "two": 6}


def test_what_cannot_be_fitted_on_is_a_sentence(tmp_path, capsys):
    assert command.main([f"one={tmp_path}"]) == RecordingError("").exit_code
    assert "holds none of index.json" in capsys.readouterr().err
    with pytest.raises(SystemExit):
        command.main([str(tmp_path)])


def test_the_step_that_loses_an_answer(folders, cache, gathered, monkeypatch):
    for settings in (boosting.SEGMENT, boosting.LINE, boosting.PASS):  # bold enough for six
        settings_now = {"n_estimators": 40, "learning_rate": 0.3, "min_child_samples": 1}
        for name, value in settings_now.items():
            monkeypatch.setitem(settings, name, value)
    models = fit_chain([one for one in gathered if one.truth.maker == "one"])
    mine = [one for one in gathered if one.truth.maker == "two"]
    told = [left_out.LeftOutAnswer(one, ask(models, one)) for one in mine]
    even = {name: {"offset": 0.0, "slope": 1.0} for name in STATEMENTS}
    recordings = read_folder(folders["two"] / "index.json")
    deaf = [Answer("cannot_tell", 0.0, "", ())] * len(recordings)  # hears no pass at all
    by = {"calibration": even, "cache": cache}
    steps = lost_steps(recordings, deaf, told, models, count=4, **by)
    assert len(steps) == 4 and all(one.heard == 0.0 for one in steps)
    assert {one.label for one in steps} <= {"chatter", "normal"}
    for one in steps:
        assert one.passes == pytest.approx(one.numbers), "the stated numbers are the true ones"
        assert (one.line is not None) == (one.label == "chatter")
        assert (one.step == "passes") == (one.passes >= 0.5)
    assert any(one.step == "passes" for one in steps)
    table = lost_lines(steps).splitlines()
    assert len(table) == 5 + len({one.step for one in steps})
    assert sum(int(row.split()[0]) for row in table[5:]) == 4
    # with every pass found and named, the same recordings stand last
    sharp = [
        Answer(one.said.label, 0.9, "", (AnswerPass(
            3.0, 9.0, one.said.label, (), 0.9, {one.said.label: 0.9}, REV_MIN, True, False, None
        ),))
        for one in recordings
    ]  # fmt: skip
    (first, *_) = lost_steps(recordings, [*deaf[:1], *sharp[1:]], told, models, count=6, **by)
    assert first.name.endswith(recordings[0].path.name) and first.heard == 0.0


# ---------------------------------------------------------------- labels on paper


def true(*passes, **more):
    told = {"maker": "m", "path": Path("a.wav"), "rev_min": 60.0, "teeth": 40, "true_teeth": 40}
    told |= {"passes": passes, "known": True, "whole": None, "cutting": True, "chatter": False}
    return TrueRecording(**(told | more))


class _Seen:
    def __init__(self, *spans):
        self.spans = spans


def told_of(truth, *spans, runs=()):
    return Gathered(truth, _Seen(*spans), runs)


NORMAL = FitPass(2.0, 8.0, frozenset(), 60.0, ())
CHATTERS = FitPass(2.0, 8.0, frozenset(("chatter",)), 60.0, (900.0,))
DOUBTFUL = FitPass(2.0, 8.0, None, 60.0, ())


def test_segments_half_in_a_cut_have_no_label():
    one = told_of(true(NORMAL), Span(0.0, 2.0), Span(1.0, 3.0), Span(3.0, 8.0), Span(7.0, 9.0))
    assert segment_labels(one) == [0, None, 1, None]
    assert segment_labels(told_of(true(cutting=False), Span(0.0, 2.0))) == [0]
    assert segment_labels(told_of(true(known=False), Span(0.0, 2.0))) == [None]


def line(hz, segment=0):
    return LineMeasures(segment, hz, np.zeros(1), np.zeros(1), {})


def test_lines_of_a_chattering_pass_are_chatter_or_not_known():
    one = told_of(true(CHATTERS, chatter=True), Span(2.0, 8.0))
    # 900 Hz within 4 Hz, and its family of one and two tooth passings of 40 Hz
    assert [line_label(one, line(hz)) for hz in (900, 903.9, 940, 820, 860)] == [1] * 5
    assert [line_label(one, line(hz)) for hz in (905, 1020, 640)] == [None] * 3
    assert line_label(told_of(true(NORMAL), Span(2.0, 8.0)), line(900)) == 0
    assert line_label(told_of(true(DOUBTFUL, chatter=None), Span(2.0, 8.0)), line(900)) is None
    # a segment hardly in the pass is not said to chatter
    beside = told_of(true(CHATTERS, chatter=True), Span(0.0, 3.0))
    assert line_label(beside, line(900)) is None
    whole = true(whole=frozenset(("chatter",)), chatter=True)
    assert line_label(told_of(whole, Span(0.0, 9.0)), line(900)) is None


def run_of(number):
    return MeasuredRun(FoundCut(Span(2.0, 8.0), (0,)), number, {})


def test_passes_by_cause():
    one = told_of(true(CHATTERS, chatter=True))
    assert [pass_label(one, run_of(0), name) for name in ("cutting", "chatter")] == [1, 1]
    assert pass_label(one, run_of(0), "side_rubbing") == 0
    assert pass_label(told_of(true(DOUBTFUL)), run_of(0), "chatter") is None
    assert pass_label(told_of(true(DOUBTFUL)), run_of(0), "cutting") == 1
    rest = told_of(true(NORMAL))
    assert pass_label(rest, run_of(None), "cutting") == 0
    assert pass_label(rest, run_of(None), "chatter") is None
    assert pass_label(told_of(true(cutting=False)), run_of(None), "cutting") == 0
    assert pass_label(told_of(true(known=False)), run_of(None), "cutting") is None
    whole = told_of(true(whole=frozenset(("chatter",)), chatter=True))
    assert [pass_label(whole, run_of(None), n) for n in ("cutting", "chatter")] == [1, 1]


def test_what_holds_in_a_run():
    one = told_of(true(CHATTERS, chatter=True))
    assert _holds(one, run_of(0), "chatter") and not _holds(one, run_of(0), "normal")
    assert not _holds(one, run_of(None), "chatter")
    calm = told_of(true(NORMAL))
    assert _holds(calm, run_of(0), "normal") and not _holds(calm, run_of(None), "normal")
    assert not _holds(told_of(true(DOUBTFUL)), run_of(0), "normal")
    # known only as a whole: every run of it
    whole = told_of(true(whole=frozenset(("chatter",)), chatter=True))
    assert _holds(whole, run_of(None), "chatter") and not _holds(whole, run_of(None), "normal")


def test_neighbouring_segments_of_one_pass_are_one_run():
    spans = (Span(0.0, 2.0), Span(2.0, 5.0), Span(5.0, 8.1), Span(8.1, 9.0), Span(9.0, 12.0))
    second = replace(NORMAL, start_s=9.0, end_s=12.0)
    told = [
        (cut.span.start_s, cut.span.end_s, cut.segments, of)
        for cut, of in _runs(spans, (NORMAL, second))
    ]
    assert told == [
        (0.0, 2.0, (0,), None),
        (2.0, 8.1, (1, 2), 0),
        (8.1, 9.0, (3,), None),
        (9.0, 12.0, (4,), 1),
    ]


def test_a_segment_of_which_less_than_half_is_a_pass_is_none_of_it():
    a, b = NORMAL.start_s, NORMAL.end_s
    less, more = 0.4, 0.6  # of the two segments at its ends
    spans = (Span(a - 2 * (1 - less), a + 2 * less), Span(a + 2 * less, b - 2 * more),
             Span(b - 2 * more, b + 2 * (1 - more)))  # fmt: skip
    assert [(cut.segments, of) for cut, of in _runs(spans, (NORMAL,))] == [
        ((0,), None),
        ((1, 2), 0),
    ]


def test_truths_as_tables_state_them(tmp_path):
    rows = [
        {"file": "a", "stated_rev_min": 57, "teeth": 48, "verdict": "cannot_tell"},
        {"file": "b", "stated_rev_min": 57, "teeth": 48, "verdict": "machine_only"},
        {"file": "c", "stated_rev_min": 57, "teeth": 48, "verdict_in": ["chatter"]},
        {"file": "d", "stated_rev_min": 57, "teeth": 48, "verdict_not": ["chatter"]},
        {"file": "e", "stated_rev_min": 300, "teeth": 4, "true_teeth": 3, "verdict": "chatter",
         "pass_s": [1, 4], "chatter_hz": [700, 900]},
    ]  # fmt: skip
    (tmp_path / "labels.json").write_text(json.dumps(rows))
    idle, chatters, calm, one = read_truths(tmp_path, "m")
    assert idle.cutting is False and idle.chatter is False and idle.slow
    assert chatters.whole == {"chatter"} and chatters.chatter is True and chatters.cutting
    assert calm.chatter is False and calm.cutting is None and not calm.known
    assert (one.true_teeth, one.slow) == (3, False)
    assert one.passes == (FitPass(1.0, 4.0, frozenset(("chatter",)), 300.0, (700.0, 900.0)),)
    with pytest.raises(RecordingError, match="holds none of"):
        read_truths(tmp_path / "nowhere", "m")


def test_few_recordings_fit_no_sureness():
    assert fit_calibration([]) == {name: {"offset": 0.0, "slope": 1.0} for name in STATEMENTS}
    told = limits([], {})
    assert 0.0 < told["chatter_possible"] < told["chatter_named"] < 1.0


def test_reworked_recordings_are_left_out_with_either_maker(gathered, monkeypatch):
    reworked = replace(gathered[0], truth=replace(gathered[0].truth, maker="one+three"))
    fitted: list[set[str]] = []
    monkeypatch.setattr(
        left_out, "fit_chain", lambda train: fitted.append({g.truth.maker for g in train})
    )
    monkeypatch.setattr(left_out, "ask", lambda *_: None)
    told, models = left_out.leave_out([*gathered, reworked])
    assert list(models) == ["one", "two"]
    assert fitted == [{"two"}, {"one", "one+three"}]
    assert len(told) == len(gathered)  # nothing is asked about what was reworked


def test_a_part_is_left_out_with_all_that_was_reworked_from_it(gathered, monkeypatch):
    def named(one, maker, name):
        return replace(one, truth=replace(one.truth, maker=maker, path=Path(name)))

    a, b, c = (named(gathered[i], "one", f"{name}.wav") for i, name in enumerate("abc"))
    d = named(gathered[-1], "two", "d.wav")
    mixed = named(gathered[0], "one+two", "a-over-d.flac")
    numbered = named(gathered[0], "one+two", "b-over-d-over-17.flac")
    fitted: list[set[str]] = []
    monkeypatch.setattr(
        left_out, "fit_chain", lambda train: fitted.append({g.truth.path.stem for g in train})
    )
    monkeypatch.setattr(left_out, "ask", lambda *_: None)
    told = left_out.leave_parts_out([a, b, c, d, mixed, numbered], 2)
    # a-over-d goes with a, and with d; b-over-d with both of its own
    assert fitted == [{"b", "d", "b-over-d-over-17"}, {"a", "c"}]
    assert sorted(each.one.truth.path.stem for each in told) == ["a", "b", "c", "d"]
