"""Recordings: repeatable, within bounds, with a truth that survives JSON."""

import json
from dataclasses import replace

import numpy as np
import pytest

from chatter.lab.simulate import KINDS, draw_scene, ranges_development, ranges_reporting, simulate
from chatter.lab.simulate.truth import Truth
from chatter.plain import from_plain, to_plain


@pytest.mark.parametrize("kind", list(KINDS))
def test_every_kind_is_sound(kind):
    ranges = ranges_reporting
    regime = {"chatter_flip": "end_mill"}.get(kind, "side_mill")
    scene = _short(draw_scene(np.random.default_rng(11), kind, ranges, regime=regime))
    signal, rate, truth = simulate(scene, 4)
    assert signal.dtype == np.float32 and np.all(np.isfinite(signal))
    assert np.abs(signal).max() <= 1.0 and np.abs(signal).max() > 1e-3
    assert len(signal) / rate == pytest.approx(scene.duration_s, abs=0.01)
    assert from_plain(Truth, json.loads(json.dumps(to_plain(truth), allow_nan=False))) == truth


def _short(scene):
    """The first pass only: the test needs no more."""
    if not scene.passes:
        return scene
    return replace(scene, passes=scene.passes[:1], duration_s=scene.passes[0].end_s + 0.3)


def test_the_same_seed_is_the_same_recording():
    scenes = [
        draw_scene(np.random.default_rng(2), "side_rubbing", ranges_development) for _ in range(2)
    ]
    assert scenes[0] == scenes[1]
    first, again = (simulate(_short(scene), 4)[0] for scene in scenes)
    np.testing.assert_array_equal(first, again)


def test_another_seed_is_another_recording():
    scene = draw_scene(np.random.default_rng(1), "machine_only", ranges_development)
    a, b = (simulate(scene, seed)[0] for seed in (1, 2))
    assert not np.allclose(a[: len(b)], b[: len(a)])


def test_stated_job_carries_the_error_and_truth_does_not():
    scene = draw_scene(np.random.default_rng(2), "normal", ranges_development, regime="saw")
    scene = replace(scene, stated=replace(scene.stated, rev_min=1.04 * scene.rev_min, teeth=13))
    _, _, truth = simulate(scene, 0)
    assert truth.job.cut.speed_rev_min == pytest.approx(1.04 * scene.rev_min)
    assert truth.job.cutter.teeth == 13 and truth.true_teeth == scene.teeth.count
    assert truth.job.take.simulated
    one = truth.passes[0]
    sagged = scene.rev_min * (1 - scene.droop)
    # Wander is at most some tenths of a per cent, the lag of the sag a little more.
    assert sagged * 0.985 < one.rev_min < scene.rev_min * 1.015
    assert one.tooth_passing_hz == pytest.approx(one.rev_min / 60 * scene.teeth.count)


def test_speed_sags_while_cutting_only():
    scene = draw_scene(np.random.default_rng(2), "normal", ranges_development, regime="saw")
    plan = replace(scene.passes[0], start_s=4.0, end_s=10.0, entry_s=0.2, exit_s=0.2)
    scene = replace(scene, passes=(plan,), duration_s=12.0, droop=0.05, wander=0.0)
    _, _, truth = simulate(scene, 0)
    course = np.array(truth.speed_course)
    idle = course[course[:, 0] < 3.5, 1]
    cut = course[(course[:, 0] > 7) & (course[:, 0] < 9.5), 1]
    assert np.ptp(idle) < 1e-6 * idle[0]
    assert cut.mean() / idle.mean() == pytest.approx(0.95, abs=1e-3)


def test_stretches_and_passes_fill_the_recording():
    scene = draw_scene(np.random.default_rng(1), "normal", ranges_development)
    _, _, truth = simulate(scene, 0)
    outside = sum(s.end_s - s.start_s for s in truth.stretches if s.state in ("idle", "quiet"))
    inside = sum(p.end_s - p.start_s for p in truth.passes)
    assert outside + inside == pytest.approx(truth.duration_s)


def test_ranges_differ_where_it_matters():
    for name in ("damping", "machine_db", "room_s", "formats", "bank_modes", "roll_off_hz"):
        assert getattr(ranges_development, name) != getattr(ranges_reporting, name)


@pytest.mark.parametrize("bad", ["chater", "", "noise"])
def test_unknown_kind_is_refused_with_its_name(bad):
    with pytest.raises(ValueError, match=r"use one of"):
        draw_scene(np.random.default_rng(0), bad, ranges_development)
