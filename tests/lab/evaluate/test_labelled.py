"""Scores of labelled folders, worked out by hand."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
import soundfile

from chatter.errors import BookError
from chatter.findings import CAUSES
from chatter.lab.evaluate.command import main
from chatter.lab.evaluate.labelled import hearing, text
from chatter.lab.evaluate.labelled.hearing import Answer, AnswerPass
from chatter.lab.evaluate.labelled.listeners import agreements, kappa
from chatter.lab.evaluate.labelled.reading import read_folder, said_of
from chatter.lab.evaluate.labelled.scoring import score_labelled
from chatter.lab.evaluate.labelled.section import figures_by_folder
from chatter.lab.evaluate.labelled.units import match_labels, of_recordings
from chatter.logbook.collection import COLUMNS, Labelled, read_collection, write_table


def answer_pass(start, end, verdict, p_chatter, sure=0.9, rev_min=100.0, **more):
    told = {"also": (), "speed_heard": True, "contradiction": False, "chatter_hz": None, **more}
    p = {**dict.fromkeys(CAUSES, 0.05), "chatter": p_chatter}
    sure = 0.0 if verdict == "cannot_tell" else sure
    return AnswerPass(start, end, verdict, told.pop("also"), sure, p, rev_min, **told)


def answer(*passes, verdict=None):
    first = passes[0] if passes else None
    verdict = verdict or (first.verdict if first else "cannot_tell")
    return Answer(verdict, first.confidence if first else 0.0, "", tuple(passes))


@pytest.fixture
def folder(tmp_path):
    """A collection of four recordings, one of them labelled by two people."""
    place = tmp_path / "shop"
    place.mkdir()
    for name in "abcd":
        soundfile.write(place / f"{name}.wav", np.zeros(800, np.float32), 8000)
    stated = {"speed_rev_min": 100.0, "teeth": 20, "all_passes": True}
    write_table(
        place / "labels.csv",
        [
            Labelled(file="a.wav", start_s=1, end_s=5, label="chatter", who="AB",
                     true_speed_rev_min=100.4, stands_out_db=25.0, **stated),
            Labelled(file="a.wav", start_s=1, end_s=5, label="chatter", who="CD", **stated),
            Labelled(file="a.wav", start_s=6, end_s=9, label="normal", who="AB", **stated),
            Labelled(file="b.wav", start_s=0, end_s=4, label="normal", who="AB", **stated),
            Labelled(file="c.wav", label="machine_only", accept=("machine_only", "cannot_tell"),
                     **stated),
            Labelled(file="d.wav", label="normal", who="AB", speed_rev_min=900.0, teeth=4),
            Labelled(file="d.wav", label="chatter", who="CD", speed_rev_min=900.0, teeth=4),
        ],
    )  # fmt: skip
    return place


ANSWERS = (
    answer(answer_pass(1.2, 5, "chatter", 0.9), answer_pass(6, 9, "normal", 0.1, rev_min=101)),
    answer(answer_pass(0, 4, "chatter", 0.7, sure=0.85), answer_pass(5, 6, "normal", 0.1)),
    answer(answer_pass(0, 8, "machine_only", 0.02)),
    answer(answer_pass(0, 4, "normal", 0.2)),
)


def test_figures_worked_out_by_hand(folder):
    recordings = read_folder(folder)
    assert [one.said.label for one in recordings] == ["chatter", "normal", "machine_only", ""]
    assert recordings[3].said.accept == frozenset(), "people are divided: nothing is judged"
    part = score_labelled("shop", recordings, ANSWERS)
    assert (part.chatter.named.hits, part.chatter.named.total) == (1, 1)
    assert (part.chatter.named_audible.hits, part.chatter.named_audible.total) == (1, 1)
    assert (part.chatter.false.hits, part.chatter.false.total) == (1, 2)
    assert part.chatter.area == 1.0
    none = part.chatter.curve[0]
    assert (none.bound, none.recall.hits, none.alarms.hits) == (0.7, 1, 0)
    assert part.shares["confident and wrong, of all"].hits == 1
    assert part.shares["confident and wrong, of all"].total == 3
    assert part.shares["passes all found, none too many"].words.startswith("1 of 2")
    assert part.shares["passes too many, of recordings"].hits == 1
    assert part.shares["no pass heard where nothing is cut"].hits == 1
    within = part.shares["speed within 0.5 %, of passes"]
    assert (within.hits, within.total) == (0.5, 1), "one of the two passes of one recording"
    assert part.right["chatter"].hits == 1 and part.right["normal"].hits == 0
    assert part.confusion["normal"] == {"chatter": 1.0}
    slow = [one.title for one in figures_by_folder(recordings, ANSWERS)]
    assert slow == ["shop", "shop, below 300"]
    shown = text.figures_table(figures_by_folder(recordings, ANSWERS))
    assert "1/2 50.0 (9 to 91)" in shown, "Wilson's interval of 1 in 2, from his formula by hand"


def test_overlap_must_be_over_half_and_one_to_one(folder):
    said = read_folder(folder)[1].passes
    assert match_labels(said, [answer_pass(0, 2, "normal", 0.1)]).found == 0, (
        "just half is not over half"
    )
    assert match_labels(said, [answer_pass(0, 2.1, "normal", 0.1)]).found == 1
    two = match_labels(said, [answer_pass(0, 4, "normal", 0.1), answer_pass(0, 3.9, "normal", 0.1)])
    assert (two.found, two.too_many) == (1, 1)


def test_several_listeners_against_each_other(folder):
    recordings = read_folder(folder)
    found = {(one.one, one.other): one for one in agreements(of_recordings(recordings, ANSWERS))}
    assert found[("AB", "CD")].both == 1 and found[("AB", "CD")].same == 0


def test_kappa_against_another_library_and_by_drawing_again():
    """Cohen's kappa against scikit-learn; its interval against a thousand drawings."""
    metrics = pytest.importorskip("sklearn.metrics")
    rng = np.random.default_rng(2)
    one = rng.integers(0, 3, 200)
    other = np.where(rng.random(200) < 0.7, one, rng.integers(0, 3, 200))
    pairs = [(str(a), str(b)) for a, b in zip(one, other, strict=True)]
    value, low, high = kappa(pairs)
    assert value == pytest.approx(metrics.cohen_kappa_score(one, other), abs=1e-12)
    drawn = [kappa([pairs[i] for i in rng.integers(0, 200, 200)])[0] for _ in range(1000)]
    # a standard error of 0.047 is known to about 0.001 from a thousand drawings
    assert (high - low) / 3.92 == pytest.approx(np.std(drawn), rel=0.1)
    assert all(math.isnan(x) for x in kappa([("a", "a")] * 5))


def test_other_shapes_are_read(tmp_path):
    soundfile.write(tmp_path / "x.wav", np.zeros(800, np.float32), 8000)
    stated = {"file": "x.wav", "stated_rev_min": 100, "teeth": 20}

    def read(**more):
        (tmp_path / "truth.json").write_text(json.dumps([{**stated, **more}]))
        return read_folder(tmp_path)[0]

    one = read(verdict="chatter", pass_s=[1, 2], true_rev_min=101, chatter_hz=500.0)
    assert one.said.chatters and one.complete and len(one.passes) == 1
    assert one.said.true_rev_min == 101 and one.passes[0].said.chatter_hz == 500.0
    two = {"start_s": 1, "end_s": 2, "verdict": "normal", "true_rev_min": 99.0}
    one = read(verdict="normal", accept=["normal", "cannot_tell"], wrong_number="speed",
               passes=[two])  # fmt: skip
    assert one.said.accept == {"normal", "cannot_tell"} and one.wrong_number == "speed"
    assert one.passes[0].said.accept == {"normal", "cannot_tell"}
    one = read(verdict_not=["chatter"])
    assert (one.said.label, one.said.chatters, one.complete) == ("", False, False)
    one = read(verdict_in=["machine_only", "cannot_tell"])
    assert one.said.label == "machine_only" and not one.cutting
    assert said_of([Labelled(file="x", accept=("chatter", "normal"))]).chatters is None


@pytest.mark.parametrize(
    ("heads", "row", "said"),
    [
        ("file,label", "a.wav,chater", "Line 2 of .* did you mean 'chatter'"),
        ("file,lable", "a.wav,chatter", "did you mean 'label'"),
        ("file,label,start_s", "a.wav,chatter,1", "only one of start_s and end_s"),
        ("file,label,start_s,end_s", "a.wav,chatter,3,2", "ends before it starts"),
        ("file,label,teeth", "a.wav,chatter,many", "'many' cannot be the value of 'teeth'"),
        ("file,label", ",chatter", "names no file"),
        ("file,label", "a.wav,chatter,3", "more cells than there are columns"),
        ("file", "a.wav", "no column 'label'"),
        ("file,label", "z.wav,chatter", "names 'z.wav', which is not beside it"),
        ("file,label", "a.wav,chatter", "gives no speed_rev_min or no teeth"),
        ("file,label", "", "holds no label"),
    ],
)
def test_one_sentence_for_a_table_that_cannot_be(tmp_path, heads, row, said):
    (tmp_path / "a.wav").write_bytes(b"sound")
    (tmp_path / "labels.csv").write_text(f"{heads}\n{row}\n")
    with pytest.raises(BookError, match=said):
        read_folder(tmp_path)


def test_a_table_comes_back_as_it_was(tmp_path):
    row = Labelled(file="ä, b.wav", start_s=0.5, end_s=2, label="not_sure", accept=("normal",),
                   all_passes=False, teeth=3, note='said "odd", then\nleft')  # fmt: skip
    write_table(tmp_path / "t.csv", [row])
    assert read_collection(tmp_path / "t.csv") == (row,)
    assert (tmp_path / "t.csv").read_text(encoding="utf-8").startswith(",".join(COLUMNS))


def test_the_command_prints_writes_and_goes_on(folder, tmp_path, monkeypatch, capsys):
    told = dict(zip("abcd", ANSWERS, strict=True))
    heard = []

    def ear(place, path, _job):
        heard.append(path.stem)
        return place, told[path.stem]

    monkeypatch.setattr(
        hearing.hear_collection,
        "__kwdefaults__",
        {**hearing.hear_collection.__kwdefaults__, "work": ear},
    )
    # four files alike would share what was heard: give each a sound of its own
    for i, name in enumerate("abcd"):
        soundfile.write(folder / f"{name}.wav", np.full(800, 0.1 * i, np.float32), 8000)
    asked = ["--labelled", str(folder), "--jobs", "1", "--cache", str(tmp_path / "c"),
             "--out", str(tmp_path / "out")]  # fmt: skip
    assert main(asked) == 0 and sorted(heard) == list("abcd")
    printed = capsys.readouterr().out
    assert "chatter named by verdict, of all" in printed and "shop/b.wav" in printed
    page = next((tmp_path / "out").glob("*.html")).read_text()
    assert "<svg" in page and "Labelled against answered" in page
    plain = json.loads(next((tmp_path / "out").glob("*.json")).read_text())
    assert plain["answers"][0]["passes"][0]["probabilities"]["chatter"] == 0.9
    assert main(asked) == 0 and len(heard) == 4, "what was heard is kept"
    assert main(["--labelled", str(tmp_path), "--out", str(tmp_path / "out")]) == 2
    assert "name a labelled folder" in capsys.readouterr().err
