"""Sounds of one pass, each with a thing that a measure is for, or with what only looks like it.

Twelve teeth at 286 rev/min: the turn at 4.77 Hz, the teeth at 57.2 Hz, neither on the mains.
Everything is made with numpy alone, over noise of 0.05 in the pass and 0.01 while idling.
"""

from __future__ import annotations

import numpy as np

from tests.listening.cuts_made import RATE_HZ, cut, family, high_pass, sine

SECONDS, IDLE_S = 8.0, 4.0
REV_MIN, TEETH = 286.0, 12
TURN_HZ, TOOTH_HZ = REV_MIN / 60, TEETH * REV_MIN / 60
#: 0.44 of a turn and 0.29 of a tooth passing off the orders.
FREE = 931.6
ON_TOOTH, ON_TURN, HALF_TOOTH = 16 * TOOTH_HZ, 195 * TURN_HZ, 16.5 * TOOTH_HZ
NOISE, IDLE_NOISE = 0.05, 0.01

T = np.arange(round(SECONDS * RATE_HZ)) / RATE_HZ


def tone(f=FREE, a=0.1, seconds=SECONDS):
    return sine(seconds, f, a)


def members(offsets, spacing, a=0.03, about=FREE):
    return family(SECONDS, {about + k * spacing: a for k in offsets})


def swing(f, depth=0.6):
    return 1 + depth * np.cos(2 * np.pi * f * T)


def resonance(rng, f=FREE, damping=0.01, level=0.1):
    white = rng.standard_normal(T.size)
    r = np.fft.rfftfreq(T.size, 1 / RATE_HZ) / f
    rung = np.fft.irfft(np.fft.rfft(white) / (1 - r**2 + 2j * damping * r), T.size)
    return level * rung / rung.std()


def hiss(rng, low_hz=1000.0):
    return high_pass(0.05 * rng.standard_normal(T.size), low_hz, RATE_HZ)


def teeth_lines(a, spacing=TOOTH_HZ, count=25):
    return family(SECONDS, {k * spacing: a for k in range(1, count)})


def cutting(rng, **more):
    return cut(rng, SECONDS, REV_MIN, TEETH, **({"ticks": 0.8} | more)).x.astype(float)


def high_tooth():
    heights = np.ones(TEETH)
    heights[4] = 2.2
    return heights


ECCENTRIC = 1 + 0.4 * np.cos(2 * np.pi * np.arange(TEETH) / TEETH)
LATE = (T > 0.5 * SECONDS).astype(float)
FLASHES = ((T % 1.5) < 0.25).astype(float)
SLOW = 1 + 0.8 * np.sin(2 * np.pi * 0.5 * T)
ALL_HALVES = (-2.5, -1.5, -0.5, 0.5, 1.5, 2.5)
WHOLES = (-3, -2, -1, 1, 2, 3)


def noise(rng, level=NOISE):
    return level * rng.standard_normal(T.size)


def weak_lines(offset, a=0.004):
    return family(SECONDS, {(k + offset) * TOOTH_HZ: a for k in range(3, 40)})


#: Name -> the pass; the generator of chance is given.
PASSES = {
    "noise": lambda r: noise(r),
    "strong": lambda r: noise(r) + tone(),
    "weak": lambda r: noise(r) + tone(a=0.012),
    "beside a stronger": lambda r: noise(r) + tone() + tone(1403.0, 0.3),
    "among others": lambda r: noise(r) + tone() + tone(FREE + 70, 0.1) + tone(FREE - 80, 0.1),
    "in flashes": lambda r: noise(r) + FLASHES * tone(a=0.2),
    "late": lambda r: noise(r) + LATE * tone(a=0.2),
    "resonance": lambda r: noise(r) + resonance(r),
    "swells with all": lambda r: SLOW * (noise(r) + tone()),
    "steady in what swells": lambda r: SLOW * noise(r, 0.1) + tone(),
    "on a tooth order": lambda r: noise(r) + tone(ON_TOOTH),
    "on a turn order": lambda r: noise(r) + tone(ON_TURN),
    "on a half order": lambda r: noise(r) + tone(HALF_TOOTH),
    "on the mains": lambda r: noise(r) + tone(550.0),
    "family": lambda r: noise(r) + tone() + members(WHOLES, TOOTH_HZ),
    "family of halves": lambda r: noise(r) + tone() + members(WHOLES + ALL_HALVES, TOOTH_HZ),
    "turn family": lambda r: noise(r) + tone() + members(WHOLES, TURN_HZ),
    "loud teeth": lambda r: noise(r) + tone() + members((-1, 0, 1), TOOTH_HZ, 0.2, ON_TOOTH),
    "harmonics": lambda r: noise(r) + tone() + tone(2 * FREE, 0.05) + tone(3 * FREE, 0.05),
    "its half": lambda r: noise(r) + tone() + tone(FREE / 2, 0.05),
    "fed by the teeth": lambda r: noise(r) + swing(TOOTH_HZ) * tone(),
    "fed twice a tooth": lambda r: noise(r) + swing(2 * TOOTH_HZ, 0.95) * tone(),
    "fed by the turn": lambda r: noise(r) + swing(TURN_HZ) * tone(),
    "swings elsewhere": lambda r: noise(r) + swing(0.731 * TOOTH_HZ) * tone(),
    "teeth": lambda r: cutting(r) + tone(),
    "teeth, on the turn": lambda r: cutting(r) + tone(ON_TURN),
    "two clocks": lambda r: (
        cutting(r, ticks=0.0, depth=0.7) + tone() + teeth_lines(0.03, 1.002 * TOOTH_HZ)
    ),
    "hiss once a turn": lambda r: cutting(r) + tone() + swing(TURN_HZ, 0.95) * hiss(r),
    "weak family": lambda r: noise(r) + weak_lines(0.287),
    "weak half family": lambda r: noise(r) + weak_lines(0.5),
    "weak teeth": lambda r: noise(r) + weak_lines(0.0),
    "tone and weak family": lambda r: noise(r) + tone() + weak_lines(FREE / TOOTH_HZ % 1, 0.008),
    "teeth on a mode": lambda r: noise(r) + members((-2, -1, 0, 1, 2), TOOTH_HZ, 0.2, ON_TOOTH),
    "squeal": lambda r: noise(r) + tone(a=0.2) + tone(2511.3, 0.05),
    "dull resonance": lambda r: noise(r) + resonance(r, damping=0.05),
    "high resonance": lambda r: noise(r) + resonance(r, 2300.0),
    "late resonance": lambda r: noise(r) + LATE * resonance(r),
    "resonance fed by the turn": lambda r: noise(r) + swing(TURN_HZ, 0.9) * resonance(r),
    "resonance with harmonics": lambda r: (
        noise(r) + resonance(r) + 0.5 * resonance(r, 2 * FREE) + 0.4 * resonance(r, 3 * FREE)
    ),
    "strokes": lambda r: cutting(r, ticks=0.0, depth=0.8),
    "rubs": lambda r: 0.1 * swing(TURN_HZ, 0.8) * r.standard_normal(T.size),
    "rubs up high": lambda r: noise(r) + 3.0 * swing(TURN_HZ, 0.8) * hiss(r, 1500.0),
    "eccentric": lambda r: cutting(r, ticks=0.0, heights=ECCENTRIC),
    "one high tooth": lambda r: cutting(r, ticks=0.0, heights=high_tooth()),
    "ticks": lambda r: cutting(r, ticks=1.5),
    "uneven ticks": lambda r: cutting(r, ticks=1.5, heights=ECCENTRIC),
}

#: Name -> what is heard before the pass, where that is not noise alone.
IDLING = {
    "there while idling": lambda r: idle_noise(r) + tone(a=0.1, seconds=IDLE_S),
    "resonance while idling": lambda r: idle_noise(r) + resonance(r)[: round(IDLE_S * RATE_HZ)],
}


def idle_noise(rng, seconds=IDLE_S):
    return IDLE_NOISE * rng.standard_normal(round(seconds * RATE_HZ))


#: Passes of the same name as in IDLING.
PASSES |= {
    "there while idling": PASSES["strong"],
    "resonance while idling": PASSES["resonance"],
}
