"""Passes and idling of a recording in another order: where the truth says a cut is, one is."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from chatter.lab.fit.layouts import begun_and_ended, laid_out, through_gears
from chatter.lab.fit.truths import FitPass, TrueRecording

RATE = 8000


def _truth(*passes: tuple[float, float], rev_min: float = 600.0) -> TrueRecording:
    cut = frozenset(("chatter",))
    return TrueRecording(
        maker="one", path=Path("a.wav"), rev_min=rev_min, teeth=4, true_teeth=4,
        passes=tuple(FitPass(a, b, cut, rev_min, (500.0,)) for a, b in passes),
        known=True, whole=None, cutting=True, chatter=True,
    )  # fmt: skip


def _recording(*passes: tuple[float, float], length_s: float = 12.0) -> np.ndarray:
    """Idling hum of 90 Hz, and 500 Hz ten times as loud in the passes."""
    t = np.arange(int(length_s * RATE)) / RATE
    cutting = np.zeros(t.size)
    for start, end in passes:
        cutting[(t >= start) & (t < end)] = 1.0
    return 0.02 * np.sin(2 * np.pi * 90 * t) + 0.2 * cutting * np.sin(2 * np.pi * 500 * t)


@pytest.mark.parametrize("seed", range(20))
def test_a_cut_is_heard_where_the_truth_says_and_nowhere_else(seed):
    spans = [(3.0, 9.0)]
    rng = np.random.default_rng(seed)
    x, truth = laid_out(_recording(*spans), RATE, _truth(*spans), rng)
    t = np.arange(x.size) / RATE
    level = np.sqrt(np.convolve(x**2, np.ones(400) / 400, "same"))
    inside = np.zeros(x.size, bool)
    for one in truth.passes:
        assert one.end_s - one.start_s > 0.6 and one.chatter_hz == (500.0,)
        inside |= (t >= one.start_s) & (t < one.end_s)
    edges = np.flatnonzero(np.diff(inside.astype(int)))
    far = np.ones(x.size, bool)  # of the fades
    for edge in edges:
        far[max(edge - int(0.12 * RATE), 0) : edge + int(0.12 * RATE)] = False
    assert level[inside & far].min() > 0.07  # 0.14, less what the levels of passes differ by
    if (~inside & far).any():
        assert level[~inside & far].max() < 0.03
    assert truth.chatter is True


def test_layouts_differ_and_no_recording_grows_without_end():
    spans = [(3.0, 9.0)]
    made = [
        laid_out(_recording(*spans), RATE, _truth(*spans), np.random.default_rng(seed))
        for seed in range(60)
    ]
    counts = {len(truth.passes) for _, truth in made}
    assert min(counts) == 1 and max(counts) >= 8
    assert max(x.size for x, _ in made) < 36 * RATE
    assert any(truth.passes[0].start_s == 0.0 for _, truth in made)
    assert any(truth.passes[0].start_s > 5.0 for _, truth in made)


def test_passes_of_a_slow_saw_hold_some_turns_and_so_do_its_gaps():
    spans, turn_s = [(2.0, 11.0)], 60.0 / 57.0
    for seed in range(12):
        truth = _truth(*spans, rev_min=57.0)
        _, truth = laid_out(_recording(*spans), RATE, truth, np.random.default_rng(seed))
        for one in truth.passes:
            assert one.end_s - one.start_s > 2.3 * turn_s
        for one, after in zip(truth.passes, truth.passes[1:], strict=False):
            assert after.start_s - one.end_s > 1.3 * turn_s  # or they would be one pass


def test_without_idling_or_without_a_pass_there_is_nothing_to_lay_out():
    rng = np.random.default_rng(1)
    assert laid_out(_recording((0.0, 12.0)), RATE, _truth((0.0, 12.0)), rng) is None
    assert laid_out(_recording(), RATE, _truth(), rng) is None


def test_what_comes_and_goes_lies_on_what_lasts():
    t = np.arange(6 * RATE) / RATE
    lasting, coming = 0.05 * np.sin(2 * np.pi * 90 * t), 0.2 * np.sin(2 * np.pi * 1000 * t)
    shares = []
    for seed in range(30):
        x = begun_and_ended(lasting, coming, RATE, np.random.default_rng(seed))
        level = []
        for hz in (90, 1000):
            wave = np.exp(-2j * np.pi * hz * np.arange(x.size) / RATE)
            level.append(np.abs(np.convolve(x * wave, np.ones(800) / 800, "valid")))
        # it goes on, forwards or backwards; where it turns about its phase does too
        assert np.mean(level[0] > 0.02) > 0.97
        shares.append(np.mean(level[1] > 0.5 * level[1].max()))
        assert 1.5 * RATE < x.size < 40 * RATE
    assert min(shares) < 0.4 and max(shares) > 0.95  # some come and go, some never end


def test_the_tone_of_a_machine_moves_with_its_gears():
    tone = 0.1 * np.sin(2 * np.pi * 400 * np.arange(4 * RATE) / RATE)
    x = through_gears(tone, RATE, np.random.default_rng(3))
    heard = []
    for start in range(0, x.size - RATE, RATE):
        spectrum = np.abs(np.fft.rfft(x[start : start + RATE] * np.hanning(RATE)))
        heard.append(float(np.argmax(spectrum)))  # of a second: bins are Hz
    assert min(heard) > 195.0 and max(heard) < 810.0
    assert max(heard) > 1.1 * min(heard)
    assert np.median(np.abs(np.diff(heard))) < 3.0  # steps, not a glide
