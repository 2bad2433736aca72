"""Which speed a take is laid out by: the teeth's, another take's, or its own swelling's."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path

import pytest

from chatter.comparing.heard import Listened, hear_take
from chatter.comparing.pace import speeds
from chatter.comparing.take import fastest_of, measured_takes
from chatter.job.cards import load_job
from chatter.listening.front import taken_in

DEMO = Path(__file__).resolve().parents[2] / "recordings_demo"


@pytest.fixture(scope="module")
def takes() -> Iterator[tuple[Listened, Listened]]:
    """The plain saw, which rubs, and the staggered one, which does not: 55.4 rev/min both."""
    paths = DEMO / "02-slot-plain-saw.m4a", DEMO / "03-slot-staggered.m4a"
    with ExitStack() as held:
        yield tuple(
            hear_take(
                held.enter_context(taken_in(path)),
                load_job(path.with_suffix(".toml")),
                units="metric",
                progress=None,
            )
            for path in paths
        )


def told(take: Listened, *, heard: bool, off: float = 0.0) -> Listened:
    """The same take, its teeth unheard, or miscounted by a share."""
    passes = tuple(
        replace(
            one,
            spindle=replace(
                one.spindle,
                heard=heard,
                rev_min=one.spindle.rev_min * (1 + off),
                course=tuple((t, f * (1 + off)) for t, f in one.spindle.course),
            ),
        )
        for one in take.findings.passes
    )
    return replace(take, findings=replace(take.findings, passes=passes))


def found(*takes: Listened):
    return speeds(takes, fastest_hz=fastest_of(takes))


def test_a_heard_speed_comes_first(takes):
    for take, speed in zip(takes, found(*takes), strict=True):
        assert (speed.source, speed.parts_teeth) == ("heard", True)
        assert speed.rev_min == take.speed_rev_min
        (one,) = take.passes
        assert len(speed.course(one)) == len(one.spindle.course)


def test_a_speed_heard_in_another_take_serves_both(takes):
    plain, staggered = takes
    _, speed = found(plain, told(staggered, heard=False))
    assert (speed.source, speed.parts_teeth) == ("other take", True)
    assert speed.rev_min == plain.speed_rev_min


def test_where_no_teeth_are_heard_the_swelling_gives_the_turn(takes):
    plain, staggered = takes
    first, second = found(told(plain, heard=False), told(staggered, heard=False))
    assert (first.source, first.parts_teeth) == ("swelling", False)
    assert first.rev_min == pytest.approx(plain.speed_rev_min, rel=0.006)
    # the staggered cutter does not swell by itself
    assert (second.source, second.parts_teeth) == ("other take", False)


def test_the_swelling_alone_still_shows_the_rubbing(takes):
    with_teeth, by_swelling = (
        measured_takes([told(take, heard=heard) for take in takes]) for heard in (True, False)
    )
    for one, other in zip(with_teeth, by_swelling, strict=True):
        assert other.turns.rows == pytest.approx(one.turns.rows, abs=1)
    swings = [
        [float(abs(one.turns.swell.mean(axis=0)[4:, 1]).mean()) for one in measured]
        for measured in (with_teeth, by_swelling)
    ]
    assert swings[0] == pytest.approx(swings[1], rel=0.15)
    assert swings[0][0] > 3 * swings[0][1]


def test_miscounted_teeth_give_way_to_a_plain_swelling(takes):
    wrong, _ = found(told(takes[0], heard=True, off=-0.09), takes[1])
    assert (wrong.source, wrong.parts_teeth) == ("swelling", False)
    assert wrong.rev_min == pytest.approx(takes[0].speed_rev_min, rel=0.006)
    # half a per cent is no contradiction
    right, _ = found(told(takes[0], heard=True, off=0.005), takes[1])
    assert right.source == "heard"


def test_no_teeth_and_no_swelling_is_not_known(takes):
    assert found(told(takes[1], heard=False)) == [None]


def test_the_speed_a_take_was_laid_out_by_is_told(takes):
    from chatter.comparing.contrast import common_bands, side_features
    from chatter.comparing.sides import side_report

    plain = told(takes[0], heard=False)
    measured = measured_takes([plain])
    report = side_report(
        "plain", [plain], measured, side_features(measured, common_bands(measured))
    )
    (used,) = report.takes
    assert used.speed_from == "swelling"
    assert used.rev_min == pytest.approx(takes[0].speed_rev_min, rel=0.006)
    assert used.rev_min != plain.job.cut.speed_rev_min
