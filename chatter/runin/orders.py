"""Where the machine's own lines must lie: orders of shafts, gears and rolling bearings.

An order is a frequency in turns of the spindle: a line of order 61 lies at 61 times the
spindle frequency, at every speed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from chatter.job.machine import Bearing, Gear, Machine

#: Harmonics of a gear mesh that are followed, and that are named in a survey.
MESH_HARMONICS = (1, 2, 3)
_NAMED_HARMONICS = (1, 2, 3, 4, 5, 6)
#: Real bearings turn a little slower inside than their geometry says, for the balls slip.
SLIP_LOW, SLIP_HIGH = -0.025, 0.004

FAULTS = ("outer", "inner", "ball")
_FAULT_WORDS = {"outer": "outer ring", "inner": "inner ring", "ball": "balls", "cage": "cage"}


@dataclass(frozen=True)
class Multipliers:
    """Frequencies of a rolling bearing per turn of its inner ring, the outer one standing.

    Attributes
    ----------
    outer, inner : float
        A ball passes one place on the outer (inner) ring: BPFO, BPFI.
    ball : float
        A ball turns once about itself: BSF.  A pit on a ball strikes twice a turn.
    cage : float
        The cage turns once: FTF.
    """

    outer: float
    inner: float
    ball: float
    cage: float


def multipliers(bearing: Bearing) -> Multipliers:
    """The textbook frequencies of a bearing without slip.

    With r = d cos(alpha) / D (ball diameter d, pitch diameter D, contact angle alpha) and
    n balls: BPFO = n (1 - r) / 2, BPFI = n (1 + r) / 2, FTF = (1 - r) / 2 and
    BSF = D (1 - r^2) / (2 d).  Checked against published multipliers in ``tests/outside``.
    """
    r = bearing.ball_diameter_m / bearing.pitch_diameter_m * math.cos(bearing.contact_angle_rad)
    return Multipliers(
        outer=0.5 * bearing.balls * (1.0 - r),
        inner=0.5 * bearing.balls * (1.0 + r),
        ball=0.5 * bearing.pitch_diameter_m / bearing.ball_diameter_m * (1.0 - r * r),
        cage=0.5 * (1.0 - r),
    )


def mesh_order(gear: Gear) -> float:
    """Tooth contacts of a gear per turn of the spindle: teeth times the turns of its shaft."""
    return gear.teeth * gear.ratio


def fault_order(bearing: Bearing, fault: str) -> float:
    """Strikes per turn of the spindle of a pit on "outer", "inner", or "ball"; or "cage"."""
    strikes = multipliers(bearing)
    per_turn = {
        "outer": strikes.outer,
        "inner": strikes.inner,
        "ball": 2.0 * strikes.ball,
        "cage": strikes.cage,
    }[fault]
    return per_turn * bearing.ratio


@dataclass(frozen=True)
class Expected:
    """A line that the machine card lets expect.

    Attributes
    ----------
    order : float
        Per turn of the spindle.
    low, high : float
        Range of the order: bearings slip.
    name : str
        For people.
    part : str
        "gear:NAME", "bearing:NAME" or "spindle".
    """

    order: float
    low: float
    high: float
    name: str
    part: str


def expected_lines(machine: Machine) -> tuple[Expected, ...]:
    """Every order that the card names, gears before bearings before the spindle."""
    expected: list[Expected] = []

    def exact(order: float, name: str, part: str) -> None:
        expected.append(Expected(order, order, order, name, part))

    for gear in machine.gears:
        mesh, part = mesh_order(gear), f"gear:{gear.name}"
        for harmonic in _NAMED_HARMONICS:
            times = "" if harmonic == 1 else f"{harmonic} x "
            exact(harmonic * mesh, f"{times}mesh of {gear.name}", part)
        for harmonic in _NAMED_HARMONICS:
            for k in (-2, -1, 1, 2):
                what = f"sideband {k:+d} of {harmonic} x mesh of {gear.name}"
                exact(harmonic * mesh + k * gear.ratio, what, part)
    for bearing in machine.bearings:
        for fault in (*FAULTS, "cage"):
            order = fault_order(bearing, fault)
            for harmonic in (1, 2, 3):
                times = "" if harmonic == 1 else f"{harmonic} x "
                name = f"{times}{_FAULT_WORDS[fault]} of {bearing.name}"
                low, high = (harmonic * order * (1 + s) for s in (SLIP_LOW, SLIP_HIGH))
                expected.append(
                    Expected(harmonic * order, low, high, name, f"bearing:{bearing.name}")
                )
    for harmonic in (1, 2, 3):
        exact(float(harmonic), f"{harmonic} x spindle", "spindle")
    return tuple(expected)


def fault_words(fault: str) -> str:
    """What people call a part of a bearing."""
    return _FAULT_WORDS[fault]
