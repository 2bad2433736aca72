"""Machine: what the machinist tells of it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Gear:
    """A gear of the drive: ``teeth`` on a shaft turning ``ratio`` times per spindle turn."""

    name: str
    teeth: int
    ratio: float = 1.0


@dataclass(frozen=True)
class Bearing:
    """A rolling bearing on a shaft turning ``ratio`` times per spindle turn."""

    name: str
    balls: int
    ball_diameter_m: float
    pitch_diameter_m: float
    contact_angle_rad: float = 0.0
    ratio: float = 1.0


@dataclass(frozen=True)
class Machine:
    """A machine tool; every field but none is needed to listen."""

    name: str = ""
    speeds_rev_min: tuple[float, ...] = ()  # the gear steps, ascending
    feeds_m_s: tuple[float, ...] = ()  # table feeds, ascending
    mains_hz: float | None = None
    motor_power_w: float | None = None
    motor_poles: int | None = None
    arbor_diameters_m: tuple[float, ...] = ()
    table_backlash: bool | None = None  # True: climb milling can pull the work in
    gears: tuple[Gear, ...] = ()
    bearings: tuple[Bearing, ...] = ()
