"""Draw a machine and its first hundred and twenty hours, with the truth."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from math import cos

import numpy as np

from chatter.job.machine import Bearing, Gear, Machine
from chatter.lab.histories.voice import Age, BearingVoice, GearVoice, SimulatedVoice
from chatter.lab.simulate.scene import Format, Phone, SimulatedRoom

#: Running hours of the dates on which the machine is recorded.
HOURS = (0.0, 1.0, 2.0, 4.0, 8.0, 12.0, 20.0, 30.0, 45.0, 60.0, 80.0, 120.0)
FIRST_DAY = date(2026, 3, 2)
_DAYS_BETWEEN = (1, 1, 2, 3, 3, 6, 8, 12, 12, 16, 30)
FAULTS = ("outer", "inner", "ball")
#: Strikes this strong re the hiss in their own band must be found on the date they reach it:
#: a listener close by begins to make them out.  Common practice, no source.
FOUND_BY_DB = -6.0
#: Sidebands that have grown by this factor (8 dB, the usual first alarm of those who watch
#: machines by their vibration; from memory, common practice) must be found on the date after,
#: for a line must be beyond its limits on two dates.
FOUND_BY_SWELL = 2.5


@dataclass(frozen=True)
class Post:
    """A phone at its place."""

    phone: str
    microphone: Phone
    format: Format


@dataclass(frozen=True)
class Visit:
    """One date."""

    day: date
    hours: float
    post: Post
    age: Age


@dataclass(frozen=True)
class HistoryTruth:
    """What is true of a history.

    Attributes
    ----------
    wears_in : str
        Part that gets quieter and steadier, "gear:NAME".
    worsens : str or None
        Item that gets worse: "bearing:NAME:outer", "gear:NAME:sidebands"; None: none does.
    found_by : int or None
        Index of the date by which it must be found; None when it never gets that far.
    strikes_db : tuple of float
        By date: the bearing's strikes re the hiss; -99: none.
    phone_changes : int
        Index of the first date with the second phone.
    """

    wears_in: str
    worsens: str | None
    found_by: int | None
    strikes_db: tuple[float, ...]
    phone_changes: int


@dataclass(frozen=True)
class History:
    """A simulated machine over its dates."""

    seed: int
    machine: Machine  # as on the card
    voice: SimulatedVoice
    visits: tuple[Visit, ...]
    plate_error: tuple[float, ...]  # of each speed on the card: true over stated, less one
    room: SimulatedRoom
    truth: HistoryTruth


def draw_history(seed: int) -> History:
    """A history from a seed: the same seed gives the same one."""
    rng = np.random.default_rng([seed, 5])
    machine = _machine(rng)
    voice = _voice(machine, rng)
    wearing = int(rng.integers(len(machine.gears)))
    kind = str(rng.choice(["bearing", "gear", "none"], p=[0.65, 0.15, 0.2]))
    visits, truth, voice = _ageing(machine, voice, wearing, kind, rng)
    plate = tuple(float(e) for e in -0.015 + 0.008 * rng.standard_normal(6))
    room = SimulatedRoom(float(rng.uniform(0.25, 0.8)), float(rng.uniform(-8.0, -1.0)))
    return History(seed, machine, voice, visits, plate, room, truth)


def _machine(rng: np.random.Generator) -> Machine:
    first = float(rng.uniform(45.0, 95.0))
    step = float(rng.uniform(1.3, 1.45))
    speeds = tuple(float(round(first * step**k)) for k in range(6))
    teeth = rng.choice(np.arange(23, 90), size=3, replace=False)
    ratios = (1.0, float(round(rng.uniform(1.7, 2.6), 2)), float(round(rng.uniform(2.9, 4.2), 2)))
    names = ("bull gear", "back gear", "idler")
    gears = tuple(Gear(name, int(z), r) for name, z, r in zip(names, teeth, ratios, strict=True))
    count = int(rng.integers(2, 4))
    return Machine(
        name="simulated mill",
        speeds_rev_min=speeds,
        mains_hz=float(rng.choice([50.0, 60.0])),
        motor_poles=4,
        gears=gears[:count],
        bearings=(_bearing("front bearing", 1.0, rng), _bearing("drive bearing", ratios[1], rng)),
    )


def _bearing(name: str, ratio: float, rng: np.random.Generator) -> Bearing:
    pitch = float(rng.uniform(0.04, 0.09))
    share = float(rng.uniform(0.12, 0.26))  # ball over pitch diameter
    most = int(0.9 * np.pi / share)
    balls = int(rng.integers(8, min(18, most) + 1))
    angle = float(rng.choice([0.0, 0.26]))
    return Bearing(name, balls, round(share * pitch, 5), round(pitch, 4), angle, ratio)


def strikes_per_turn(bearing: Bearing, fault: str) -> tuple[float, float]:
    """Strikes of a pit per spindle turn, and the order at which its load waxes and wanes.

    From the rolling of the balls: the cage goes round with the mean of the two rings'
    speeds at the balls, each ball meets the pit once a relative turn.
    """
    inner = bearing.pitch_diameter_m - bearing.ball_diameter_m * cos(bearing.contact_angle_rad)
    cage = inner / (2.0 * bearing.pitch_diameter_m)  # turns of the cage per turn of the shaft
    if fault == "outer":
        return bearing.ratio * bearing.balls * cage, 0.0
    if fault == "inner":
        return bearing.ratio * bearing.balls * (1.0 - cage), bearing.ratio
    outer = bearing.pitch_diameter_m + bearing.ball_diameter_m * cos(bearing.contact_angle_rad)
    spin = cage * outer / bearing.ball_diameter_m  # rolling along the outer ring
    return bearing.ratio * 2.0 * spin, bearing.ratio * cage


def _voice(machine: Machine, rng: np.random.Generator) -> SimulatedVoice:
    gears = tuple(
        GearVoice(
            gear.name,
            gear.teeth,
            gear.ratio,
            float(rng.uniform(-3.0, 7.0)),
            float(rng.uniform(0.4, 1.2)),
            float(rng.uniform(0.05, 0.25)),
        )
        for gear in machine.gears
    )
    bearings = tuple(BearingVoice(one.name, 1.0, 0.0, 0.0) for one in machine.bearings)
    field = 2.0 * (machine.mains_hz or 50.0) / (machine.motor_poles or 4)
    return SimulatedVoice(
        gears,
        bearings,
        machine.mains_hz or 50.0,
        motor_hz=field * float(1.0 - rng.uniform(0.004, 0.02)),
        motor_db=float(rng.uniform(-8.0, 0.0)),
        hum_db=float(rng.uniform(-6.0, 4.0)),
        structure_hz=float(rng.uniform(300.0, 1500.0)),
        structure_db=float(rng.uniform(-12.0, -3.0)),
        belt_swell=float(rng.uniform(0.02, 0.2)),
        seed=int(rng.integers(2**31)),
    )


def _ageing(
    machine: Machine, voice: SimulatedVoice, wearing: int, kind: str, rng: np.random.Generator
) -> tuple[tuple[Visit, ...], HistoryTruth, SimulatedVoice]:
    """What changes over the hours, what only scatters, and which phone was there."""
    which = int(rng.integers(len(machine.bearings)))
    fault = str(rng.choice(FAULTS))
    others = [i for i in range(len(machine.gears)) if i != wearing]
    bad_gear = int(rng.choice(others))
    quieter, steadier = float(rng.uniform(4.0, 9.0)), float(rng.uniform(0.3, 0.6))
    takes_h = float(rng.uniform(8.0, 30.0))
    begins_h, full_h = float(rng.uniform(6.0, 25.0)), float(rng.uniform(55.0, 110.0))
    loudest, grown = float(rng.uniform(2.0, 8.0)), float(rng.uniform(2.5, 5.0))
    changes = int(rng.integers(6, 11))
    posts = [_post("first phone", rng), _post("second phone", rng)]
    visits, strikes = [], []
    day = FIRST_DAY
    for at, hours in enumerate(HOURS):
        if at:
            day += timedelta(days=_DAYS_BETWEEN[at - 1])
        worn = 1.0 - np.exp(-hours / takes_h)
        course = float(np.clip((hours - begins_h) / (full_h - begins_h), 0.0, 1.0))
        level = 0.6 * rng.standard_normal(len(machine.gears))
        swell = np.exp(0.06 * rng.standard_normal(len(machine.gears)))
        level[wearing] -= quieter * worn
        swell[wearing] *= 1.0 - steadier * worn
        struck = [-99.0] * len(machine.bearings)
        if kind == "bearing" and course > 0.0:
            struck[which] = -26.0 + (26.0 + loudest) * course + 0.7 * float(rng.standard_normal())
        if kind == "gear":
            swell[bad_gear] *= 1.0 + (grown - 1.0) * course
        strikes.append(struck[which])
        age = Age(
            tuple(float(x) for x in level),
            tuple(float(x) for x in swell),
            tuple(struck),
            hiss_db=0.7 * float(rng.standard_normal()),
            hum_db=0.3 * float(rng.standard_normal()),
        )
        visits.append(Visit(day, hours, posts[int(at >= changes)], age))
    order, swells = strikes_per_turn(machine.bearings[which], fault)
    slip = float(rng.uniform(0.0, 0.02))
    bearings = list(voice.bearings)
    bearings[which] = BearingVoice(machine.bearings[which].name, order, swells, slip)
    worsens, reached = None, []
    if kind == "bearing":
        worsens = f"bearing:{machine.bearings[which].name}:{fault}"
        reached = [i for i, db in enumerate(strikes) if db >= FOUND_BY_DB]
    elif kind == "gear":
        worsens = f"gear:{machine.gears[bad_gear].name}:sidebands"
        course = np.clip((np.array(HOURS) - begins_h) / (full_h - begins_h), 0.0, 1.0)
        grown_enough = np.flatnonzero(1.0 + (grown - 1.0) * course >= FOUND_BY_SWELL)
        reached = [int(i) + 1 for i in grown_enough if i + 1 < len(HOURS)]
    truth = HistoryTruth(
        f"gear:{machine.gears[wearing].name}",
        worsens,
        int(reached[0]) if len(reached) else None,
        tuple(strikes),
        changes,
    )
    voice = SimulatedVoice(**{**vars(voice), "bearings": tuple(bearings)})
    return tuple(visits), truth, voice


def _post(name: str, rng: np.random.Generator) -> Post:
    phone = Phone(
        rate_hz=24_000,
        roll_off_hz=float(rng.uniform(70.0, 180.0)),
        roll_off_order=int(rng.integers(1, 3)),
        tilt_db_octave=float(rng.uniform(-0.8, 1.0)),
        noise_db=float(rng.uniform(-72.0, -60.0)),
        peak=0.5,
    )
    return Post(name, phone, Format("m4a", int(rng.choice([64_000, 96_000, 128_000]))))
