"""The invented shop's mill in its first hundred and twenty hours.

The second-hand horizontal mill of ``chatter.lab.simulate.shop``, with its gears and bearings on
the card.  Its back gear wears in, its front bearing goes bad from the thirtieth hour on, and
after two months the shop buys another phone.  Nothing here is a real machine, maker or person.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np

from chatter.job.machine import Bearing, Gear
from chatter.lab.histories.draw import (
    FIRST_DAY,
    HOURS,
    History,
    HistoryTruth,
    Post,
    Visit,
    strikes_per_turn,
)
from chatter.lab.histories.voice import Age, BearingVoice, GearVoice, SimulatedVoice
from chatter.lab.simulate.scene import Format, Phone, SimulatedRoom
from chatter.lab.simulate.shop import MILL

SEED = 1931
_DAYS = (0, 1, 3, 5, 9, 12, 19, 26, 40, 54, 75, 110)
#: The second phone comes with this date.
_NEW_PHONE = 9
_WORN_AFTER_H = 25.0
_BAD_FROM_H, _BAD_AT_H = 25.0, 100.0

CARD = replace(
    MILL,
    gears=(Gear("bull gear", 61, 1.0), Gear("back gear", 43, 2.4)),
    bearings=(
        Bearing("front bearing", 14, 0.0127, 0.0715, 0.26, 1.0),
        Bearing("back shaft bearing", 9, 0.00794, 0.03904, 0.0, 2.4),
    ),
)
_VOICE = SimulatedVoice(
    gears=(
        GearVoice("bull gear", 61, 1.0, 4.0, 0.8, 0.12),
        GearVoice("back gear", 43, 2.4, 6.0, 0.7, 0.22),
    ),
    bearings=(),
    mains_hz=50.0,
    motor_hz=24.6,
    motor_db=-4.0,
    hum_db=0.0,
    structure_hz=733.0,
    structure_db=-6.0,
    belt_swell=0.1,
    seed=SEED,
)
_POSTS = (
    Post("old phone", Phone(24_000, 110.0, 2, 0.3, -68.0, 0.45), Format("m4a", 64_000)),
    Post("new phone", Phone(24_000, 75.0, 1, -0.6, -72.0, 0.45), Format("m4a", 96_000)),
)


def mill_history() -> History:
    """The history of the invented mill; always the same."""
    rng = np.random.default_rng(SEED)
    front, back = CARD.bearings
    order, swell = strikes_per_turn(front, "outer")
    voice = replace(
        _VOICE,
        bearings=(
            BearingVoice(front.name, order, swell, 0.008),
            BearingVoice(back.name, 1.0, 0.0, 0.0),
        ),
    )
    visits, strikes = [], []
    for at, hours in enumerate(HOURS):
        worn = 1.0 - np.exp(-hours / _WORN_AFTER_H)
        course = float(np.clip((hours - _BAD_FROM_H) / (_BAD_AT_H - _BAD_FROM_H), 0.0, 1.0))
        struck = -26.0 + 31.0 * course if course > 0 else -99.0
        strikes.append(struck)
        scatter = 0.5 * rng.standard_normal(2)
        age = Age(
            (float(scatter[0]), float(scatter[1] - 10.0 * worn)),
            (float(np.exp(0.05 * rng.standard_normal())), float(1.0 - 0.55 * worn)),
            (struck, -99.0),
            hiss_db=0.6 * float(rng.standard_normal()),
            hum_db=0.3 * float(rng.standard_normal()),
        )
        day = FIRST_DAY + timedelta(days=_DAYS[at])
        visits.append(Visit(day, hours, _POSTS[int(at >= _NEW_PHONE)], age))
    reached = [i for i, db in enumerate(strikes) if db >= -6.0]
    truth = HistoryTruth(
        "gear:back gear", "bearing:front bearing:outer", reached[0], tuple(strikes), _NEW_PHONE
    )
    # The mill of the demo turns 1.6 % slower than its plate says.
    plate = tuple(float(-0.016 + 0.004 * rng.standard_normal()) for _ in CARD.speeds_rev_min)
    return History(SEED, CARD, voice, tuple(visits), plate, SimulatedRoom(0.45, -4.0), truth)
