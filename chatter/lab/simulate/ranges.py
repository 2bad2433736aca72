"""Ranges: what may be drawn.  Development and reporting never share them."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

Pair = tuple[float, float]


@dataclass(frozen=True)
class Regime:
    """One way of cutting; every pair is (least, greatest)."""

    name: str
    form: str
    rev_min: Pair
    teeth: tuple[int, ...]
    diameter_m: Pair
    width_m: Pair
    immersion: Pair  # radial, over diameter
    chip_load_m: Pair
    mode_hz: Pair
    pass_s: Pair
    share: float = 1.0  # how often it is drawn


@dataclass(frozen=True)
class Ranges:
    """Everything that chance draws from."""

    name: str
    regimes: tuple[Regime, ...]
    modes: tuple[int, int] = (1, 3)
    damping: Pair = (0.008, 0.05)
    chatter_excess: Pair = (1.15, 3.0)  # compliance over the critical one
    stable_share: Pair = (0.02, 0.8)  # the same for cuts meant to be stable
    kt_n_m2: Pair = (0.7e9, 2.6e9)
    kr: Pair = (0.2, 0.6)
    damping_n_m: Pair = (2e3, 4e4)
    scatter: Pair = (0.03, 0.15)
    grain: Pair = (0.02, 0.2)
    uneven: Pair = (0.04, 1.25)  # spread of strokes of teeth in order, (max - min) / mean
    chatter_uneven: Pair = (0.04, 2.2)  # the same where a cut chatters: few teeth may cut
    extreme: Pair = (1.15, 3.0)  # the same where teeth are to count as uneven
    unequal_pitch: float = 0.15  # chance
    droop: Pair = (0.0, 0.035)
    wander: Pair = (3e-5, 0.003)
    speed_error: Pair = (-0.06, 0.06)
    gear_step: Pair = (1.18, 1.5)  # from one speed of the machine to the next
    wrong_gear: float = 0.08  # chance that the dial stands one notch off
    wrong_teeth: float = 0.06  # chance
    rub_db: Pair = (-2.0, 12.0)
    machine_db: Pair = (-28.0, 2.0)
    load_db: Pair = (0.0, 12.0)  # growth of the drive's lines under load
    comb: float = 0.7  # chance of lines at many orders of the turn
    comb_lines: tuple[int, int] = (8, 70)
    comb_db: Pair = (-9.0, 12.0)
    hiss_db: Pair = (-18.0, 4.0)  # belt, fan and oil re the machine's lines
    side: Pair = (0.05, 1.2)
    whine: float = 0.15
    whine_db: Pair = (-8.0, 12.0)
    modal_db: Pair = (-10.0, 8.0)
    chip_noise_db: Pair = (-20.0, 0.0)
    deep_db: Pair = (-15.0, 15.0)
    bank_modes: tuple[int, int] = (25, 90)
    bank_damping: Pair = (0.004, 0.05)
    tilt_db_octave: Pair = (-4.0, 1.0)
    room_s: Pair = (0.1, 0.8)
    wet_db: Pair = (-12.0, 3.0)
    rates_hz: tuple[int, ...] = (44_100, 48_000)
    roll_off_hz: Pair = (15.0, 180.0)
    phone_tilt: Pair = (-2.0, 2.0)
    agc: float = 0.25  # chance
    suppression: float = 0.1
    band_limit: float = 0.1
    stereo: float = 0.2
    thumps: float = 0.1
    clipping: float = 0.04
    no_idle: float = 0.5
    layouts: dict = field(  # how often a recording is laid out so
        default_factory=lambda: {
            "plain": 5.0,
            "many": 1.5,
            "late": 1.0,
            "back_to_back": 1.0,
            "run_down": 0.4,
        }
    )
    events_s: Pair = (8.0, 25.0)  # of other things before the first pass of a late one
    gap_s: Pair = (0.4, 2.0)
    distracted: float = 0.15
    distractors: tuple[str, ...] = (
        "speech",
        "radio",
        "hammering",
        "second_machine",
        "hiss",
        "engine",
    )
    distractor_db: Pair = (-20.0, 0.0)
    formats: tuple[tuple[str, int], ...] = (("wav", 0),)
    materials: dict = field(
        default_factory=lambda: {
            # name: (lowest, highest) tangential force per chip area [N/m2], handbook order
            "low_carbon_steel": (1.7e9, 2.4e9),
            "grey_cast_iron_medium": (0.9e9, 1.5e9),
            "alloy_steel": (1.9e9, 2.6e9),
            "brass": (0.7e9, 1.1e9),
            "aluminium": (0.6e9, 0.9e9),
        }
    )


_REGIMES = (
    Regime("saw", "slitting_saw", (40, 250), (12, 20, 24, 32, 36, 48, 64, 80), (0.075, 0.2),
           (0.001, 0.006), (0.03, 0.25), (8e-6, 6e-5), (120, 1600), (8.0, 24.0), 4.0),
    Regime("side_mill", "side_and_face", (40, 300), (8, 12, 14, 16, 18, 20, 24, 30), (0.05, 0.16),
           (0.005, 0.02), (0.02, 0.25), (3e-5, 1.2e-4), (120, 1500), (6.0, 20.0), 3.0),
    Regime("end_mill", "end_mill", (200, 12_000), (1, 2, 3, 4, 5, 6, 8), (0.006, 0.03),
           (0.0005, 0.01), (0.03, 1.0), (2e-5, 1.5e-4), (200, 3000), (0.7, 6.0), 3.0),
    Regime("face_mill", "face_mill", (200, 3000), (3, 4, 5, 6, 7, 8), (0.04, 0.1),
           (0.0005, 0.004), (0.3, 0.9), (5e-5, 2e-4), (150, 2000), (1.5, 10.0), 1.0),
    Regime("turning", "single_point", (100, 2500), (1,), (0.015, 0.2),
           (0.0003, 0.004), (0.5, 0.5), (5e-5, 3e-4), (100, 1500), (3.0, 15.0), 1.0),
)  # fmt: skip

#: For developing the detector.
ranges_development = Ranges(
    name="development",
    regimes=_REGIMES,
    formats=(("wav", 0), ("m4a", 96_000), ("m4a", 64_000), ("ogg", 64_000), ("mp3", 96_000)),
)

#: For reporting: other structures, rooms, phones and codecs, and wider still.
ranges_reporting = replace(
    ranges_development,
    name="reporting",
    regimes=tuple(
        replace(
            one,
            mode_hz=(0.8 * one.mode_hz[0], 1.2 * one.mode_hz[1]),
            diameter_m=(0.9 * one.diameter_m[0], 1.15 * one.diameter_m[1]),
        )
        for one in _REGIMES
    ),
    modes=(1, 4),
    damping=(0.005, 0.06),
    chatter_excess=(1.12, 4.0),
    scatter=(0.02, 0.2),
    grain=(0.01, 0.25),
    droop=(0.0, 0.045),
    wander=(3e-5, 0.004),
    machine_db=(-32.0, 4.0),
    load_db=(-2.0, 15.0),
    comb_lines=(5, 90),
    comb_db=(-12.0, 15.0),
    hiss_db=(-22.0, 6.0),
    side=(0.03, 1.5),
    whine=0.2,
    whine_db=(-10.0, 14.0),
    events_s=(5.0, 30.0),
    gap_s=(0.3, 2.5),
    modal_db=(-14.0, 10.0),
    chip_noise_db=(-24.0, 3.0),
    deep_db=(-20.0, 18.0),
    bank_modes=(12, 140),
    bank_damping=(0.002, 0.06),
    tilt_db_octave=(-6.0, 2.0),
    room_s=(0.06, 1.1),
    wet_db=(-15.0, 6.0),
    rates_hz=(16_000, 22_050, 32_000, 44_100, 48_000),
    roll_off_hz=(12.0, 250.0),
    phone_tilt=(-3.0, 3.0),
    uneven=(0.03, 1.3),
    chatter_uneven=(0.03, 2.6),
    extreme=(1.1, 3.5),
    unequal_pitch=0.25,
    agc=0.35,
    suppression=0.2,
    band_limit=0.2,
    thumps=0.2,
    distracted=0.3,
    distractors=(
        "speech", "radio", "hammering", "second_machine", "hiss", "silence", "filing", "beeps",
        "engine", "rain",
    ),
    distractor_db=(-24.0, 3.0),
    formats=(
        ("m4a", 128_000), ("m4a", 48_000), ("m4a", 32_000), ("mp4", 96_000), ("ogg", 48_000),
        ("webm", 32_000), ("mp3", 64_000), ("flac", 0), ("wav", 0), ("3gp", 12_200),
    ),
)  # fmt: skip

#: Cutters that run true, in wide slots: all that sounds may be one tone at tooth passing, and a
#: lone tone is not chatter.
ranges_true_running = replace(
    ranges_development,
    name="true_running",
    regimes=tuple(
        replace(one, immersion=(0.4, 1.0), share=4.0) if one.form == "end_mill" else one
        for one in _REGIMES
    ),
    uneven=(0.001, 0.05),
    chatter_uneven=(0.001, 0.1),
    comb=0.3,
)

ALL = {one.name: one for one in (ranges_development, ranges_reporting, ranges_true_running)}
