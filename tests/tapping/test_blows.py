"""Strong rings in any noise, clips cut close, decays of two slopes, and what is no tap at all."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest

from chatter.errors import RecordingError
from chatter.lab.taps import (
    LEVELS_DB,
    OTHERS,
    RATE_HZ,
    SEEMING,
    STRONG,
    blow,
    repeated_blow,
    rng_of,
    row,
    tap_track,
)
from chatter.plain import to_json
from chatter.tapping.findings import read_taps
from chatter.tapping.taps import tap

MADE = np.array([f for f, *_ in (STRONG, *OTHERS)])


def named(found, f=STRONG[0]):
    return [m for m in found.modes if abs(m.frequency_hz / f - 1.0) < 0.01]


@pytest.mark.parametrize("noise_db", LEVELS_DB)
def test_a_strong_ring_is_named_whatever_the_draw_of_noise(noise_db):
    """One draw here, of four blows; ``python -m chatter.lab.taps`` prints twelve, of ten."""
    found = tap_track(repeated_blow(noise_db, 4, 4))
    (mode,) = named(found)
    assert mode.level_db == 0.0 and mode.taps == 4
    assert mode.frequency_hz == pytest.approx(795.0, abs=0.1)
    assert mode.damping_ratio == pytest.approx(0.0035, rel=0.03)
    assert all(np.abs(m.frequency_hz / MADE - 1).min() < 0.01 for m in found.modes)


def test_more_noise_never_gives_more_modes():
    counts = [row(level, 1, 3).modes[0] for level in LEVELS_DB]
    assert counts == sorted(counts, reverse=True)
    assert counts[0] == len(MADE) and counts[-1] >= 8


@pytest.mark.parametrize("name", SEEMING)
def test_other_sounds_give_no_mode(name):
    for draw in range(2):
        found = tap_track(SEEMING[name](rng_of(draw)))
        assert not found.modes and found.reason
    # cups do not sound alike, and a clock ticks
    said = {"a cafe": "do not sound alike", "a clock": "as evenly as a clock's"}.get(name, "")
    assert said in found.reason


def clips(folder, seconds, lead_ms, count=5):
    soundfile = pytest.importorskip("soundfile")
    rng = np.random.default_rng(3)
    paths = []
    for k in range(count):
        one = rng.uniform(0.4, 1.0) * blow(np.random.default_rng(7))
        x = np.concatenate([np.zeros(int(lead_ms * 1e-3 * RATE_HZ)), one])[: int(seconds * RATE_HZ)]
        paths.append(folder / f"blow-{seconds:g}-{lead_ms:g}-{k}.wav")
        soundfile.write(paths[-1], x + 1e-3 * rng.standard_normal(x.size), RATE_HZ)
    return paths


@pytest.mark.parametrize("seconds", [0.1, 0.2, 0.4, 1.0])
@pytest.mark.parametrize("lead_ms", [0.0, 1.0, 10.0, 35.0])
def test_clips_that_begin_with_the_blow_are_taken_together(tmp_path, seconds, lead_ms):
    paths = clips(tmp_path, seconds, lead_ms)
    found = tap(paths, what="arbor")
    assert [t.file for t in found.taps] == [p.name for p in paths]
    assert all(t.used for t in found.taps)
    assert all(abs(t.time_s - lead_ms * 1e-3) < 2e-3 for t in found.taps)
    (mode,) = named(found)
    assert mode.taps == 5 and mode.damping_ratio == pytest.approx(0.0035, rel=0.03)
    assert all(np.abs(m.frequency_hz / MADE - 1).min() < 0.01 for m in found.modes)
    assert found.source == "5 recordings, the first " + paths[0].name
    text = to_json(found)
    assert read_taps(text) == found and not any(
        math.isnan(v) for m in json.loads(text)["modes"] for v in m.values()
    )


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("count", [1, 2])
def test_fewer_than_three_taps_give_no_mode_but_say_what_rang(tmp_path, count):
    found = tap(clips(tmp_path, 0.4, 1.0, count))
    assert not found.modes
    assert ("Only one tap" if count == 1 else "Only two taps") in found.reason
    assert any(abs(d.mode.frequency_hz - 795.0) < 1.0 for d in found.doubtful)
    (line,) = found.doubts  # one reason, one line
    assert "795 Hz" in line and ("one tap only" if count == 1 else "two taps only") in line


def test_no_file_and_too_many_are_one_sentence():
    with pytest.raises(RecordingError, match="0 recordings of taps"):
        tap([])
    with pytest.raises(RecordingError, match="201 recordings"):
        tap(["x.wav"] * 201)


@pytest.mark.parametrize(("fast", "slow"), [(0.012, 0.005), (0.008, 0.004), (0.02, 0.008)])
def test_a_decay_of_two_slopes_gets_an_interval_that_holds_both(fast, slow):
    """A joint that slips while it rings hard: fast first, slow later, at one frequency."""
    rng = np.random.default_rng(5)
    t = np.arange(2 * RATE_HZ) / RATE_HZ
    w = 2 * np.pi * 640.0
    both = np.exp(-fast * w * t) + 0.4 * np.exp(-slow * w * t)
    one = (both / 1.4 * np.sin(w * t)) * 0.4
    x = np.concatenate([np.zeros(RATE_HZ // 2), np.tile(one, 4)])
    found = tap_track(x + 2e-4 * rng.standard_normal(x.size))
    (mode,) = named(found, 640.0)
    for damping in (fast, slow):
        assert abs(damping - mode.damping_ratio) <= 1.1 * mode.damping_spread
    assert mode.damping_spread < fast  # and no wider than it must be


def test_many_doubtful_rings_are_one_line_a_reason():
    from chatter.tapping.findings import DoubtfulMode, Room, TapFindings
    from chatter.trade.modes import Mode

    weak = [DoubtfulMode(Mode(500.0 + 7 * k, 0.01, level_db=-k), "it is weak") for k in range(34)]
    other = DoubtfulMode(Mode(94.0, 0.03), "it is low")
    found = TapFindings("", (), (), (*weak, other), Room(None, None, 0.0, None), "No.")
    first, second = found.doubts
    assert first.startswith("34 rings from 500 Hz to 731 Hz, the strongest at 500 Hz")
    assert first.count("Hz") < 9 and first.endswith("it is weak")
    assert second == "94 Hz; it is low"
