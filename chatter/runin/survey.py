"""The idle survey: what was heard at every speed, and what turns with the spindle."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from chatter.job.machine import Machine
from chatter.runin.hypotheses import GearTest, gear_tests
from chatter.runin.idle import IdleSound
from chatter.runin.orders import expected_lines
from chatter.runin.rays import Ray, SpeedLines, find_rays, rays_of_unknown_speeds
from chatter.runin.turning import IdleSpeed

#: An induction motor turns at most this much slower than its field while idling.
_MOTOR_SLIP = 0.04
#: A name that chance would give more often than this is not given.
_NAMED = 0.05


@dataclass(frozen=True)
class SurveyedSpeed:
    """One speed of the survey."""

    rev_min: float  # stated
    idle: IdleSound
    turning: IdleSpeed


@dataclass(frozen=True)
class NamedRay:
    """A ray with its name.

    Attributes
    ----------
    ray : Ray
    name : str
        For people; "" when nothing on the card fits.
    part : str
        "gear:NAME", "bearing:NAME", "spindle", "mains", "motor", or "".
    by_chance : float
        Chance that some name on the card would fit a line that has nothing to do with it.
    """

    ray: Ray
    name: str
    part: str
    by_chance: float


@dataclass(frozen=True)
class Survey:
    """Lines over speed.

    Attributes
    ----------
    speeds : tuple of SpeedLines
        With the speeds as heard, slowest first.
    stated_rev_min : tuple of float
    speed_heard : tuple of bool
        From the gears on the card; False: from the lines' own alignment, or as stated.
    rays : tuple of NamedRay
        Lowest first: those that turn, then those that stay.
    unexplained : int
        Lines that belong to no ray.
    gears : tuple of GearTest
        How well the lines bear each gear of the card out.
    """

    speeds: tuple[SpeedLines, ...]
    stated_rev_min: tuple[float, ...]
    speed_heard: tuple[bool, ...]
    rays: tuple[NamedRay, ...]
    unexplained: int
    gears: tuple[GearTest, ...] = ()


def survey(heard: Sequence[SurveyedSpeed], machine: Machine) -> Survey:
    """Find and name the rays through one recording of each speed.

    Parameters
    ----------
    heard : sequence of SurveyedSpeed
        One for each stated speed; fewer than three give no rays.
    machine : Machine
    """
    heard = sorted(heard, key=lambda one: one.rev_min)
    speeds = tuple(_lines(one) for one in heard)
    if any(one.turning.heard for one in heard) or not heard:
        rays = find_rays(speeds)
    else:
        rays, speeds = rays_of_unknown_speeds(speeds)
    named = sorted(
        (_named(ray, machine) for ray in rays), key=lambda one: (not one.ray.turns, one.ray.at)
    )
    total = sum(one.lines_hz.size for one in speeds)
    return Survey(
        speeds,
        tuple(one.rev_min for one in heard),
        tuple(one.turning.heard for one in heard),
        tuple(named),
        total - sum(len(ray.members) for ray in rays),
        gear_tests(speeds, machine.gears),
    )


def _lines(surveyed: SurveyedSpeed) -> SpeedLines:
    spectrum = surveyed.idle.sound
    return SpeedLines(
        surveyed.turning.spindle_hz,
        np.array([line.frequency_hz for line in surveyed.idle.lines]),
        np.array([line.above_floor_db for line in surveyed.idle.lines]),
        spectrum.step_hz,
        max(50.0, spectrum.step_hz * 4),
        spectrum.power.size * spectrum.step_hz,
        surveyed.turning.relative_error,
    )


def _named(ray: Ray, machine: Machine) -> NamedRay:
    return _of_shafts(ray, machine) if ray.turns else _that_stays(ray, machine)


def _of_shafts(ray: Ray, machine: Machine) -> NamedRay:
    """The nearest expected order within what speeds and lines are known to."""
    reach = max(3e-3 * ray.at, 2.0 * ray.spread / np.sqrt(len(ray.members)))
    fits, covered = [], 0.0
    for expected in expected_lines(machine):
        low, high = expected.low - reach, expected.high + reach
        if low <= ray.at <= high:
            off = max(expected.low - ray.at, ray.at - expected.high, 0.0)
            fits.append((off, expected))
        # What part of the octave about the ray do names cover?
        a, b = max(low, ray.at / 2**0.5), min(high, ray.at * 2**0.5)
        covered += max(0.0, b - a)
    chance = min(1.0, covered / (ray.at * (2**0.5 - 2**-0.5)))
    if not fits or (chance > 0.5 and fits[0][1].part.startswith("bearing")):
        return NamedRay(ray, "", "", chance)
    best = min(fits, key=lambda pair: pair[0])[1]
    return NamedRay(ray, best.name, best.part, chance)


def _that_stays(ray: Ray, machine: Machine) -> NamedRay:
    """Multiples of the mains, or of a motor that slips a little."""
    mains = [machine.mains_hz] if machine.mains_hz is not None else [50.0, 60.0]
    best: tuple[float, str] | None = None
    for each in mains:
        k = round(ray.at / each)
        off = abs(ray.at - k * each)
        reach = 0.1 + 1e-3 * ray.at
        if k >= 1 and off <= reach and (best is None or off < best[0]):
            best = (off, f"{k} x mains ({each:g} Hz)")
    if best is not None:
        # Multiples of one or both of the two mains, as wide as they are looked for.
        per = 2.0 * (0.1 + 1e-3 * ray.at) / (mains[0] if len(mains) == 1 else 27.0)
        if per < _NAMED:
            return NamedRay(ray, best[1], "mains", per)
    if machine.motor_poles is not None and machine.mains_hz is not None:
        field = 2.0 * machine.mains_hz / machine.motor_poles
        for k in (1, 2, 4):
            if k * field * (1.0 - _MOTOR_SLIP) <= ray.at < k * field:
                slip = 100.0 * (1.0 - ray.at / (k * field))
                name = f"{k} x motor turning, if it slips {slip:.1f} %"
                return NamedRay(ray, name, "motor", min(1.0, 3 * _MOTOR_SLIP))
    return NamedRay(ray, "", "", 0.0)
