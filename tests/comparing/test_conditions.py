"""Warnings of another phone or place: as stated, and as the idling machine tells."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from chatter.comparing.conditions import Stand, warnings
from chatter.comparing.heard import Listened, hear_take
from chatter.job.cards import load_job
from chatter.listening.front import taken_in

DEMO = Path(__file__).resolve().parents[2] / "recordings_demo"


@pytest.fixture(scope="module")
def take() -> Iterator[Listened]:
    path = DEMO / "03-slot-staggered.m4a"
    job = load_job(path.with_suffix(".toml"))
    with taken_in(path) as sound:
        yield hear_take(sound, job, units="metric", progress=None)


def told(take: Listened, **known) -> tuple[str, ...]:
    return warnings(("a", "b"), ((take,), (take,)), "metric", **known)


def test_the_same_phone_and_place_are_not_warned_of(take):
    same = [Stand("old phone", "on the knee"), Stand("", "on the knee")]
    assert told(take, stands=same) == told(take) == ()


def test_another_phone_is_warned_of(take):
    (said,) = told(take, stands=[Stand("old phone"), Stand("tablet")])
    assert "Different phones are stated, 'old phone' and 'tablet'" in said


def test_idling_in_another_colour_tells_of_another_place(take):
    level = np.array([-40.0, -42.0, -45.0, -47.0, -50.0, -55.0])
    tilt = np.array([-12.0, -8.0, -4.0, 4.0, 8.0, 12.0])
    assert told(take, idle_db=np.array([level, level - 15.0])) == ()  # gain is no colour
    (said,) = told(take, idle_db=np.array([level, level + tilt, level]))
    # r.m.s. of 12, 8, 4 dB: sqrt((144 + 64 + 16) / 3) = 8.6
    assert "a different tone balance" in said and "by 9 dB" in said
    assert told(take, idle_db=None) == told(take, idle_db=level[None]) == ()


def test_teeth_that_were_miscounted_are_to_be_counted(take):
    # 20 teeth heard at 55.4 rev/min pass as often as 22 at 50.4
    (said,) = told(take, miscounted=[(take, 50.4)])
    assert "count the teeth (about 22 would fit)" in said
    assert "with 20 teeth it would turn at 55.4 rev/min" in said
