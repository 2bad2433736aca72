"""What is drawn: layouts as in real takes, teeth without a gap between good and bad."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from chatter.lab.simulate.course import course_of
from chatter.lab.simulate.draw_layout import draw_layout
from chatter.lab.simulate.draw_parts import draw_cut
from chatter.lab.simulate.draw_teeth import draw_teeth
from chatter.lab.simulate.labels import UNEVEN
from chatter.lab.simulate.ranges import ranges_development as RANGES
from chatter.lab.simulate.ranges import ranges_true_running as TRUE_RUNNING
from chatter.lab.simulate.scene import PassPlan
from chatter.lab.simulate.stability import strokes

REGIMES = {one.name: one for one in RANGES.regimes}


def layouts(name: str | None = None, regime: str = "end_mill", rev_min: float = 1500.0, count=80):
    ranges = RANGES if name is None else replace(RANGES, layouts={name: 1.0})
    rng = np.random.default_rng(3)
    return [
        draw_layout(rng, ranges, REGIMES[regime], "normal", 0.2, 5e-5, rev_min)
        for _ in range(count)
    ]


@pytest.mark.parametrize("regime", list(REGIMES))
def test_passes_follow_each_other_within_the_recording(regime):
    rev_min = REGIMES[regime].rev_min[0]
    for one in layouts(regime=regime, rev_min=rev_min):
        times = [t for plan in one.passes for t in (plan.start_s, plan.end_s)]
        assert times == sorted(times) and times[0] >= 0 and times[-1] <= one.duration_s + 1e-9
        for plan in one.passes:
            assert plan.entry_s + plan.exit_s <= plan.end_s - plan.start_s
            assert (plan.end_s - plan.start_s) * rev_min / 60 > 8.9  # nine turns


def test_many_short_passes_with_short_gaps():
    some = layouts("many")
    assert max(len(one.passes) for one in some) >= 18
    gaps = [
        b.start_s - a.end_s
        for one in some
        for a, b in zip(one.passes, one.passes[1:], strict=False)
    ]
    assert min(gaps) < 0.6 and max(gaps) <= RANGES.gap_s[1]


def test_two_in_five_recordings_begin_and_end_in_the_cut():
    some = layouts(count=300)
    share = np.mean(
        [
            one.passes[0].start_s == 0 and one.passes[-1].end_s > one.duration_s - 1e-6
            for one in some
        ]
    )
    assert share == pytest.approx(0.42, abs=0.09)  # three standard errors


def test_late_passes_come_after_other_events():
    some = layouts("late")
    assert min(one.passes[0].start_s for one in some) >= RANGES.events_s[0]
    assert all(one.events[-1].end_s <= one.passes[0].start_s for one in some)
    assert len({event.name for one in some for event in one.events}) > 4


def test_back_to_back_cuts_touch_and_differ():
    for one in layouts("back_to_back"):
        first, second = one.passes
        assert 0 <= second.start_s - first.end_s < 0.11
        assert (first.width_m, first.direction, first.arc_turns) != (
            second.width_m, second.direction, second.arc_turns
        )  # fmt: skip


def test_the_spindle_runs_down_after_a_short_cut():
    for one in layouts("run_down"):
        assert one.passes[0].end_s - one.passes[0].start_s < 3
        assert one.spindle_to_s > one.passes[0].end_s and one.run_down_s >= 2


def test_gears_are_changed_while_idling():
    scene = draw_cut(np.random.default_rng(1), "machine_only", RANGES, REGIMES["saw"])
    scene = replace(
        scene, duration_s=12.0, wander=0.0, spindle_to_s=None, spindle_from_s=0.0,
        speed_steps=((4.0, 1.3), (8.0, 0.8)),
    )  # fmt: skip
    course = course_of(scene, np.random.default_rng(0))
    rate = course.rate_hz / course.hop
    for at, factor in ((2.0, 1.0), (6.0, 1.3), (10.0, 0.8)):
        got = course.turn_rate[int(at * rate)] * 60
        assert got == pytest.approx(factor * scene.rev_min, rel=1e-6)


def test_teeth_differ_by_any_amount_without_a_gap():
    rng = np.random.default_rng(8)
    plan = PassPlan(0, 9, "conventional", 0.12, 3e-3, 3e-5, 1, 1)
    span = 2 * np.pi * plan.arc_turns
    chip = plan.chip_load_m * (1 - np.cos(span)) / span
    spreads = []
    for index in range(600):
        kind = ("normal", "side_rubbing", "chatter_hopf", "uneven_teeth")[index % 4]
        regime = REGIMES[("saw", "side_mill", "end_mill")[index % 3]]
        count = int(rng.choice([one for one in regime.teeth if one > 1]))
        teeth = draw_teeth(rng, RANGES, regime, count, chip, kind)
        spreads.append(float(np.ptp(strokes(teeth, plan))))
    spreads = np.array(spreads)
    edges = np.arange(0.05, 2.01, 0.15)
    counts, _ = np.histogram(spreads, edges)
    assert counts.min() >= 5, counts
    # As thick just below the boundary of the verdict as just above it, within a factor of 3.
    below = np.sum((spreads > UNEVEN - 0.25) & (spreads < UNEVEN))
    above = np.sum((spreads > UNEVEN) & (spreads < UNEVEN + 0.25))
    assert 1 / 3 < below / above < 3


def test_true_running_cutters_strike_alike_and_some_cut_over_their_full_width():
    rng = np.random.default_rng(9)
    scenes = [
        draw_cut(rng, kind, TRUE_RUNNING, TRUE_RUNNING.regimes[2])
        for kind in 20 * ("normal", "chatter_hopf")
    ]
    spreads = [np.ptp(strokes(one.teeth, plan)) for one in scenes for plan in one.passes]
    assert np.median(spreads) < 0.06 and max(spreads) < 0.4  # unequal pitch is left as it is
    assert sum(one.immersion > 0.8 for one in scenes) >= 4
