"""Short frames: band levels that are calibrated, times that are right, any length."""

from __future__ import annotations

import numpy as np
import pytest

import chatter.sound.frames as room
from chatter.sound.frames import FramesGatherer, make_frames


@pytest.fixture
def rng():
    return np.random.default_rng(8)


def frames_of(x, rate, **how):
    x = np.asarray(x, np.float32)
    return make_frames(lambda a, b: x[a:b], len(x), rate, **how)


@pytest.mark.parametrize("rate", [8000, 44100, 48000])
def test_white_noise_has_its_variance_in_every_band(rng, rate):
    frames = frames_of(0.3 * rng.standard_normal(4 * rate), rate)
    mean = frames.power.mean(axis=0)
    # the lowest bands hold one bin: 4 s of it, some 90 independent frames, scatter by 10 %
    np.testing.assert_allclose(mean, 0.09, rtol=0.35)
    np.testing.assert_allclose(mean[-6:], 0.09, rtol=0.05)
    assert 0.005 < frames.step_s < 0.03
    assert frames.edges_hz[-1] == pytest.approx(rate / 2)


def test_times_are_the_middles_of_the_frames():
    rate = 48000
    x = np.zeros(3 * rate)
    x[int(1.5 * rate)] = 1.0
    frames = frames_of(x, rate)
    level = frames.power.sum(axis=1)
    assert frames.time_s[np.argmax(level)] == pytest.approx(1.5, abs=frames.step_s)
    centre = np.average(frames.time_s, weights=level)
    assert centre == pytest.approx(1.5, abs=0.4 * frames.step_s)  # off by half a frame: 2 steps
    column = np.argmax(frames.picture_db.max(axis=0))
    assert frames.picture_time_s[column] == pytest.approx(1.5, abs=2 * frames.step_s)


def test_a_tone_stands_in_its_band_and_its_row():
    rate = 16000
    t = np.arange(2 * rate) / rate
    frames = frames_of(0.5 * np.sin(2 * np.pi * 1000 * t), rate)
    band = int(np.argmax(frames.power.mean(axis=0)))
    assert frames.edges_hz[band] <= 1000 < frames.edges_hz[band + 1]
    row = int(np.argmax(frames.picture_db.mean(axis=1)))
    assert frames.picture_hz[row] == pytest.approx(1000, rel=0.04)


@pytest.mark.parametrize("length", [1, 100, 2047, 2048, 2049, 6000])
def test_any_length_gives_frames(rng, length):
    frames = frames_of(0.1 * rng.standard_normal(length), 48000)
    assert frames.power.shape[0] == frames.time_s.size >= 1
    assert frames.picture_db.shape == (frames.picture_hz.size, frames.picture_time_s.size)
    assert np.all(np.isfinite(frames.power)) and np.all(np.isfinite(frames.picture_db))


def test_long_recordings_keep_the_picture_small_and_lose_no_event(rng):
    rate = 8000
    x = 1e-4 * rng.standard_normal(60 * rate)
    t = np.arange(400) / rate
    x[30 * rate : 30 * rate + 400] += np.sin(2 * np.pi * 2000 * t)
    shares = []
    frames = frames_of(x, rate, progress=shares.append)
    assert frames.picture_db.shape[1] <= 1500
    row = int(np.argmin(np.abs(frames.picture_hz - 2000)))
    column = int(np.argmax(frames.picture_db[row]))
    assert frames.picture_time_s[column] == pytest.approx(30.03, abs=0.08)
    assert shares == sorted(shares) and shares[-1] == pytest.approx(1.0)


@pytest.mark.parametrize("size", [700, 65536, 10**6])
def test_blocks_of_any_length_give_the_same_frames(rng, size):
    x = (0.1 * rng.standard_normal(24000 * 20)).astype(np.float32)
    whole = frames_of(x, 24000)
    gatherer = FramesGatherer(24000)
    for start in range(0, len(x), size):
        gatherer.feed(x[start : start + size])
    streamed = gatherer.finish()
    for name in ("time_s", "power", "picture_db", "picture_time_s"):
        np.testing.assert_array_equal(getattr(streamed, name), getattr(whole, name))


def test_the_number_of_moments_is_bounded_and_their_means_are_kept(rng, monkeypatch):
    """Of a long recording two moments become one: level, times and events stay where they are."""
    rate = 8000
    x = 0.01 * rng.standard_normal(60 * rate)
    x[40 * rate : 42 * rate] += 0.2 * rng.standard_normal(2 * rate)
    fine = frames_of(x, rate)
    monkeypatch.setattr(room, "MOST_MOMENTS", 500)
    coarse = frames_of(x, rate)
    assert len(fine.power) > 2000 and 250 <= len(coarse.power) <= 500
    per = round(coarse.step_s / fine.step_s)
    assert per == 8
    np.testing.assert_allclose(
        coarse.power[:250], fine.power[: 250 * per].reshape(250, per, -1).mean(axis=1), rtol=1e-5
    )
    np.testing.assert_allclose(
        coarse.time_s[:250], fine.time_s[: 250 * per].reshape(250, per).mean(axis=1), rtol=1e-9
    )
    loud = coarse.time_s[coarse.power.sum(axis=1) > 0.1]
    assert loud[0] == pytest.approx(40.0, abs=0.2) and loud[-1] == pytest.approx(42.0, abs=0.2)
    np.testing.assert_array_equal(coarse.picture_db, fine.picture_db)
