"""Earlier cuts and a tap test on cards and as options."""

from __future__ import annotations

from pathlib import Path

import pytest

from chatter.errors import CardError, JobError
from chatter.job.build import build_job, job_from_plain, merge_job
from chatter.job.cards import load_job, save_job
from chatter.job.cut import Observed
from chatter.plain import to_plain

LEAST = {"cut.speed": "57", "cutter.teeth": "48"}
CARD = """
[cutter]
teeth = 48

[cut]
speed = 57

[take]
taps = "taps.json"

[[observed]]
depth = "12 mm"
speed = "57 rev/min"
chatters = true

[[observed]]
depth = "1/4 in"
speed = 57
chatters = false
"""


def test_a_card_holds_cuts_that_were_made(tmp_path: Path) -> None:
    path = tmp_path / "job.toml"
    path.write_text(CARD, encoding="utf-8")
    job = load_job(path)
    assert job.cut.observed == (Observed(0.012, 57.0, True), Observed(0.00635, 57.0, False))
    assert job.take.taps_path == str(tmp_path / "taps.json")
    save_job(job, tmp_path / "again.toml")
    text = (tmp_path / "again.toml").read_text(encoding="utf-8")
    assert text.count("[[observed]]") == 2 and 'taps = "taps.json"' in text
    assert load_job(tmp_path / "again.toml") == job
    assert job_from_plain(to_plain(job)) == job


@pytest.mark.parametrize(
    ("text", "made"),
    [
        ("12 mm at 57 rev/min chattered", Observed(0.012, 57.0, True)),
        ("12mm @ 57 chatters", Observed(0.012, 57.0, True)),
        ("0.5 in at 85 rpm quiet", Observed(0.0127, 85.0, False)),
        ("8 mm at 57 did not", Observed(0.008, 57.0, False)),
        ("8 mm  at 57  No Chatter", Observed(0.008, 57.0, False)),
    ],
)
def test_as_an_option(text: str, made: Observed) -> None:
    assert build_job({**LEAST, "cut.observed": [text]}).cut.observed == (made,)


def test_the_same_cut_counts_once_and_options_win() -> None:
    twice = build_job({**LEAST, "cut.observed": ["8 mm at 57 quiet", "8 mm at 57 quiet"]})
    assert len(twice.cut.observed) == 1
    merged = merge_job(twice, {"cut.observed": ["9 mm at 57 quiet"]})
    assert merged.cut.observed == (Observed(0.009, 57.0, False),)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("12 mm at 57 shouted", "write for example '12 mm at 57 rev/min chattered'"),
        ("12 mm chattered", "write for example"),
        ("12 at 57 chattered", "no unit"),
        ("12 mm at 57 mm chattered", "unknown unit"),
        ("12 m at 57 chattered", "not between"),
    ],
)
def test_refusals_of_options(text: str, says: str) -> None:
    with pytest.raises(JobError, match=says) as caught:
        build_job({**LEAST, "cut.observed": [text]})
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('depth = "12 mm"\n', "", "has no 'depth'"),
        ("chatters = true", 'chatters = "loud"', "neither yes nor no"),
        ("[[observed]]", "[[observd]]", "did you mean 'observed'"),
        ("chatters = true", "chattered = true", "did you mean 'chatters'"),
    ],
)
def test_refusals_of_cards(tmp_path: Path, old: str, new: str, says: str) -> None:
    path = tmp_path / "job.toml"
    path.write_text(CARD.replace(old, new, 1), encoding="utf-8")
    if old == "[[observed]]":
        path.write_text(CARD.replace(old, new), encoding="utf-8")
    with pytest.raises(CardError, match=says):
        load_job(path)
