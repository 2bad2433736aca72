"""Simulated histories: the same seed the same, what is said to be in them is in them."""

from __future__ import annotations

import json
import re

import numpy as np
import pytest

from chatter.errors import OutputError
from chatter.job.machine import Bearing
from chatter.lab.histories.command import DEVELOPMENT_FROM, REPORTING_FROM, history_lines
from chatter.lab.histories.draw import FAULTS, HOURS, draw_history, strikes_per_turn
from chatter.lab.histories.scenario import mill_history
from chatter.lab.histories.score import (
    HistoryScore,
    TrendFlag,
    _names,
    heard_recordings,
    score_flags,
)
from chatter.lab.histories.sound import RATE_HZ, simulate_recording
from chatter.lab.histories.voice import Age, BearingVoice, GearVoice, SimulatedVoice, machine_voice
from chatter.runin.orders import fault_order

GEAR = GearVoice("a", 61, 1.0, 20.0, 1.0, 0.2)
VOICE = SimulatedVoice((GEAR,), (BearingVoice("b", 5.3, 0.0, 0.0),), 50.0, 24.5, -60.0, -60.0,
                     733.0, -60.0, 0.0, 7)  # fmt: skip


def sound(age, seconds=8.0, seed=1):
    return machine_voice(VOICE, age, 4.0, seconds, RATE_HZ, np.random.default_rng(seed), wander=0.0)


def power_at(x, hz, reach=0.5):
    spectrum = np.abs(np.fft.rfft(x * np.hanning(len(x)))) ** 2
    f = np.fft.rfftfreq(len(x), 1 / RATE_HZ)
    return spectrum[np.abs(f - hz) < reach].max()


def test_the_same_seed_gives_the_same_history_and_sound():
    one, two = draw_history(3), draw_history(3)
    assert one == two
    a, b = (simulate_recording(h, h.visits[4], 2, duration_s=4.0) for h in (one, two))
    assert np.array_equal(a, b)
    assert not np.array_equal(a, simulate_recording(one, one.visits[5], 2, duration_s=4.0))


@pytest.mark.parametrize("fault", FAULTS)
def test_rolling_and_the_textbook_agree(fault):
    """Truth and judge derive the strikes in two ways; the numbers must be the same."""
    bearing = Bearing("b", 11, 0.0111, 0.0575, 0.3, 2.4)
    assert strikes_per_turn(bearing, fault)[0] == pytest.approx(
        fault_order(bearing, fault), rel=1e-12
    )


def test_a_gear_that_wears_in_is_quieter_and_steadier():
    new, old = (sound(Age((db,), (swell,), (-99.0,))) for db, swell in ((0.0, 1.0), (-6.0, 0.5)))
    mesh = 10 * np.log10(power_at(old, 244.0) / power_at(new, 244.0))
    side = 10 * np.log10(power_at(old, 248.0) / power_at(new, 248.0))
    assert mesh == pytest.approx(-6.0, abs=0.5)
    assert side == pytest.approx(-12.0, abs=0.7)  # half the depth of a mesh 6 dB down


def test_strikes_have_the_stated_strength_in_their_band():
    quiet, struck = (sound(Age((0.0,), (1.0,), (db,)), seed=2) for db in (-99.0, 0.0))
    f = np.fft.rfftfreq(len(quiet), 1 / RATE_HZ)
    band = (f > 1500) & (f < 8000)
    a, b = ((np.abs(np.fft.rfft(x)[band]) ** 2).sum() for x in (quiet, struck))
    # As strong as the hiss there: twice the power, 3 dB; the strikes scatter by themselves.
    assert 10 * np.log10(b / a) == pytest.approx(3.0, abs=0.6)


def test_truth_names_what_changes():
    kinds = set()
    for seed in range(40):
        history = draw_history(seed)
        truth = history.truth
        kinds.add((truth.worsens or "none").partition(":")[0])
        assert truth.wears_in in {f"gear:{gear.name}" for gear in history.machine.gears}
        assert truth.worsens is None or not truth.worsens.startswith(truth.wears_in)
        phones = [visit.post.phone for visit in history.visits]
        assert phones == sorted(phones) and len(set(phones)) == 2
        assert len(phones) == len(HOURS) == 12
        if truth.found_by is not None:
            assert truth.found_by > 4  # not within the first dates, which set the limits
    assert kinds == {"bearing", "gear", "none"}


def test_flags_are_held_against_the_named_part():
    assert _names("bearing:front bearing:outer", "bearing:front bearing:outer")
    assert _names("bearing:front bearing:ball+outer", "bearing:front bearing:outer")
    assert not _names("bearing:front bearing:ball+inner", "bearing:front bearing:outer")
    assert not _names("bearing:drive bearing:outer", "bearing:front bearing:outer")
    assert _names("bearing:drive bearing:ball+front bearing:outer", "bearing:front bearing:outer")
    assert not _names("gear:a:level", "gear:a:sidebands") and not _names("broad", None)


def test_the_invented_mill_is_judged_as_its_truth_says():
    """The whole way: simulate, encode, decode, measure, judge, on every date."""
    history = mill_history()
    found = score_flags(history, heard_recordings(history, duration_s=8.0))
    assert found.false_flags == ()
    assert found.in_time and found.wear_in_found


def test_the_figures_count_what_they_say():
    def one(flags=(), found_by=None, found_at=None, worsens=None):
        return HistoryScore(1, flags, worsens, found_by, found_at, False, 10)

    flag = TrendFlag("broad", "worse", 7)
    found = [
        one((flag, flag)),
        one(),
        one((), 8, 8, "bearing:a:outer"),
        one((), 8, 9, "bearing:a:outer"),
        one((), 8, None, "gear:a:sidebands"),
        one((), None, 9, "bearing:a:outer"),
    ]
    text = "\n".join(history_lines(found))
    assert re.search(r"any false flag on any date: 1 of 6, 16\.7 %", text)
    assert re.search(r"by the stated time: 1 of 3, 33\.3 %", text)
    assert re.search(r"of gears: 0 of 1", text)


def test_seeds_of_reporting_lie_apart():
    assert REPORTING_FROM - DEVELOPMENT_FROM > 100_000


def test_a_folder_is_written_once(tmp_path, monkeypatch):
    from chatter.lab.histories import writing

    monkeypatch.setattr(writing, "_SECONDS", 4.0)
    monkeypatch.setattr(writing, "SURVEY_HOURS", ())
    monkeypatch.setattr(writing, "repeat_speeds", lambda machine: machine.speeds_rev_min[3:4])
    writing.make_folder(tmp_path / "mill")
    from chatter.runin.folder import load_folder

    log = load_folder(tmp_path / "mill")
    assert log.simulated and sum(one.kind == "idle" for one in log.entries) == 12
    truth = json.loads((tmp_path / "mill" / "truth.json").read_text())
    assert truth["worsens"] == "bearing:front bearing:outer" and truth["simulated"] is True
    with pytest.raises(OutputError, match="holds a run-in log already"):
        writing.make_folder(tmp_path / "mill")
