"""Verdicts from dates: better, same, worse, can't tell, and what a new phone does to them."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest

from chatter.runin.entries import LogEntry
from chatter.runin.items import ItemReadings, Value, items_of
from chatter.runin.parts import judge_parts
from chatter.runin.series import BASELINE_DATES, Recorded
from chatter.runin.trends import trends
from chatter.runin.turning import IdleSpeed

DATES = 12
SIDEBANDS, LEVEL = "gear:bull gear:sidebands", "gear:bull gear:level"


@pytest.fixture
def log(mill):
    """Twelve dates of every item at one speed; changes are added to single items."""
    items = items_of(mill)

    def make(changes=None, *, phones=None, place="stand", gain_db=0.0, hum=True, dates=DATES,
             unheard=(), seed=0):  # fmt: skip
        rng = np.random.default_rng(seed)
        made = []
        for at in range(dates):
            phone = "a" if phones is None else phones[at]
            entry = LogEntry(
                "idle", date(2026, 3, 1) + timedelta(days=3 * at), float(at), Path(f"{at}.m4a"),
                190.0, phone, place,
            )  # fmt: skip
            gain = gain_db * rng.standard_normal()
            values = {}
            for item in items:
                x = 0.8 * rng.standard_normal() + (changes or {}).get(item.key, np.zeros(dates))[at]
                x += gain if item.sort == "level" else 0.0
                values[item.key] = Value(x - 30.0, item.key not in unheard)
            references = (
                {2.0: gain - 40, 4.0: gain - 44 + 0.1 * rng.standard_normal()} if hum else {}
            )
            made.append(
                Recorded(entry, ItemReadings(IdleSpeed(3.1, True, 1e-3), values, references))
            )
        return made, items

    return make


def verdict(found, key):
    return next(one for one in found if one.item.key == key)


def ramp(to, start=6):
    return np.clip((np.arange(DATES) - start + 1) / (DATES - start), 0, 1) * to


def test_nothing_changes_and_nothing_is_flagged(log):
    flagged = 0
    for seed in range(40):
        found = trends(*log(seed=seed))
        flagged += any(one.verdict in ("better", "worse") for one in found)
    assert flagged <= 5  # 3 % are stated; 5 or more of 40 at 5 % have a chance of 5 %


def test_growing_sidebands_are_worse(log):
    found = trends(*log({SIDEBANDS: ramp(10.0)}))
    one = verdict(found, SIDEBANDS)
    assert one.verdict == "worse"
    assert one.low_db < 10.0 < one.high_db
    assert one.since is not None and one.since > date(2026, 3, 1) + timedelta(days=15)
    assert [each.item.key for each in found if each.verdict == "worse"] == [SIDEBANDS]
    assert (
        judge_parts(found)[0].key == "gear:bull gear" and judge_parts(found)[0].verdict == "worse"
    )


def test_a_mesh_that_falls_is_running_in(log):
    part = judge_parts(trends(*log({LEVEL: ramp(-9.0), SIDEBANDS: ramp(-6.0)})))[0]
    assert part.verdict == "better" and "Running in" in part.sentence


def test_sidebands_that_only_stand_out_have_not_grown(log):
    """The mesh falls by 9 dB, the sidebands stay: their ratio rises by 9 dB."""
    found = trends(*log({LEVEL: ramp(-9.0), SIDEBANDS: ramp(9.0)}))
    assert verdict(found, SIDEBANDS).verdict == "cannot_tell"
    assert "the mesh fell" in verdict(found, SIDEBANDS).reason
    assert judge_parts(found)[0].verdict == "better"


def test_noise_that_rises_is_no_line(log):
    found = trends(*log({SIDEBANDS: ramp(10.0)}, unheard=(SIDEBANDS,)))
    assert verdict(found, SIDEBANDS).verdict != "worse"


def test_strikes_that_fade_are_not_called_better(log):
    key = "bearing:front bearing:inner"
    assert verdict(trends(*log({key: ramp(-12.0)})), key).verdict != "better"
    assert verdict(trends(*log({key: ramp(12.0)})), key).verdict == "worse"


def test_the_hum_takes_the_gain_away(log):
    change = {LEVEL: ramp(-9.0)}
    assert verdict(trends(*log(change, gain_db=10.0)), LEVEL).verdict == "better"
    blind = verdict(trends(*log(change, gain_db=10.0, hum=False)), LEVEL)
    assert blind.tie == "stated" and blind.verdict == "cannot_tell"


def test_a_new_phone_stops_levels_and_not_ratios(log):
    phones = ["a"] * 9 + ["b"] * 3
    jump = np.where(np.arange(DATES) >= 9, 15.0, 0.0)
    found = trends(*log({LEVEL: jump, SIDEBANDS: ramp(10.0)}, phones=phones))
    level = verdict(found, LEVEL)
    assert level.verdict == "cannot_tell" and "the phone changed on 2026-03-28" in level.reason
    assert len(level.points) == 9
    assert verdict(found, SIDEBANDS).verdict == "worse"


def test_what_was_told_before_the_new_phone_is_still_told(log):
    found = trends(*log({LEVEL: ramp(-10.0, 4)}, phones=["a"] * 10 + ["b"] * 2))
    one = verdict(found, LEVEL)
    assert one.verdict == "better" and "this is of the dates before" in one.reason


def test_six_dates_with_the_new_phone_make_a_new_baseline(log):
    phones = ["a"] * 4 + ["b"] * 8
    one = verdict(trends(*log({LEVEL: ramp(9.0, 9)}, phones=phones)), LEVEL)
    assert len(one.points) == 8 and one.verdict == "worse"


def test_levels_need_phone_and_place_stated(log):
    one = verdict(trends(*log(place="")), LEVEL)
    assert one.verdict == "cannot_tell" and "not stated" in one.reason


def test_too_few_dates_can_tell_nothing(log):
    found = trends(*log(dates=BASELINE_DATES))
    assert {one.verdict for one in found} == {"cannot_tell"}
    assert "the next is the first to be judged" in found[0].reason


def test_the_interval_decides_between_same_and_not_told(log):
    found = trends(*log())
    for one in found:
        if one.verdict == "same":
            assert -5.0 < one.low_db < one.high_db < 5.0
        elif one.verdict == "cannot_tell" and one.change_db is not None:
            assert one.low_db <= -5.0 or one.high_db >= 5.0
    assert sum(one.verdict == "same" for one in found) >= len(found) // 2


def test_what_a_louder_bearing_hides_is_not_called_the_same(log):
    from dataclasses import replace

    key = "bearing:front bearing:inner"
    made, items = log({key: np.where(np.arange(DATES) >= 8, 12.0, 0.0)})
    # On the last four dates it seems to be there, and is known to be something else.
    made[8:] = [
        replace(one, measured=replace(one.measured, hidden=frozenset({key}))) for one in made[8:]
    ]
    one = verdict(trends(made, items), key)
    assert one.verdict == "cannot_tell" and len(one.points) == 8
    assert one.reason == "from 2026-03-25 on a louder bearing hides it"


@pytest.mark.parametrize(("hum", "said"), [(False, "cannot_tell"), (True, "better")])
def test_a_level_that_falls_alone_is_not_running_in(log, hum, said):
    """A phone that stood farther off makes everything 8 dB fainter; hum would have told."""
    changes = {
        item.key: ramp(-8.0)
        for item in log()[1]
        if item.sort == "level" and (not hum or item.key == LEVEL)
    }
    recorded, items = log(changes, hum=hum)
    found = verdict(trends(recorded, items), LEVEL)
    assert found.verdict == said
    if not hum:
        assert "was the phone at the same distance?" in found.reason
        part = next(p for p in judge_parts(trends(recorded, items)) if p.title == "bull gear")
        assert part.verdict != "better"
