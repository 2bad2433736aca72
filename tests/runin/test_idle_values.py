"""What is measured in idling: speed, meshes, sidebands, strikes, and gain that cancels."""

from __future__ import annotations

import numpy as np
import pytest

from chatter.errors import RecordingError
from chatter.runin.idle import hear_idle, idle_sound
from chatter.runin.items import LEVEL, items_of, speed_orders
from chatter.runin.measuring import measure_items
from chatter.runin.turning import spindle_heard

BULL = (61.0, 0.05, 0.2, 1.0)
BACK = (103.2, 0.03, 0.1, 2.4)
HZ = 4.4


def value_of(mill, idle, key, spindle_hz=HZ):
    items = items_of(mill)
    turning = spindle_heard(idle.sound, spindle_hz, speed_orders(mill, items), mains_hz=50.0)
    found = measure_items(idle, turning, mill, items, usual_hz=turning.spindle_hz)
    return found.values[key]


@pytest.mark.parametrize("off", [-0.045, 0.03])
def test_the_speed_is_heard_though_the_plate_is_off(mill, make_idle, off):
    idle = make_idle(HZ, meshes=(BULL, BACK), stated_hz=HZ / (1 + off))
    found = spindle_heard(idle.sound, HZ / (1 + off), speed_orders(mill, ()), mains_hz=50.0)
    assert found.heard
    # Frames of 2 s place a line at 268 Hz to about a tenth of half a hertz: 2e-4.
    assert found.spindle_hz == pytest.approx(HZ, rel=1e-3)


def test_no_speed_is_heard_in_hiss_and_hum(mill, make_idle):
    heard = [
        spindle_heard(
            make_idle(HZ, seed=seed).sound, HZ, speed_orders(mill, ()), mains_hz=50.0
        ).heard
        for seed in range(8)
    ]
    assert not any(heard)


def test_hiss_alone_has_no_lines():
    rng = np.random.default_rng(3)
    count = 0
    for _ in range(20):
        x = rng.standard_normal(8 * 24_000).astype(np.float32)
        count += len(idle_sound(lambda a, b, x=x: x[a:b], 0, len(x), 24_000, spindle_hz=4.0).lines)
    # One false line in a thousand spectra is stated; overlapping frames make it a few more.
    assert count <= 1


def test_sidebands_follow_the_depth_of_modulation(mill, make_idle):
    """Sidebands of a depth m lie 20 lg(m / 2) below their line: doubling m is 6.02 dB."""
    shallow, deep = (
        value_of(
            mill, make_idle(HZ, meshes=((61.0, 0.05, m, 1.0), BACK)), "gear:bull gear:sidebands"
        )
        for m in (0.2, 0.4)
    )
    assert shallow.heard and deep.heard
    assert shallow.value_db == pytest.approx(-20.0, abs=0.7)
    assert deep.value_db - shallow.value_db == pytest.approx(6.02, abs=0.6)


def test_unmodulated_gears_have_no_sidebands(mill, make_idle):
    still = value_of(
        mill, make_idle(HZ, meshes=((61.0, 0.05, 0.0, 1.0), BACK)), "gear:bull gear:sidebands"
    )
    assert not still.heard
    assert still.value_db < -30.0


def test_ratios_are_free_of_gain_and_levels_follow_it(mill, make_idle):
    for item in items_of(mill):
        try:
            quiet, loud = (
                value_of(mill, make_idle(HZ, meshes=(BULL, BACK), gain=g), item.key)
                for g in (0.1, 1.0)
            )
        except KeyError:
            continue  # hidden at this speed, in both
        change = loud.value_db - quiet.value_db
        assert change == pytest.approx(20.0 if item.sort == LEVEL else 0.0, abs=0.05)


def test_hum_is_the_reference_and_the_mesh_is_counted_from_it(mill, make_idle):
    idle = make_idle(HZ, meshes=(BULL, BACK), hum=0.01)
    items = items_of(mill)
    turning = spindle_heard(idle.sound, HZ, speed_orders(mill, items), mains_hz=50.0)
    found = measure_items(idle, turning, mill, items, usual_hz=HZ)
    assert {2.0, 4.0} <= set(found.references)
    # A sine of 0.01: 20 lg(0.01) - 3 dB mean square.
    assert found.references[2.0] == pytest.approx(-43.0, abs=0.3)


@pytest.mark.parametrize("fault", ["outer", "inner", "ball"])
def test_strikes_name_the_part_and_no_other(mill, make_idle, fault):
    items = [item for item in items_of(mill) if item.strikes]
    struck = next(item for item in items if item.key.endswith(fault))
    idle = make_idle(HZ, meshes=(BULL, BACK), strikes=(struck.at * 0.99, 0.05))
    turning = spindle_heard(idle.sound, HZ, speed_orders(mill, items), mains_hz=50.0)
    found = measure_items(idle, turning, mill, items, usual_hz=HZ).values
    assert found[struck.key].heard and found[struck.key].value_db > 10.0
    assert not [key for key, value in found.items() if value.heard and key != struck.key]


def test_without_strikes_none_are_heard(mill, make_idle):
    items = [item for item in items_of(mill) if item.strikes]
    count = 0
    for seed in range(12):
        idle = make_idle(HZ, meshes=(BULL, BACK), seed=seed)
        turning = spindle_heard(idle.sound, HZ, speed_orders(mill, items), mains_hz=50.0)
        found = measure_items(idle, turning, mill, items, usual_hz=HZ).values
        count += sum(value.heard for value in found.values())
    assert count <= 1  # 36 looks at one in a thousand


def test_parts_that_strike_alike_share_one_item(mill):
    from dataclasses import replace

    front = mill.bearings[0]
    twin = replace(front, name="rear bearing")
    shared = [item for item in items_of(replace(mill, bearings=(front, twin))) if item.strikes]
    assert len(shared) == 3
    assert all("front bearing" in item.title and "rear bearing" in item.title for item in shared)


def test_too_short_a_stretch_is_refused(tmp_path):
    import soundfile

    path = tmp_path / "short.wav"
    soundfile.write(path, 0.1 * np.ones(24_000 * 6), 24_000)
    with pytest.raises(RecordingError, match=r"gives 2\.0 s of idling"):
        hear_idle(path, spindle_hz=4.0, span_s=(1.0, 3.0))
