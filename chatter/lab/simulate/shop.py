"""Shop: the invented workshop of the demo, and the takes recorded in it.

A small shop runs in a second-hand horizontal mill.  One phone, one room, one machine; the
cutters, the speeds and the faults change from take to take.  Nothing here is a real
machine, maker or person.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from chatter.job.cut import Cut, Job, Take
from chatter.job.cutter import Cutter
from chatter.job.machine import Machine
from chatter.lab.simulate.chance import arc_of
from chatter.lab.simulate.cutting import Metal, Teeth
from chatter.lab.simulate.scene import (
    Format,
    MachineNoise,
    MachinistStatement,
    PassPlan,
    Phone,
    Radiation,
    Rub,
    Scene,
    SimulatedRoom,
)
from chatter.lab.simulate.stability import critical_compliance, scaled, widest
from chatter.lab.simulate.structure import StructureMode

#: One seed for all takes: the same drive, room and surroundings are heard in each.
SEED = 1931

MILL = Machine(
    name="second-hand horizontal mill",
    speeds_rev_min=(42.0, 57.0, 78.0, 106.0, 144.0, 197.0, 268.0, 365.0),
    mains_hz=50.0,
    motor_power_w=2200.0,
    motor_poles=4,
    table_backlash=True,
)
NOISE = MachineNoise(
    level_db=-13.0,
    gear_orders=(61.0, 43.0 * 2.4),
    motor_hz=24.2,
    bearing_orders=(4.9,),
    mains_hz=50.0,
    hum_db=-8.0,
    hiss_db=-2.0,
    fan_hz=24.2 * 9,
)
RADIATION = Radiation(-2.0, -5.0, 90, (180.0, 11_000.0), (0.006, 0.04), -2.0)
ROOM = SimulatedRoom(0.45, -4.0, echo_s=0.031, echo_db=-16.0)
PHONE = Phone(48_000, 110.0, 2, 0.3, -68.0, 0.45)
IRON = Metal(1.2e9, 0.35, 9e3, 6e3, 0.07, 0.08, 4e-4)
ARBOR = (
    StructureMode(287.0, 0.035, 9e6, 1.25, 1.0),
    StructureMode(668.0, 0.022, 2.2e7, 0.5, 0.8),
    StructureMode(1190.0, 0.018, 5e7, 1.9, 0.6),
)
PLAIN_SAW = Cutter(
    48, "plain saw, flat sides", "slitting_saw", 0.150, 0.004, "hss",
    side_relief=False, collar_diameter_m=0.050,
)  # fmt: skip
RELIEVED_SAW = replace(PLAIN_SAW, name="saw with relieved sides", side_relief=True)
STAGGERED = Cutter(
    20, "staggered-tooth cutter", "staggered_tooth", 0.150, 0.004, "hss",
    side_relief=True, collar_diameter_m=0.050,
)  # fmt: skip
SIDE_MILL = Cutter(
    18, "side-and-face cutter", "side_and_face", 0.100, 0.010, "hss",
    side_relief=True, collar_diameter_m=0.045,
)  # fmt: skip
END_MILL = Cutter(4, "end mill in the vertical head", "end_mill", 0.016, 0.012, "carbide")


@dataclass(frozen=True)
class Planned:
    """One take: what is written, and what is told of it."""

    name: str
    told: str  # for the table of the demo folder
    scene: Scene
    job: Job


def planned_takes() -> tuple[Planned, ...]:
    """Plan all takes, in the order they are shown."""
    return (
        _idle(),
        _slot("02-slot-plain-saw", "flat-sided saw in a slot: it drags on the walls", PLAIN_SAW,
              8e-6, Format("m4a", 64_000), rub=Rub(7.0, 0.85, 0.1, 2.0, 0.150, 0.050, 4e-3)),
        _slot("03-slot-staggered", "the same slot with a staggered-tooth cutter: normal", STAGGERED,
              3e-5, Format("m4a", 64_000)),
        _slot("04-saw-chatter", "a relieved saw far out on the arbor: it chatters", RELIEVED_SAW,
              1.6e-5, Format("mp4", 64_000), rev_min=106.0, depth_m=0.020, excess=1.7),
        _slot("05-saw-uneven", "a reground saw on a dirty spacer: uneven teeth", RELIEVED_SAW,
              1.4e-5, Format("ogg", 48_000), rev_min=78.0, depth_m=0.008, runout_m=5.5e-5),
        _slot("06-side-mill", "side-and-face cutter in steel: normal", SIDE_MILL,
              5e-5, Format("3gp", 12_200), rev_min=106.0, depth_m=0.006, steel=True),
        _zigzag(),
        _slot("08-too-loud", "the plain saw again, phone on the table: clipped, unfit", PLAIN_SAW,
              8e-6, Format("mp3", 96_000), rub=Rub(7.0, 0.85, 0.1, 2.0, 0.150, 0.050, 4e-3),
              peak=5.0, seconds=14.0),
    )  # fmt: skip


def _idle() -> Planned:
    teeth = Teeth((0.0,), (0.0,), (1.0,))
    scene = _scene("01-idle", 57.0, PLAIN_SAW, teeth, (), 15.0, 0.1, Format("wav"), IRON)
    # Wav at 16 kHz: some recorders of the simpler sort write that.
    scene = replace(scene, phone=replace(PHONE, rate_hz=16_000))
    job = Job(PLAIN_SAW, Cut(57.0), MILL, Take(simulated=True))
    return Planned("01-idle", "spindle turning free at 57 rev/min", scene, job)


def _slot(
    name: str,
    told: str,
    cutter: Cutter,
    chip_load_m: float,
    form: Format,
    *,
    rev_min: float = 57.0,
    depth_m: float = 0.012,
    excess: float = 0.25,
    runout_m: float = 3e-7,
    rub: Rub | None = None,
    steel: bool = False,
    peak: float = 0.45,
    seconds: float = 24.0,
) -> Planned:
    """One pass of a disc cutter: 5 s idle, the cut, 3 s idle."""
    immersion = depth_m / cutter.diameter_m
    plan = PassPlan(
        5.0, 5.0 + seconds, "conventional", arc_of(immersion), cutter.width_m, chip_load_m,
        entry_s=2.5, exit_s=1.5,
    )  # fmt: skip
    metal = replace(IRON, kt_n_m2=2.0e9) if steel else IRON
    teeth = _teeth(cutter, runout_m)
    scene = _scene(name, rev_min, cutter, teeth, (plan,), 8.0 + seconds, immersion, form, metal)
    scene = replace(scene, rub=rub, phone=replace(PHONE, peak=peak))
    scene = _stiffened(scene, excess)
    cut = Cut(
        speed_rev_min=rev_min,
        material="low_carbon_steel" if steel else "grey_cast_iron_medium",
        depth_m=depth_m,
        width_m=cutter.width_m,
        feed_m_s=_feed(chip_load_m, cutter, rev_min),
        direction="conventional",
        purpose="roughing",
    )
    return Planned(name, told, scene, Job(cutter, cut, MILL, Take(simulated=True)))


def _zigzag() -> Planned:
    """Six short passes to and fro with an end mill; only one direction chatters."""
    rev_min, chip, depth, width = 365.0, 6e-5, 0.004, 0.006
    arc = arc_of(depth / END_MILL.diameter_m)
    plans = tuple(
        PassPlan(2.0 + 4.6 * i, 6.0 + 4.6 * i, ("conventional", "climb")[i % 2], arc, width, chip,
                 entry_s=0.4, exit_s=0.3)
        for i in range(6)
    )  # fmt: skip
    teeth = replace(_teeth(END_MILL, 3e-7), helix_lag_turns=0.05, slices=5)
    scene = _scene(
        "07-zigzag", rev_min, END_MILL, teeth, plans, 30.5, depth / END_MILL.diameter_m,
        Format("m4a", 96_000), replace(IRON, kt_n_m2=2.0e9, damping_n_m=2e3),
    )  # fmt: skip
    scene = replace(scene, modes=tuple(replace(m, angle_rad=0.45) for m in ARBOR))
    limits = [critical_compliance(scene, plan) for plan in plans[:2]]
    known = [np.inf if one is None else one for one in limits]
    # Between the two limits: the worse direction chatters, the other does not.
    factor = min(known) * min(np.sqrt(max(known) / min(known)), 2.0)
    scene = scaled(scene, float(factor))
    cut = Cut(
        rev_min, "low_carbon_steel", width, depth, _feed(chip, END_MILL, rev_min), None, "roughing"
    )
    told = "end mill to and fro, six passes: one direction chatters"
    return Planned("07-zigzag", told, scene, Job(END_MILL, cut, MILL, Take(simulated=True)))


def _scene(
    name: str,
    rev_min: float,
    cutter: Cutter,
    teeth: Teeth,
    plans: tuple[PassPlan, ...],
    seconds: float,
    immersion: float,
    form: Format,
    metal: Metal,
) -> Scene:
    """The parts all takes share; the mill turns 1.6 % slower than its plate says."""
    return Scene(
        kind=name,
        regime="demo",
        form=cutter.form or "slitting_saw",
        material="grey_cast_iron_medium",
        diameter_m=cutter.diameter_m,
        immersion=immersion,
        teeth=teeth,
        metal=metal,
        modes=ARBOR,
        rev_min=0.984 * rev_min,
        droop=0.012,
        wander=0.0008,
        passes=plans,
        duration_s=seconds,
        radiation=RADIATION,
        machine=NOISE,
        rub=None,
        room=ROOM,
        phone=PHONE,
        stated=MachinistStatement(rev_min, cutter.teeth),
        format=form,
        ranges="demo",
    )


def _feed(chip_load_m: float, cutter: Cutter, rev_min: float) -> float:
    """Table feed [m/s], to the whole mm/min that a machinist would state."""
    return round(chip_load_m * cutter.teeth * rev_min * 1000) / 60_000


def _teeth(cutter: Cutter, runout_m: float) -> Teeth:
    """Evenly spaced teeth on a cutter that runs out by ``runout_m`` either way."""
    at = np.arange(cutter.teeth) / cutter.teeth
    rng = np.random.default_rng(SEED)
    height = runout_m * np.cos(2 * np.pi * at) + 2e-7 * rng.standard_normal(cutter.teeth)
    blunt = np.exp(0.02 * rng.standard_normal(cutter.teeth))
    return Teeth(*(tuple(float(x) for x in row) for row in (at, height, blunt)))


def _stiffened(scene: Scene, excess: float) -> Scene:
    """Set the set-up's softness to ``excess`` times the one at which this cut chatters."""
    limit = critical_compliance(scene, widest(scene.passes[0]))
    return scaled(scene, excess * (1.0 if limit is None else limit))
