"""Tap test: taps found, modes and damping right, room and gain told apart, honest doubt."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from chatter.errors import CardError, OutputError, RecordingError
from chatter.tapping.findings import load_taps, save_taps
from chatter.tapping.taps import analyse, tap
from chatter.trade.modes import mode_below
from tests.tapping.taps_made import make_taps

RATE = 48000
MODES = (
    (94.0, 0.030, 1.0),
    (212.0, 0.020, 0.8),
    (478.8, 0.032, 1.0),
    (905.0, 0.012, 0.5),
    (960.0, 0.011, 0.5),
    (1812.0, 0.008, 0.4),
    (3100.0, 0.010, 0.2),
)


def heard(modes=MODES, *, seed=3, rate_hz=RATE, **how):
    x = make_taps(modes, rate_hz=rate_hz, rng=np.random.default_rng(seed), **how)
    return analyse(lambda a, b: x[a:b], len(x), rate_hz)


@pytest.mark.parametrize(("noise", "rel_f", "rel_z"), [(2e-4, 1e-3, 0.02), (2e-3, 3e-3, 0.06)])
def test_modes_and_damping(noise, rel_f, rel_z):
    """Peaks are at 0.3 of full scale, so noise 2e-3 is 40 dB below them."""
    found = heard(noise=noise)
    assert len(found.taps) == 5 and all(t.used for t in found.taps)
    assert found.reason is None and not found.doubtful
    assert len(found.modes) == len(MODES)
    for mode, (f, z, _) in zip(found.modes, MODES, strict=True):
        assert mode.frequency_hz == pytest.approx(f, rel=rel_f)
        assert mode.damping_ratio == pytest.approx(z, rel=rel_z)
        assert mode.taps == 5
        assert abs(mode.frequency_hz - f) < 4 * mode.frequency_spread_hz + 1e-3 * f
        assert abs(mode.damping_ratio - z) < 4 * mode.damping_spread + 0.01 * z


def test_tap_times():
    found = heard()
    gaps = np.diff([t.time_s for t in found.taps])
    np.testing.assert_allclose(gaps, 1.5, atol=0.06)  # jittered by up to 0.05 s


def test_double_hits_are_rejected():
    found = heard(double=(1, 3))
    rejected = [i for i, t in enumerate(found.taps) if not t.used]
    assert rejected == [1, 3]
    assert {found.taps[i].why_not for i in rejected} == {"double hit"}
    assert [round(m.frequency_hz) for m in found.modes] == [94, 212, 479, 905, 960, 1812, 3100]
    assert all(m.taps == 3 for m in found.modes)


def test_all_double_cannot_tell():
    found = heard(taps=3, double=(0, 1, 2))
    assert not found.modes
    assert "None of the 3 taps" in found.reason and "double hit" in found.reason


@pytest.mark.parametrize(("room_s", "seed"), [(0.5, 3), (0.9, 8), (0.35, 5)])
def test_loud_room_is_not_taken_for_modes(room_s, seed):
    found = heard(room_s=room_s, room_level=0.3, seed=seed)
    assert found.room.reverberation_s == pytest.approx(room_s, rel=0.25)
    assert not found.modes
    assert "room" in found.reason


@pytest.mark.parametrize("seed", [4])
def test_quiet_room_widens_the_spread(seed):
    """What is still called sure holds within three of its own spreads, or 12 %."""
    found = heard(room_s=0.5, room_level=0.05, seed=seed, taps=8)
    assert found.room.reverberation_s == pytest.approx(0.5, rel=0.25)
    assert found.modes
    for mode in found.modes:
        f, z, _ = min(MODES, key=lambda m: abs(m[0] - mode.frequency_hz))
        assert mode.frequency_hz == pytest.approx(f, rel=0.01)
        assert abs(mode.damping_ratio - z) < max(3 * mode.damping_spread, 0.12 * z)


def test_no_room_is_heard_where_there_is_none():
    for seed in (0, 1):
        assert heard(seed=seed, taps=4).room.reverberation_s is None


def test_gain_recovery_is_seen_and_its_victim_named():
    found = heard(gain=(12.0, 0.4))
    assert found.room.gain_dip_db == pytest.approx(12.0, abs=2.5)
    assert found.room.gain_recovery_s == pytest.approx(0.4, rel=0.3)
    # 12 dB in 0.4 s bends 3.5 per second: 20 % of the 94 Hz ring (18 per second), 5 % of 479 Hz.
    assert any("gain" in d.why and abs(d.mode.frequency_hz - 94) < 2 for d in found.doubtful)
    sure = {round(m.frequency_hz): m.damping_ratio for m in found.modes}
    assert 94 not in sure
    for f, z, _ in MODES[2:]:
        assert sure[round(f)] == pytest.approx(z, rel=0.05)
    assert heard().room.gain_dip_db == 0.0


def test_clicks_without_ringing_cannot_tell():
    found = heard(modes=())
    assert not found.modes and "No ringing" in found.reason


def test_silence_and_noise_cannot_tell():
    noise = 1e-3 * np.random.default_rng(0).standard_normal(5 * RATE)
    for x in (np.zeros(5 * RATE), noise, noise[:100]):
        found = analyse(lambda a, b, x=x: x[a:b], len(x), RATE)
        assert not found.taps and "No taps" in found.reason


def test_one_tap_gives_no_mode_but_says_what_rang():
    found = heard(taps=1)
    assert not found.modes and "Only one tap" in found.reason
    assert {479, 212} <= {round(d.mode.frequency_hz) for d in found.doubtful}


def test_clipped_taps_are_not_used():
    x = make_taps(MODES, taps=4, rng=np.random.default_rng(1))
    x = np.clip(10 * x, -1, 1)
    found = analyse(lambda a, b: x[a:b], len(x), RATE)
    assert {t.why_not for t in found.taps} == {"clipped"}


def test_phone_rate():
    found = heard(rate_hz=16000)
    assert [round(m.frequency_hz) for m in found.modes] == [94, 212, 479, 905, 960, 1812, 3100]


def test_file_store_and_mode_below(tmp_path):
    soundfile = pytest.importorskip("soundfile")
    x = make_taps(MODES, taps=5, rng=np.random.default_rng(2))
    soundfile.write(tmp_path / "arbor.flac", x, RATE)
    found = tap(tmp_path / "arbor.flac", what="arbor", simulated=True)
    save_taps(found, tmp_path / "arbor.json")
    again = load_taps(tmp_path / "arbor.json")
    assert again == found
    assert (again.what, again.simulated, again.source) == ("arbor", True, "arbor.flac")
    assert mode_below(again.modes, 935.0).frequency_hz == pytest.approx(905, abs=1)
    assert mode_below(again.modes, 700.0) is None


def test_bad_files_get_a_sentence(tmp_path):
    with pytest.raises(RecordingError):
        tap(tmp_path / "none.wav")
    with pytest.raises(CardError, match="cannot be read"):
        load_taps(tmp_path / "none.json")
    (tmp_path / "text.json").write_text("no")
    with pytest.raises(CardError, match="not JSON"):
        load_taps(tmp_path / "text.json")
    for wrong in ({}, [], {"schema_version": 1}, {"schema_version": 1, "taps": 3}):
        (tmp_path / "other.json").write_text(json.dumps(wrong))
        with pytest.raises(CardError, match="not a tap test"):
            load_taps(tmp_path / "other.json")
    (tmp_path / "old.json").write_text('{"schema_version": 99}')
    with pytest.raises(CardError, match="version 99"):
        load_taps(tmp_path / "old.json")
    with pytest.raises(OutputError, match="cannot be written"):
        save_taps(replace(heard(taps=1)), tmp_path / "no" / "place.json")
