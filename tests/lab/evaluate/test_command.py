import json
import re

import pytest
from evaluate_made import found_pass, outcome, true_pass

from chatter.lab.evaluate import run as runs
from chatter.lab.evaluate.command import evaluate_parser, main


@pytest.fixture
def no_listening(monkeypatch):
    """Outcomes out of a hat: what is tested is the command, not the ear."""

    def run_item(corpus, index, *_):
        verdict = ("normal", "chatter", "side_rubbing", "uneven_teeth")[index % 4]
        if corpus.mixture == "no_cutting":
            return outcome(index, [], [found_pass(0, 9, "machine_only")])
        more = {"chatter_hz": 500.0} if verdict == "chatter" else {}
        said = "normal" if index == 6 else verdict
        told = {"snr_db": 9.0, "format": "m4a", "bit_rate": 48_000, "regime": "saw"}
        return outcome(
            index, [true_pass(0, 9, verdict, **more)], [found_pass(0, 9, said)], conditions=told
        )

    monkeypatch.setattr(runs, "run_item", run_item)


def run(tmp_path, *more):
    out = tmp_path / "out"
    code = main([*more, "--jobs", "1", "--cache", str(tmp_path / "c"), "--out", str(out)])
    assert code == 0
    return next(out.glob("*.html")).read_text(), json.loads(next(out.glob("*.json")).read_text())


@pytest.mark.usefixtures("no_listening")
def test_a_score_is_printed_and_written(tmp_path, capsys):
    page, plain = run(tmp_path, "--count", "12")
    printed = capsys.readouterr().out
    assert plain["score"]["counts"]["recordings"] == 12
    assert plain["score"]["figures"]["accuracy"]["value"] == pytest.approx(11 / 12)
    assert "91.7 %" in printed and "91.7 %" in page
    assert "m4a 48 kbit/s" in printed and "m4a 48 kbit/s" in page
    assert plain["corpus"]["ranges"] == "reporting"
    # Self-contained: nothing is fetched.
    assert not re.search(r"(src|href)\s*=\s*[\"']?https?:", page)
    assert page.count("<svg") == 2


@pytest.mark.usefixtures("no_listening")
def test_recordings_without_cutting_have_their_own_run(tmp_path, capsys):
    _, plain = run(tmp_path, "--no-cutting", "--count", "5")
    assert plain["score"]["no_cutting"] == {"recordings": 5, "confident": 0, "wrong": 0}
    assert "0 confident wrong verdicts" in capsys.readouterr().out


@pytest.mark.parametrize(
    "wrong",
    [
        ["--count", "0"],
        ["--boundary", "--count", "9"],
        ["--boundary", "--robust"],
    ],
)
def test_options_that_make_no_sense_are_refused(wrong, capsys):
    with pytest.raises(SystemExit) as end:
        main(wrong)
    assert end.value.code == 2
    assert "error:" in capsys.readouterr().err


@pytest.mark.usefixtures("no_listening")
def test_a_place_that_cannot_be_written_is_said_in_one_sentence(tmp_path, capsys):
    (tmp_path / "file").write_text("")
    code = main(
        ["--count", "4", "--jobs", "1", "--cache", str(tmp_path / "c"),
         "--out", str(tmp_path / "file" / "out")]
    )  # fmt: skip
    assert code == 2
    assert "cannot be written" in capsys.readouterr().err


def test_every_option_is_explained():
    for action in evaluate_parser()._actions:
        assert action.help, action.option_strings
