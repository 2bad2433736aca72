"""Lines turned down to the noise round them, and nothing else."""

from __future__ import annotations

import numpy as np
import pytest
import soundfile

from chatter.sound.intake import take_in
from chatter.teaching.quieting import quieted

RATE = 24_000


def made(path, tones, seconds=6.0, seed=0, swell=0.3):
    rng = np.random.default_rng(seed)
    t = np.arange(int(seconds * RATE)) / RATE
    x = 0.02 * rng.standard_normal(t.size)
    for hz, level in tones:
        x += level * (1 + swell * np.cos(2 * np.pi * 0.9 * t)) * np.sin(2 * np.pi * hz * t)
    soundfile.write(path, x.astype(np.float32), RATE, subtype="FLOAT")
    return x


def quieted_file(path, out, lines_hz):
    with take_in(path).spool as spool:
        quieted(spool, out, lines_hz)


def power_db(x, n=RATE):
    """Mean power spectrum in dB, bins of 1 Hz."""
    frames = np.lib.stride_tricks.sliding_window_view(x, n)[:: n // 2] * np.hanning(n)
    return 10 * np.log10(np.mean(np.abs(np.fft.rfft(frames)) ** 2, axis=0))


@pytest.fixture
def both(tmp_path):
    before = made(tmp_path / "cut.wav", [(900.0, 0.1), (2345.6, 0.05), (960.0, 0.03)])
    quieted_file(tmp_path / "cut.wav", tmp_path / "quiet.wav", (900.0, 2345.6))
    after, rate = soundfile.read(tmp_path / "quiet.wav")
    assert rate == RATE and after.shape == before.shape
    return before, after


def test_a_line_leaves_neither_peak_nor_hole(both):
    before, after = map(power_db, both)
    for hz in (900, 2346):
        beside = np.r_[hz - 60 : hz - 20, hz + 75 : hz + 110]
        noise = np.median(after[beside])
        assert before[hz] > noise + 30
        near = after[hz - 8 : hz + 9]
        # noise of some dozen frames scatters by 1.5 dB, and 17 bins of it hardly by 6
        assert near.max() < noise + 6 and near.min() > noise - 6


def test_everything_else_stays(both):
    before, after = both
    b, a = power_db(before), power_db(after)
    away = np.r_[100:880, 920:2320, 2370:11000]
    assert np.abs(a - b)[away].max() < 0.5
    assert a[960] == pytest.approx(b[960], abs=0.1)


def test_a_recording_without_that_line_stays_as_it_is(tmp_path):
    before = made(tmp_path / "cut.wav", [(960.0, 0.03)])
    quieted_file(tmp_path / "cut.wav", tmp_path / "quiet.wav", (1500.0,))
    after, _ = soundfile.read(tmp_path / "quiet.wav")
    # noise alone stands out of itself now and then, in a bin or two
    assert np.sqrt(np.mean((after - before) ** 2)) < 0.01 * np.std(before)


def test_a_short_recording_keeps_its_length(tmp_path):
    before = made(tmp_path / "cut.wav", [(900.0, 0.1)], seconds=0.3)
    quieted_file(tmp_path / "cut.wav", tmp_path / "quiet.wav", (900.0, 30.0, 11_990.0))
    after, _ = soundfile.read(tmp_path / "quiet.wav")
    assert after.shape == before.shape and np.isfinite(after).all()
