"""Short frames: band levels that are calibrated, times that are right, any length."""

from __future__ import annotations

import numpy as np
import pytest

from chatter.sound.frames import make_frames


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
