"""Fit to judge or not, with numbers."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from chatter.findings import Complaint
from chatter.sound.fitness import judge_fitness, length_complaint, with_further
from chatter.sound.intake import take_in


def fitness(path):
    sound = take_in(path)
    sound.spool.close()
    return judge_fitness(sound)


def names(fit):
    return {complaint.name for complaint in fit.complaints}


def by_name(fit, name) -> Complaint:
    return next(c for c in fit.complaints if c.name == name)


def unit_cut(make, seconds=6.0, **kwargs):
    sound = make.cut(seconds, **kwargs)
    return sound / sound.std()


CODERS = [
    ("a.wav", "pcm_s16le", 48000, {}),
    ("a.m4a", "aac", 48000, {"bit_rate": 64000}),
    ("b.m4a", "aac", 48000, {"bit_rate": 128000}),
    ("a.webm", "libopus", 48000, {}),
    ("a.mp3", "libmp3lame", 48000, {}),
    ("a.amr", "libopencore_amrnb", 8000, {"bit_rate": 12200}),
]


@pytest.mark.parametrize(("name", "encoder", "rate_hz", "options"), CODERS)
def test_an_ordinary_recording_is_not_blamed(make, name, encoder, rate_hz, options):
    sound = 0.1 * unit_cut(make, rate_hz=rate_hz)
    fit = fitness(make.encode(name, sound, encoder, rate_hz, **options))
    assert fit.fit
    assert names(fit) == ({"band_limit"} if rate_hz == 8000 else set())
    assert fit.clipped_share == 0.0
    assert fit.level_dbfs == pytest.approx(-20.0, abs=1.0)


# --- clipping -------------------------------------------------------------------------


# At a high bit rate little goes beyond full scale: the pile-up below it tells.
HIGH = ("c.m4a", "aac", 48000, {"bit_rate": 300_000})


@pytest.mark.parametrize(("name", "encoder", "rate_hz", "options"), [*CODERS, HIGH])
def test_clipping_is_seen_through_every_coder(make, name, encoder, rate_hz, options):
    """Noise and tones clipped at twice their r.m.s.: 4.6 % of samples, every frame."""
    sound = np.clip(0.5 * unit_cut(make, rate_hz=rate_hz), -1.0, 1.0)
    fit = fitness(make.encode(name, sound, encoder, rate_hz, **options))
    assert fit.clipped_share > 0.7
    assert not by_name(fit, "clipping").fatal, "still judgeable"
    assert fit.fit


# Not AMR: it keeps so little of a square wave that its depth cannot be read back.
@pytest.mark.parametrize(("name", "encoder", "rate_hz", "options"), CODERS[:5])
def test_a_square_wave_of_a_recording_is_unfit(make, name, encoder, rate_hz, options):
    sound = np.clip(2.5 * unit_cut(make, rate_hz=rate_hz), -1.0, 1.0)
    fit = fitness(make.encode(name, sound, encoder, rate_hz, **options))
    assert by_name(fit, "clipping").fatal
    assert not fit.fit


@pytest.mark.parametrize(("name", "encoder", "rate_hz", "options"), CODERS[:5])
def test_loud_but_whole_is_not_clipped(make, name, encoder, rate_hz, options):
    sound = unit_cut(make, rate_hz=rate_hz)
    fit = fitness(
        make.encode(name, 0.97 * sound / np.abs(sound).max(), encoder, rate_hz, **options)
    )
    assert fit.clipped_share < 0.01
    assert "clipping" not in names(fit)


@pytest.mark.parametrize("hertz", [25.0, 99.7, 1000.0, 5000.0])
@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_24", "FLOAT"])
def test_the_crest_of_a_tone_is_not_a_flat_top(make, hertz, subtype):
    t = np.arange(96000) / 48000
    tone = 0.98 * np.sin(2 * np.pi * hertz * t)
    assert fitness(make.write("a.wav", tone, subtype=subtype)).clipped_share == 0.0


@pytest.mark.parametrize("name", ["a.m4a", "a.mp3"])
def test_a_coded_tone_near_full_scale_is_not_clipped(make, name):
    t = np.arange(48000 * 6) / 48000
    noise = 0.01 * np.random.default_rng(3).standard_normal(len(t))
    tone = 0.93 * np.sin(2 * np.pi * 99.7 * t) + noise
    path = make.encode(name, tone, "aac" if name == "a.m4a" else "libmp3lame")
    assert fitness(path).clipped_share < 0.01


def test_a_flat_top_below_full_scale_and_on_one_side(make):
    """The microphone clips before the converter, and only one way."""
    sound = np.minimum(0.3 * unit_cut(make), 0.45)
    fit = fitness(make.write("a.wav", sound, subtype="PCM_16"))
    assert fit.clipped_share > 0.8


def test_flat_tops_that_later_crests_exceed_are_no_end_stop(make):
    sound = 0.15 * unit_cut(make, 6.0)
    sound[:96000] = np.clip(3 * sound[:96000], -0.3, 0.3)  # a distant loudspeaker, perhaps
    sound[200_000] = 0.9
    assert fitness(make.write("a.wav", sound)).clipped_share == 0.0


def test_clipping_on_one_channel_is_seen_although_the_mean_hides_it(make):
    clipped = np.clip(unit_cut(make), -1.0, 1.0)
    pair = np.stack([clipped, 0.1 * unit_cut(make, seed=4)], 1)
    assert fitness(make.write("a.wav", pair)).clipped_share > 0.9


def test_the_share_is_a_share_of_time(make):
    sound = 0.1 * unit_cut(make, 10.0)
    sound[96000:192000] = np.clip(10 * sound[96000:192000], -1, 1)  # 2 s of 10
    fit = fitness(make.write("a.wav", sound))
    assert fit.clipped_share == pytest.approx(0.2, abs=0.01)
    assert "20 %" in by_name(fit, "clipping").sentence


# --- level ----------------------------------------------------------------------------


def test_silence_is_fatal(make):
    fit = fitness(make.write("a.wav", np.zeros(96000, np.float32)))
    assert not fit.fit
    assert by_name(fit, "level").fatal
    assert names(fit) == {"level"}


def test_faint_is_said_but_judged(make):
    fit = fitness(make.write("a.wav", 1e-3 * unit_cut(make)))
    assert fit.fit
    assert by_name(fit, "level").value == pytest.approx(-60.0, abs=1.0)


def test_a_steady_offset_is_no_sound(make):
    fit = fitness(make.write("a.wav", np.full(96000, 0.25, np.float32)))
    assert by_name(fit, "level").fatal
    with_offset = fitness(make.write("b.wav", 0.1 * unit_cut(make) + 0.2))
    assert with_offset.level_dbfs == pytest.approx(-20.0, abs=0.1)


# --- automatic gain -------------------------------------------------------------------


def passes(count=4, on=3.0, off=3.0, background=0.005, ring_s=0.15, seed=1, rate_hz=16000):
    """Cuts that start and stop over the machine's own steady sound, in a room that rings."""
    rng = np.random.default_rng(seed)
    n = int(((on + off) * count + off) * rate_hz)
    gate = np.zeros(n)
    for i in range(count):
        start = int((off + i * (on + off)) * rate_hz)
        gate[start : start + int(on * rate_hz)] = 1.0
    keep = np.exp(-1.0 / (ring_s * rate_hz))
    level, rung = 0.0, np.empty(n)
    for i, target in enumerate(gate):
        level = target if target > level else level * keep
        rung[i] = level
    t = np.arange(n) / rate_hz
    cutting = rng.standard_normal(n) + sum(
        np.sin(2 * np.pi * 165.6 * k * t + k) for k in range(1, 12)
    )
    hum = np.convolve(rng.standard_normal(n), [1.0, 0.9, 0.7, 0.5, 0.3], "same")
    hum += np.sin(2 * np.pi * 100.0 * t)
    return (0.1 * rung * cutting / cutting.std() + background * hum / hum.std()).astype(np.float32)


def automatic_gain(sound, release_s, *, attack_s=0.05, target=0.1, most=20.0, rate_hz=16000):
    """Gain towards a target level: quick down, slow up."""
    hop = rate_hz // 100
    level = np.sqrt(np.mean(sound[: len(sound) // hop * hop].reshape(-1, hop) ** 2, axis=1))
    gain, now = np.empty(len(level)), 1.0
    for i, here in enumerate(level):
        wanted = np.clip(target / max(here, 1e-6), 0.05, most)
        tau = attack_s if wanted < now else release_s
        now *= (wanted / now) ** (1 - np.exp(-0.01 / tau))
        gain[i] = now
    return (sound * np.interp(np.arange(len(sound)), np.arange(len(level)) * hop, gain)).astype(
        np.float32
    )


ORDINARY = [
    {},
    {"on": 2.0, "off": 0.8, "count": 8},
    {"on": 1.0, "off": 0.6, "count": 12},
    {"on": 6.0, "off": 6.0, "count": 1},
    {"ring_s": 0.5},
    {"background": 0.02},
]


@pytest.mark.parametrize("how", ORDINARY)
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_cuts_that_start_and_stop_are_not_pumping(make, how, seed):
    fit = fitness(make.encode("a.m4a", passes(**how, seed=seed), "aac", 16000, bit_rate=64000))
    assert fit.gain_pumping_db == 0.0
    assert "gain_pumping" not in names(fit)


@pytest.mark.parametrize("release_s", [0.5, 1.0, 3.0])
@pytest.mark.parametrize("seed", [1, 2])
def test_an_automatic_gain_is_seen(make, release_s, seed):
    sound = automatic_gain(passes(seed=seed), release_s)
    fit = fitness(make.encode("a.m4a", sound, "aac", 16000, bit_rate=64000))
    # the gain swings by 26 dB at most; slow ones do not get all the way up in 3 s
    assert 5.0 < fit.gain_pumping_db < 26.0
    assert not by_name(fit, "gain_pumping").fatal


def test_a_fan_that_starts_after_the_cut_is_not_pumping(make):
    sound = passes(count=3)
    rng = np.random.default_rng(8)
    for end in (6.0, 12.0, 18.0):
        a, b = int((end + 1.2) * 16000), int((end + 3.0) * 16000)
        sound[a:b] += 0.03 * rng.standard_normal(b - a).astype(np.float32)
    assert fitness(make.write("a.wav", sound, 16000)).gain_pumping_db == 0.0


def test_a_rumble_that_grows_after_the_cut_is_not_pumping(make):
    """The lower bands creep up, the upper ones stay: no gain does that."""
    sound = passes(count=4)
    rumble = np.random.default_rng(8).standard_normal(len(sound))
    spectrum = np.fft.rfft(rumble)
    spectrum[np.fft.rfftfreq(len(sound), 1 / 16000) > 900.0] = 0.0
    rumble = np.fft.irfft(spectrum, len(sound))
    t = np.arange(len(sound)) / 16000
    since = (t - 6.0) % 6.0  # cuts end at 6, 12 ... s and start again 3 s later
    grows = np.where((t > 6.0) & (since < 3.0), 10 ** (since - 3.0), 0.0)
    sound = sound + (0.06 * grows * rumble).astype(np.float32)
    assert fitness(make.write("a.wav", sound, 16000)).gain_pumping_db == 0.0


@pytest.mark.parametrize("rev_min", [40.0, 57.0])
@pytest.mark.parametrize("shape", ["swell", "fall and creep"])
def test_rubbing_that_swells_once_a_turn_is_not_pumping(make, rev_min, shape):
    t = np.arange(20 * 16000) / 16000
    turn = (t * rev_min / 60.0) % 1.0
    db = {
        "swell": 8.0 * np.cos(2 * np.pi * turn) - 8.0,
        "fall and creep": np.where(turn < 0.45, 0.0, -20.0 + 18.0 * (turn - 0.45) / 0.55),
    }[shape]
    sound = 0.1 * 10 ** (db / 20) * np.random.default_rng(1).standard_normal(len(t))
    assert fitness(make.write("a.wav", sound, 16000)).gain_pumping_db == 0.0


def test_a_slowing_machine_is_not_pumping(make):
    t = np.arange(16 * 16000) / 16000
    fade = np.where(t > 8.0, np.exp(-(t - 8.0) / 1.5), 1.0)
    sound = 0.1 * fade * np.random.default_rng(1).standard_normal(len(t))
    assert fitness(make.write("a.wav", sound, 16000)).gain_pumping_db == 0.0


def test_a_noise_gate_is_seen(make):
    sound = passes()
    envelope = np.repeat(np.abs(sound[: len(sound) // 160 * 160]).reshape(-1, 160).max(1), 160)
    gated = np.where(envelope > 0.05, sound[: len(envelope)], 0.0)
    fit = fitness(make.write("a.wav", gated, 16000))
    assert 0.3 < by_name(fit, "gating").value < 0.6
    whole = np.r_[np.zeros(16000), sound, np.zeros(16000)]  # silence round the sound is no gate
    assert "gating" not in names(fitness(make.write("b.wav", whole, 16000)))


# --- band -----------------------------------------------------------------------------


@pytest.mark.parametrize("edge_hz", [3400.0, 5000.0, 8000.0, 16000.0])
def test_the_cliff_is_found(make, edge_hz):
    rng = np.random.default_rng(2)
    spectrum = np.fft.rfft(0.1 * rng.standard_normal(48000 * 4))
    hz = np.fft.rfftfreq(48000 * 4, 1 / 48000)
    spectrum[hz > edge_hz] *= 1e-3
    fit = fitness(make.write("a.wav", np.fft.irfft(spectrum)))
    assert fit.band_high_hz == pytest.approx(edge_hz, abs=200.0)
    assert ("band_limit" in names(fit)) == (edge_hz < 6000)


def test_a_whistle_is_no_cliff(make):
    rng = np.random.default_rng(2)
    t = np.arange(48000 * 4) / 48000
    whistle = 0.1 * np.sin(2 * np.pi * 5500.0 * t + 30.0 * np.sin(2 * np.pi * 8.0 * t))
    fit = fitness(make.write("a.wav", whistle + 0.01 * rng.standard_normal(len(t))))
    assert fit.band_high_hz == 24000.0


def test_a_room_that_swallows_treble_is_no_cliff(make):
    rng = np.random.default_rng(2)
    spectrum = np.fft.rfft(rng.standard_normal(48000 * 4))
    hz = np.fft.rfftfreq(48000 * 4, 1 / 48000)
    spectrum /= 1.0 + (hz / 500.0) ** 2  # 12 dB an octave
    fit = fitness(make.write("a.wav", 0.5 * np.fft.irfft(spectrum), subtype="PCM_24"))
    assert fit.band_high_hz == 24000.0


def test_a_low_cut_is_found(make):
    rng = np.random.default_rng(2)
    spectrum = np.fft.rfft(0.1 * rng.standard_normal(48000 * 4))
    hz = np.fft.rfftfreq(48000 * 4, 1 / 48000)
    spectrum *= (hz / 400.0) ** 4 / (1 + (hz / 400.0) ** 4)
    fit = fitness(make.write("a.wav", np.fft.irfft(spectrum)))
    # 20 dB down relative to the median of 200-1,000 Hz: at 0.56 times the corner, 225 Hz
    assert fit.band_low_hz == pytest.approx(225.0, abs=30.0)
    assert fitness(make.write("b.wav", 0.1 * unit_cut(make))).band_low_hz < 60.0


# --- damage, break, length ------------------------------------------------------------


def test_a_break_is_said_with_what_was_kept(make):
    path = make.encode("a.m4a", 0.1 * unit_cut(make), "aac", movflags="faststart")
    fit = fitness(make.head(path, 0.5))
    assert "2." in by_name(fit, "truncated").sentence
    assert fit.fit


@pytest.mark.parametrize(("bad", "fatal"), [(0.01, False), (0.3, True)])
def test_samples_that_were_no_sound_are_said(make, bad, fatal):
    sound = 0.1 * unit_cut(make)
    sound[: int(bad * len(sound))] = np.nan
    fit = fitness(make.write("a.wav", sound, subtype="FLOAT"))
    damage = by_name(fit, "damage")
    assert damage.value == pytest.approx(bad, rel=0.01)
    assert damage.fatal == fatal


@pytest.mark.parametrize(("lost", "replaced"), [(3, 0), (0, 900), (3, 900)])
def test_lost_packets_and_samples_that_were_no_sound_are_each_damage(make, lost, replaced):
    sound = take_in(make.write("a.wav", 0.1 * unit_cut(make)))
    sound.spool.close()
    assert "damage" not in names(judge_fitness(sound))
    stats = replace(sound.heard, lost_packets=lost, replaced=replaced)
    damage = by_name(judge_fitness(replace(sound, heard=stats)), "damage")
    assert ("3 packets could not be decoded" in damage.sentence) == bool(lost)
    assert ("900 samples" in damage.sentence) == bool(replaced)
    assert not damage.fatal


def test_length_in_revolutions():
    assert length_complaint(8.43, 57.0) is None  # 8.0085 revolutions
    short = length_complaint(6.0, 60.0)
    assert short.value == pytest.approx(6.0)
    assert "at least 8 revolutions, 2.0 more seconds" in short.sentence
    assert not short.fatal
    assert length_complaint(3.0, 60.0).fatal
    assert "12 more seconds" in length_complaint(0.0, 40.0).sentence
    assert length_complaint(0.7, 9000.0) is None


def test_complaints_from_elsewhere_count(make):
    short = length_complaint(1.0, 60.0)
    fit = with_further(fitness(make.write("a.wav", 0.1 * unit_cut(make))), (short,))
    assert fit.complaints[0] == short
    assert not fit.fit


def test_the_shortest_recordings_are_judged_without_a_crash(make):
    for n in (1, 2, 100, 959, 961, 5000):
        fitness(make.write("a.wav", 0.1 * np.ones(n, np.float32)))


def test_windows_are_sorted_a_part_at_a_time(monkeypatch):
    from chatter.sound import pumping

    level = np.cumsum(np.random.default_rng(4).standard_normal(1000))
    whole = pumping._running(level, 10)
    monkeypatch.setattr(pumping, "_AT_ONCE", 64)
    for one, other in zip(whole, pumping._running(level, 10), strict=True):
        assert np.array_equal(one, other)
    windows = np.lib.stride_tricks.sliding_window_view(level, 10)
    assert np.allclose(whole[0], np.median(windows, axis=1))
