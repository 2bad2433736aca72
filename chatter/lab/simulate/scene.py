"""Scene: everything that describes one recording before chance plays its part."""

from __future__ import annotations

from dataclasses import dataclass, field

from chatter.lab.simulate.cutting import Metal, Teeth
from chatter.lab.simulate.structure import StructureMode


@dataclass(frozen=True)
class PassPlan:
    """One pass as planned.  ``arc_turns`` is the angle of contact of the full cut."""

    start_s: float
    end_s: float
    direction: str  # "conventional", "climb" or "turning"
    arc_turns: float
    width_m: float
    chip_load_m: float
    entry_s: float
    exit_s: float
    depth_drift: float = 0.0  # relative change of chip width from start to end of the pass
    rubbing: float = 1.0  # share of the scene's rubbing that this pass has
    rubbing_drift: float = 0.0  # relative change of rubbing along the pass, -1..1


@dataclass(frozen=True)
class Rub:
    """A plate that drags on the wall of its slot."""

    level_db: float  # re the cutting sound, in 1-8 kHz
    wobble: float  # 0 = constant contact, 1 = touches once per turn
    second: float  # twice-per-turn part (a plate bent like a saddle)
    squeal_db: float | None  # strongest squeal re the rubbing noise; None = no squeal
    outer_m: float
    collar_m: float
    thickness_m: float
    wedged_chips: float = 0.0  # chance per turn that a chip wedges and scrapes


@dataclass(frozen=True)
class Whine:
    """One strong steady tone of the machine that is no chatter: inverter, pump, belt."""

    hz: float  # 0: tied to the spindle by ``order``
    order: float
    level_db: float  # re the machine's lines
    load_db: float  # growth under load


@dataclass(frozen=True)
class MachineNoise:
    """The machine's own voice; levels re the cutting sound."""

    level_db: float
    gear_orders: tuple[float, ...]  # mesh frequencies, per spindle turn
    motor_hz: float  # turns per second of the motor, 0 = none heard
    bearing_orders: tuple[float, ...]
    mains_hz: float
    hum_db: float  # re the machine's level
    hiss_db: float  # belt, fan and oil, re the machine's level
    fan_hz: float  # blade passing of the motor fan, 0 = none
    wave_db: float = 2.0  # slow waxing and waning of each line
    hiss_tilt_db: float = -3.0  # per octave
    rumble_db: float | None = None  # noise below 200 Hz, re the machine's level
    comb_db: float | None = None  # lines at whole orders of the turn, re the machine's lines
    comb_orders: tuple[int, ...] = ()
    side: float = 0.4  # how far gears are out of true: side lines at the turn
    load_db: float = 0.0  # by how much gears and comb grow when the cut loads the drive
    whines: tuple[Whine, ...] = ()
    runs_in_quiet: bool = True  # False: switched off outside the passes' neighbourhood


@dataclass(frozen=True)
class Radiation:
    """How forces and motion become sound at the microphone."""

    modal_db: float  # the few cutting modes, re the sound straight from the force
    chip_noise_db: float  # tearing of chips, re the same
    bank_modes: int  # high modes of the surroundings
    bank_hz: tuple[float, float]
    bank_damping: tuple[float, float]
    tilt_db_octave: float
    chip_power: float = 0.7  # chip noise amplitude ~ chip area ** this
    drift_db: float = 1.0  # slow drift of level
    deep_db: float | None = None  # rocking of machine and table on the floor, re the modes


@dataclass(frozen=True)
class SimulatedRoom:
    """Reverberation and distance."""

    decay_s: float  # time to fall by 60 dB
    wet_db: float  # energy of the reverberation re the direct sound
    echo_s: float = 0.0  # one distinct echo, 0 = none
    echo_db: float = -12.0


@dataclass(frozen=True)
class Phone:
    """Microphone, its processing, and the hand that holds it."""

    rate_hz: int
    roll_off_hz: float
    roll_off_order: int
    tilt_db_octave: float
    noise_db: float  # own noise re full scale
    peak: float  # loudest sample re full scale before the limiter; above 1 clips
    agc_db: float = 0.0  # greatest gain change, 0 = none
    attack_s: float = 0.02
    release_s: float = 0.8
    suppression_db: float = 0.0  # spectral gating depth, 0 = none
    band_limit_hz: float | None = None
    thumps_per_s: float = 0.0
    channels: int = 1


@dataclass(frozen=True)
class Distractor:
    """Something else that is heard; level re the loudest second of the cutting scene."""

    name: str  # a key of chatter.lab.simulate.distractors.MAKERS
    level_db: float
    start_s: float
    end_s: float


@dataclass(frozen=True)
class Format:
    """The file the phone writes (see chatter.lab.simulate.codec)."""

    name: str = "wav"
    bit_rate: int = 64_000


@dataclass(frozen=True)
class MachinistStatement:
    """What the machinist says, right or wrong."""

    rev_min: float
    teeth: int
    tell_all: bool = True  # also states form, sizes, depth, feed, direction
    speeds_rev_min: tuple[float, ...] = ()
    side_relief: bool | None = None  # as read off the cutter, where it is a disc
    collar_m: float | None = None


@dataclass(frozen=True)
class Scene:
    """One recording, fully described."""

    kind: str
    regime: str
    form: str  # one of chatter.job.cutter.FORMS
    material: str
    diameter_m: float
    immersion: float  # radial immersion / diameter
    teeth: Teeth
    metal: Metal
    modes: tuple[StructureMode, ...]
    rev_min: float  # unloaded
    droop: float  # relative loss of speed under full load
    wander: float  # relative slow wander of speed, r.m.s.
    passes: tuple[PassPlan, ...]
    duration_s: float
    radiation: Radiation
    machine: MachineNoise | None
    rub: Rub | None
    room: SimulatedRoom
    phone: Phone
    stated: MachinistStatement
    format: Format = field(default_factory=Format)
    distractors: tuple[Distractor, ...] = ()
    spindle_from_s: float = 0.0  # spindle starts turning
    spindle_to_s: float | None = None  # ... and stops; None = after the end
    run_down_s: float = 1.8  # from switching off to standing still
    speed_steps: tuple[tuple[float, float], ...] = ()  # (from [s], factor on the speed)
    layout: str = "plain"  # how passes and rests follow each other
    ranges: str = ""  # name of the ranges it was drawn from
    synthesis_rate_hz: int = 48_000

    @property
    def turning(self) -> bool:
        """True for turning and boring: one tooth, always in the cut."""
        return self.form == "single_point"
