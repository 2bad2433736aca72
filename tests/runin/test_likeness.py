"""Another machine, speed or sound under the same name; combs of others; levels alone."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest

from chatter.errors import JobError
from chatter.job.machine import Gear, Machine
from chatter.runin.entries import LogEntry
from chatter.runin.hypotheses import gear_tests, would_be
from chatter.runin.idle import idle_sound
from chatter.runin.items import items_of, speed_orders
from chatter.runin.likeness import no_idling, unlike
from chatter.runin.measuring import measure_items
from chatter.runin.rays import SpeedLines, rays_of_unknown_speeds
from chatter.runin.striking import all_strikes
from chatter.runin.study import questions, study
from chatter.runin.taking import check_likeness
from chatter.runin.turning import IdleSpeed, spindle_heard

RATE_HZ = 24_000
HZ = 190.0 / 60.0
BULL, BACK = (61.0, 0.02, 0.3, 1.0), (43 * 2.4, 0.02, 0.3, 2.4)
OTHER = ((37.0, 0.02, 0.3, 1.7), (71.3, 0.02, 0.3, 0.9))


def heard(x, spindle_hz=HZ):
    return idle_sound(lambda a, b: x[a:b], 0, x.size, RATE_HZ, spindle_hz=spindle_hz)


def noise(seconds=6.0, seed=0):
    return 0.01 * np.random.default_rng(seed).standard_normal(int(seconds * RATE_HZ))


@pytest.fixture(scope="module")
def same(make_idle):
    return [make_idle(HZ, meshes=(BULL, BACK), seed=k, seconds=8.0) for k in range(3)]


# ---------------------------------------------------------------- no idling at all


def test_a_dog_is_no_machine():
    x = noise()
    t = np.arange(RATE_HZ // 3) / RATE_HZ
    for at in (1.0, 2.2, 4.0):
        k = int(at * RATE_HZ)
        x[k : k + t.size] += 0.5 * np.sin(2 * np.pi * 700 * t) * np.hanning(t.size)
    assert "the level wanders by" in no_idling(heard(x), HZ)


def test_rain_is_no_machine():
    assert "no lines of gears" in no_idling(heard(noise()), HZ)


def test_a_cut_stands_on_the_spindles_multiples():
    """A machining centre at 1501 rev/min, recorded while it cut: 90 of 92 lines on turn orders."""
    spindle = 1501.0 / 60.0
    t = np.arange(8 * RATE_HZ) / RATE_HZ
    rng = np.random.default_rng(2)
    x = noise(8.0) + sum(
        0.01 * np.sin(2 * np.pi * (k * spindle * t + rng.random())) for k in range(1, 60)
    )
    assert "is this a cut?" in no_idling(heard(x, spindle), spindle)


def test_idling_is_left_alone(same):
    assert all(no_idling(one, HZ) is None for one in same)


# ---------------------------------------------------------------- another machine or speed


def test_the_same_machine_is_never_asked_of(make_idle, same):
    before = [(190.0, one) for one in same]
    for k, change in enumerate(
        (
            {"gain": 0.5},
            {"strikes": (5.6, 0.05)},  # a bearing that went bad is the same machine
            {"meshes": ((61.0, 0.006, 0.3, 1.0), BACK)},  # and so is a gear that wore in
            {"meshes": ((61.0, 0.02, 0.9, 1.0), BACK)},
        )
    ):
        new = make_idle(HZ * 1.004, **{"meshes": (BULL, BACK), "seed": 20 + k, **change})
        assert unlike(new, 190.0, before, 50.0) is None


def test_another_machine_is_asked_of(make_idle, same):
    new = make_idle(HZ, meshes=OTHER, seed=9)
    said = unlike(new, 190.0, [(190.0, one) for one in same], 50.0)
    assert (
        said == "this does not sound like the recordings before: another machine, speed or place?"
    )


def test_another_speed_is_named(make_idle, same):
    before = [(190.0, one) for one in same]
    before.append((90.0, make_idle(1.5, meshes=(BULL, BACK), seed=5)))
    new = make_idle(1.5, meshes=(BULL, BACK), seed=6)
    assert "sounds like the recordings at 90 rev/min, not 190" in unlike(new, 190.0, before, 50.0)


def test_another_speed_is_named_though_only_one_is_known(make_idle, same):
    before = [(190.0, one) for one in same]
    still = make_idle(HZ, meshes=(BULL, BACK, *OTHER), seed=6)
    said = unlike(still, 900.0, [(190.0, make_idle(HZ, meshes=(BULL, BACK, *OTHER), seed=5))], 50.0)
    assert (
        said
        == "this sounds like the recordings at 190 rev/min, not 900: is the speed stated right?"
    )
    moved = make_idle(HZ * 900 / 190, meshes=(BULL, BACK), seed=6)
    assert unlike(moved, 900.0, before, 50.0) is None


def test_it_is_asked_before_a_date_is_added(mill, make_idle, same):
    day = date(2026, 3, 1)
    log = [
        LogEntry("idle", day + timedelta(days=k), None, Path(f"{k}.wav"), 190.0) for k in range(3)
    ]
    sounds = dict(zip(log, same, strict=True))
    new = LogEntry("idle", day + timedelta(days=9), None, Path("new.wav"), 190.0)
    sounds[new] = make_idle(HZ, meshes=OTHER, seed=9)
    with pytest.raises(JobError, match=r"new\.wav: this does not sound like .* --anyway"):
        check_likeness(new, mill, log, hear=sounds.__getitem__)
    sounds[new] = make_idle(HZ, meshes=(BULL, BACK), seed=31)
    check_likeness(new, mill, log, hear=sounds.__getitem__)


def test_a_log_that_holds_another_machine_never_says_no_change(mill, make_idle):
    day = date(2026, 3, 1)
    entries, sounds = [], {}
    for k in range(8):
        one = LogEntry("idle", day + timedelta(days=k), None, Path(f"{k}.wav"), 190.0, "a", "stand")
        entries.append(one)
        meshes = OTHER if k == 7 else (BULL, BACK)
        sounds[one] = make_idle(HZ, meshes=meshes, seed=40 + k, seconds=6.0)
    done = study(mill, entries, hear=sounds.__getitem__)
    (asked,) = done.questions
    assert asked.entry.day == day + timedelta(days=7)
    assert not {"same", "better"} & {one.verdict for one in done.trends}
    fine = study(mill, entries[:7], hear=sounds.__getitem__)
    assert not fine.questions and "same" in {one.verdict for one in fine.trends}


def test_a_voice_of_its_own_is_asked_of_once(mill, make_idle):
    """A machine that knocks once a turn, and one that was given another belt for good."""
    day = date(2026, 3, 1)
    spindle = 1500.0 / 60.0
    t = np.arange(6 * RATE_HZ) / RATE_HZ
    knock = sum(0.01 * np.sin(2 * np.pi * k * spindle * t + k * k) for k in range(1, 50))
    log = [LogEntry("idle", day + timedelta(days=k), rev_min=1500.0) for k in range(4)]
    sounds = [heard(noise(6.0, seed=k) + knock, spindle) for k in range(4)]
    asked = questions(mill, list(zip(log, sounds, strict=True)))
    assert [one.entry.day for one in asked] == [day] and "is this a cut?" in asked[0].reason
    log = [LogEntry("idle", day + timedelta(days=k), rev_min=190.0) for k in range(7)]
    sounds = [
        make_idle(HZ, meshes=OTHER if k > 2 else (BULL, BACK), seed=60 + k, seconds=6.0)
        for k in range(7)
    ]
    asked = questions(mill, list(zip(log, sounds, strict=True)))
    assert [one.entry.day.day for one in asked] == [4, 5]


# ---------------------------------------------------------------- combs and levels


def test_strikes_on_a_comb_of_something_else_are_not_blamed(mill, make_idle):
    """An outer ring at four times its own shaft, where a motor's comb lies too."""
    bearing = replace(mill.bearings[0], balls=10, ball_diameter_m=0.0143, contact_angle_rad=0.0)
    machine = replace(mill, bearings=(bearing,))
    items = items_of(machine)
    outer = next(i for i in items if i.key.endswith("outer"))
    hz = 12.0
    comb = make_idle(hz, meshes=(BULL,), strikes=(outer.at * 0.99 / 4, 0.04))
    values, hidden, combed = all_strikes(comb.envelope, hz, machine, items)
    assert outer.key not in values and outer.key in hidden and outer.key in combed
    pit = make_idle(hz, meshes=(BULL,), strikes=(outer.at * 0.99, 0.04))
    values, _, combed = all_strikes(pit.envelope, hz, machine, items)
    assert values[outer.key].heard and not combed
    turning = spindle_heard(comb.sound, hz, speed_orders(machine, items), mains_hz=50.0)
    found = measure_items(
        comb, IdleSpeed(hz, True, turning.relative_error), machine, items, usual_hz=hz
    )
    assert outer.key in found.combed


# ---------------------------------------------------------------- drive lines and hypotheses


def _lines(spindle, lines, levels):
    at = np.argsort(lines)
    return SpeedLines(spindle, np.array(lines)[at], np.array(levels)[at], 0.5, 50.0, 11_000.0, 0.02)


def test_a_loud_drive_line_is_not_lost_among_sixty_faint_ones():
    """A lathe's drive at 239.2 turns: 562, 722 and 819 Hz, by a dial that is off by 1 %."""
    found = 0
    for seed in range(5):
        rng = np.random.default_rng(seed)
        made = []
        for dial, line in ((141.0, 562.0), (182.0, 722.0), (204.0, 819.2)):
            faint = np.exp(rng.uniform(np.log(60.0), np.log(10_000.0), 59))
            levels = [*rng.uniform(8.0, 16.0, 59), 30.0]
            made.append(_lines(dial / 60.0, [*faint, line], levels))
        rays, speeds = rays_of_unknown_speeds(made, draws=9)
        loud = next((r for r in rays if r.turns and abs(r.at / 239.2 - 1) < 0.01), None)
        if loud is not None:
            found += 1
            assert len(loud.members) == 3
            ratios = [s.spindle_hz * loud.at for s in speeds]
            np.testing.assert_allclose(ratios, (562.0, 722.0, 819.2))
    assert found == 5


def test_loud_lines_that_stay_are_no_drive():
    rng = np.random.default_rng(3)
    made = [
        _lines(d / 60.0, [*np.exp(rng.uniform(4.2, 9.0, 40)), 880.0], [*rng.uniform(8, 16, 40), 30])
        for d in (141.0, 182.0, 240.0)
    ]
    rays, _ = rays_of_unknown_speeds(made, draws=9)
    assert not [r for r in rays if r.turns and r.chance > 1e-3]


def test_a_gear_of_the_card_is_borne_out_or_not():
    rng = np.random.default_rng(1)
    made = []
    for dial in (60.0, 90.0, 130.0, 190.0):
        faint = np.exp(rng.uniform(np.log(60.0), np.log(10_000.0), 30))
        levels = [*rng.uniform(8.0, 14.0, 30), 22.0]
        made.append(
            replace(_lines(dial / 60, [*faint, 61 * dial / 60], levels), relative_error=1e-3)
        )
    right, wrong = gear_tests(made, (Gear("bull gear", 61, 1.0), Gear("other", 53, 1.0)))
    assert (right.heard, right.possible) == (4, 4) and right.chance < 1e-4
    assert right.says == "borne out: a line at 4 of 4 speeds, 22 dB out of the noise"
    assert wrong.says.startswith("not borne out") and wrong.chance > 0.01
    assert gear_tests(made, Machine().gears) == ()
    assert "a gear of 61 teeth on the spindle" in would_be(61.05)
    assert "teeth times ratio are 239.2" in would_be(239.2)
