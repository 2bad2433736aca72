"""The parts of the sound, each against what it is meant to do."""

from dataclasses import replace

import numpy as np
import pytest

from chatter.lab.simulate.distractors import MAKERS
from chatter.lab.simulate.machine import machine_sound
from chatter.lab.simulate.phone import through_phone
from chatter.lab.simulate.room import room_response
from chatter.lab.simulate.rubbing import contact, plate_modes_hz, rubbing_sound
from chatter.lab.simulate.scene import MachineNoise, Phone, Rub, SimulatedRoom, Whine

RATE = 48_000
PLAIN = Phone(RATE, 10.0, 1, 0.0, -120.0, 0.5)
RUB = Rub(0.0, 0.9, 0.0, None, 0.15, 0.045, 1.6e-3)


def noise(n=RATE, seed=0):
    return np.random.default_rng(seed).standard_normal(n).astype(np.float32)


def band_db(x, low, high, rate=RATE):
    power = np.abs(np.fft.rfft(x)) ** 2
    hz = np.fft.rfftfreq(len(x), 1 / rate)
    return 10 * np.log10(power[(hz >= low) & (hz < high)].mean())


@pytest.mark.parametrize("tilt_db", [-4.0, 6.0])
def test_a_tilt_is_so_many_decibels_an_octave(tilt_db):
    """Beside the same noise without a tilt, so that chance cancels."""
    levels = []
    for phone in (PLAIN, replace(PLAIN, tilt_db_octave=tilt_db)):
        out = through_phone(noise(), RATE, phone, np.random.default_rng(1))
        levels.append([band_db(out, 0.9 * hz, 1.1 * hz) for hz in (500, 1000, 2000, 4000)])
    flat, tilted = np.array(levels)
    np.testing.assert_allclose(np.diff(tilted - flat), tilt_db, atol=0.3)


@pytest.mark.parametrize(
    ("size", "expected"),
    [
        ((0.150, 0.045, 1.6e-3), (471.9, 464.3, 563.8, 940.7, 1564)),
        ((0.100, 0.030, 1.0e-3), (663.7, 652.9, 792.8, 1323, 2199)),
        ((0.200, 0.060, 3.0e-3), (497.7, 489.7, 594.6, 992.1, 1650)),
    ],
)
def test_plate_modes(size, expected):
    # Annular plate, clamped inside and free outside, by a Bessel determinant (see PLATE).
    np.testing.assert_allclose(plate_modes_hz(*size)[:5], expected, rtol=1e-3)


def test_rubbing_swells_once_per_turn():
    turns = np.arange(20 * RATE) / RATE * 2.0  # 2 turns a second, 40 turns
    engaged = np.ones(len(turns), np.float32)
    sound = rubbing_sound(RUB, engaged, turns, RATE, np.random.default_rng(1))
    power = (sound**2).reshape(-1, RATE // 100).mean(axis=1)
    spectrum = np.abs(np.fft.rfft(power - power.mean()))
    per_s = np.fft.rfftfreq(len(power), 0.01)
    assert per_s[np.argmax(spectrum)] == pytest.approx(2.0, abs=0.06)
    assert band_db(sound, 1000, 8000) > band_db(sound, 50, 300) + 15


def test_contact_is_one_on_the_mean_and_touches_once_per_turn():
    turns = np.arange(10_000) / 1000.0
    press = contact(turns, RUB, np.random.default_rng(0))
    assert press.mean() == pytest.approx(1.0, abs=1e-5)
    assert press.min() < 0.1 and press.max() > 1.8


def test_squeal_is_a_narrow_line_near_a_plate_mode():
    rub = replace(RUB, squeal_db=12.0)
    turns = np.arange(6 * RATE) / RATE * 2.0
    sound = rubbing_sound(rub, np.ones(len(turns), np.float32), turns, RATE,
                          np.random.default_rng(3))  # fmt: skip
    power = np.abs(np.fft.rfft(sound * np.hanning(len(sound)))) ** 2
    hz = np.fft.rfftfreq(len(sound), 1 / RATE)
    top = hz[np.argmax(power)]
    modes = plate_modes_hz(0.15, 0.045, 1.6e-3)
    assert np.min(np.abs(modes / top - 1)) < 0.08  # modes are drawn within some per cent
    assert power.max() > 300 * np.median(power[(hz > 0.9 * top) & (hz < 1.1 * top)])


def test_gear_lines_follow_the_spindle_and_hum_does_not():
    machine = MachineNoise(0.0, (31.0,), 0.0, (), 50.0, 0.0, -60.0, 0.0, wave_db=0.0)
    for turn_rate in (3.0, 5.0):
        turns = np.arange(8 * RATE) / RATE * turn_rate
        full, none = np.ones(len(turns), np.float32), np.zeros(len(turns), np.float32)
        sound = machine_sound(machine, turns, full, none, RATE, np.random.default_rng(0))
        assert _line_db(sound, 31 * turn_rate) > 30
        assert _line_db(sound, 100.0) > 30
        assert _line_db(sound, 31 * turn_rate * 1.11) < 15


def _line_db(sound, f):
    power = np.abs(np.fft.rfft(sound * np.hanning(len(sound)))) ** 2
    hz = np.fft.rfftfreq(len(sound), 1 / RATE)
    near = np.abs(hz - f) < 0.4
    return 10 * np.log10(power[near].max() / np.median(power[np.abs(hz - f) < 12]))


def test_room_decays_in_its_time():
    room = SimulatedRoom(0.4, 3.0)
    tail = room_response(room, RATE, np.random.default_rng(0))[RATE // 50 :]
    energy = np.cumsum(tail[::-1].astype(float) ** 2)[::-1]
    level = 10 * np.log10(energy / energy[0])
    at = np.arange(len(level)) / RATE
    span = (level < -5) & (level > -25)
    slope = np.polyfit(at[span], level[span], 1)[0]
    assert -60 / slope == pytest.approx(0.4, rel=0.15)


def test_phone_rolls_off_below_its_corner():
    phone = replace(PLAIN, roll_off_hz=150.0, roll_off_order=2)
    heard = through_phone(noise(4 * RATE), RATE, phone, np.random.default_rng(0))
    # Two poles at 150 Hz: at 30 Hz about -28 dB, at 1 kHz none.
    drop = band_db(heard, 28, 32) - band_db(heard, 900, 1100)
    assert drop == pytest.approx(-28.3, abs=1.5)


def test_clipping_stops_at_full_scale():
    heard = through_phone(noise(), RATE, replace(PLAIN, peak=2.5), np.random.default_rng(0))
    assert np.mean(np.abs(heard) >= 1.0) > 0.02
    clean = through_phone(noise(), RATE, PLAIN, np.random.default_rng(0))
    assert np.mean(np.abs(clean) >= 1.0) == 0


def test_automatic_gain_squeezes_loud_and_soft_together():
    sound = noise(4 * RATE) * np.repeat([0.1, 1.0, 0.1, 1.0], RATE).astype(np.float32)
    steps = []
    for agc_db in (0.0, 12.0):
        heard = through_phone(sound, RATE, replace(PLAIN, agc_db=agc_db), np.random.default_rng(0))
        level = [np.std(heard[int((i + 0.5) * RATE) : (i + 1) * RATE]) for i in range(4)]
        steps.append(20 * np.log10(level[3] / level[2]))
    assert steps[0] == pytest.approx(20.0, abs=0.5)
    assert 5.0 < steps[1] < 16.0


def test_suppression_lowers_what_is_steady_more_than_what_is_not():
    steady = 0.1 * noise(6 * RATE)
    bursts = steady.copy()
    bursts[2 * RATE : 2 * RATE + 4800] += noise(4800, 1)
    phone = replace(PLAIN, suppression_db=15.0)
    off = through_phone(bursts, RATE, PLAIN, np.random.default_rng(0))
    on = through_phone(bursts, RATE, phone, np.random.default_rng(0))
    quiet, burst = slice(4 * RATE, 5 * RATE), slice(2 * RATE, 2 * RATE + 4800)
    lost_steady = 20 * np.log10(np.std(off[quiet]) / np.std(on[quiet]))
    lost_burst = 20 * np.log10(np.std(off[burst]) / np.std(on[burst]))
    assert lost_steady > lost_burst + 4


def test_band_limit_and_rates():
    phone = replace(PLAIN, band_limit_hz=7000.0)
    heard = through_phone(noise(), RATE, phone, np.random.default_rng(0))
    assert band_db(heard, 10_000, 12_000) < band_db(heard, 3000, 6000) - 50
    for rate in (8_000, 16_000, 44_100, 96_000):
        out = through_phone(noise(), RATE, replace(PLAIN, rate_hz=rate), np.random.default_rng(0))
        assert len(out) == pytest.approx(rate, abs=2)


@pytest.mark.parametrize("name", list(MAKERS))
def test_distractors_make_sound(name):
    sound = MAKERS[name](2 * RATE, RATE, np.random.default_rng(4))
    assert sound.shape == (2 * RATE,) and sound.dtype == np.float32
    assert np.all(np.isfinite(sound)) and np.std(sound) > 0


def test_music_is_made_of_notes_on_a_scale():
    """Narrow lines an instant, as chatter has, that step by whole semitones."""
    shares, steps = [], []
    for seed in range(12):
        sound = MAKERS["music"](8 * RATE, RATE, np.random.default_rng(seed))
        power = np.abs(np.fft.rfft(sound[: 8 * RATE].reshape(-1, RATE // 4) * np.hanning(12_000)))
        power = power**2
        shares.append(np.median(np.sort(power, axis=1)[:, -40:].sum(axis=1) / power.sum(axis=1)))
        steps.append(len(np.unique(power.argmax(axis=1))))
    assert np.median(shares) > 0.5
    assert np.median(steps) > 4


DRIVE = MachineNoise(
    0.0, (31.0,), 0.0, (), 50.0, -40.0, -60.0, 0.0, wave_db=0.0, side=0.0,
    comb_db=0.0, comb_orders=(3, 7), load_db=9.0,
)  # fmt: skip


def _driven(machine, load, turn_rate=4.0, seed=0):
    turns = np.arange(6 * RATE) / RATE * turn_rate
    full = np.ones(len(turns), np.float32)
    return machine_sound(machine, turns, full, load * full, RATE, np.random.default_rng(seed))


def test_lines_of_the_drive_grow_under_load():
    idle, loaded = (_driven(DRIVE, load) for load in (0.0, 1.0))
    for order in (3, 7, 31):
        power = [
            np.abs(np.fft.rfft(one * np.hanning(len(one))))[round(order * 4.0 * 6)]
            for one in (idle, loaded)
        ]
        assert 20 * np.log10(power[1] / power[0]) == pytest.approx(9.0, abs=0.2)


def test_the_combs_lines_stand_on_its_orders_only():
    sound = _driven(replace(DRIVE, gear_orders=(300.0,)), 0.0)
    for order in (3, 7):
        assert _line_db(sound, order * 4.0) > 30
    for order in (4, 6, 11):
        assert _line_db(sound, order * 4.0) < 20


def test_wheels_out_of_true_have_side_lines_at_the_turn():
    plain, swaying = (_driven(replace(DRIVE, side=side, comb_orders=()), 0.0) for side in (0, 1.0))
    for sound, least, most in ((plain, -90, 15), (swaying, 30, 120)):
        for beside in (-4.0, 4.0):
            assert least < _line_db(sound, 31 * 4.0 + beside) < most


@pytest.mark.parametrize(("hz", "order"), [(2155.0, 0.0), (0.0, 239.0)])
def test_a_whine_stays_or_follows_the_spindle(hz, order):
    whine = Whine(hz, order, 6.0, 0.0)
    for turn_rate in (3.0, 4.0):
        sound = _driven(replace(DRIVE, whines=(whine,)), 0.0, turn_rate)
        assert _line_db(sound, hz or order * turn_rate) > 30
        if order:
            assert _line_db(sound, order * 3.5) < 15


def test_audible_says_how_far_a_line_stands_out():
    from chatter.lab.simulate.audible import stands_out

    rng = np.random.default_rng(2)
    t = np.arange(8 * RATE) / RATE
    amplitude = 0.1
    sound = amplitude * np.sin(2 * np.pi * 800.0 * t) + rng.standard_normal(len(t))
    # Hann: noise of unit variance gives 1.5 x 2 / rate in a bin, a sine A^2 / 2.
    expected = 10 * np.log10(amplitude**2 / 2 / (1.5 * 2 / RATE))
    assert stands_out(sound, RATE, 800.0) == pytest.approx(expected, abs=1.5)
    assert stands_out(sound, RATE, 0.47 * RATE) is None
