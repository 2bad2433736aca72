"""Draw parts: the pieces of a random scene, each from its own ranges."""

from __future__ import annotations

import numpy as np

from chatter.lab.simulate.cutting import Metal, Teeth
from chatter.lab.simulate.ranges import Pair, Ranges, Regime
from chatter.lab.simulate.scene import (
    Distractor,
    Format,
    MachineNoise,
    PassPlan,
    Phone,
    Radiation,
    Room,
    Rub,
    Scene,
    Stated,
)
from chatter.lab.simulate.structure import draw_modes

Rng = np.random.Generator


def uniform(rng: Rng, pair: Pair) -> float:
    """Evenly between the bounds."""
    return float(rng.uniform(*pair))


def log_uniform(rng: Rng, pair: Pair) -> float:
    """Evenly in the logarithm between positive bounds."""
    return float(np.exp(rng.uniform(np.log(pair[0]), np.log(pair[1]))))


def arc_of(immersion: float) -> float:
    """Angle of contact [turns] for a radial immersion over diameter: acos(1 - 2 x)."""
    return float(np.arccos(1 - 2 * min(immersion, 1.0)) / (2 * np.pi))


def mean_chip(regime: Regime, immersion: float, chip: float) -> float:
    """Mean chip thickness [m] over the arc of contact, f_z 2 x / phi_s."""
    if regime.form == "single_point":
        return chip
    return chip * 2 * immersion / (2 * np.pi * arc_of(immersion))


def draw_cut(rng: Rng, kind: str, ranges: Ranges, regime: Regime) -> Scene:
    """Draw a scene whose stiffness is still to be placed."""
    count = int(rng.choice(regime.teeth))
    rev_min = log_uniform(rng, regime.rev_min)
    chip = log_uniform(rng, regime.chip_load_m)
    material = str(rng.choice(list(ranges.materials)))
    idle_only = kind in ("machine_only", "no_cutting")
    immersion = log_uniform(rng, regime.immersion)
    diameter = log_uniform(rng, regime.diameter_m)
    passes, duration = draw_passes(rng, ranges, regime, kind, immersion, chip, rev_min)
    width = passes[0].width_m if passes else log_uniform(rng, regime.width_m)
    lean = mean_chip(regime, immersion, chip)
    rub = draw_rub(rng, ranges, diameter, width) if "rubbing" in kind else None
    machine = None if kind == "no_cutting" else draw_machine(rng, ranges, rev_min)
    return Scene(
        kind=kind,
        regime=regime.name,
        form=regime.form,
        material=material,
        diameter_m=diameter,
        immersion=immersion,
        teeth=draw_teeth(rng, ranges, regime, count, lean, "uneven" in kind),
        metal=draw_metal(rng, ranges, ranges.materials[material], regime),
        modes=draw_modes(
            rng,
            int(rng.integers(ranges.modes[0], ranges.modes[1] + 1)),
            regime.mode_hz,
            ranges.damping,
            (3e6, 3e7),
        ),
        rev_min=rev_min,
        droop=0.0 if idle_only else uniform(rng, ranges.droop),
        wander=log_uniform(rng, ranges.wander),
        passes=passes,
        duration_s=duration,
        radiation=Radiation(
            modal_db=uniform(rng, ranges.modal_db),
            chip_noise_db=uniform(rng, ranges.chip_noise_db),
            bank_modes=int(rng.integers(*ranges.bank_modes)),
            bank_hz=(log_uniform(rng, (120, 300)), log_uniform(rng, (8000, 14000))),
            bank_damping=ranges.bank_damping,
            tilt_db_octave=uniform(rng, ranges.tilt_db_octave),
            drift_db=uniform(rng, (0.2, 1.5)),
        ),
        machine=machine,
        rub=rub,
        room=Room(log_uniform(rng, ranges.room_s), uniform(rng, ranges.wet_db)),
        phone=draw_phone(rng, ranges),
        stated=draw_stated(rng, ranges, rev_min, count, regime, rub, diameter),
        format=Format(*ranges.formats[int(rng.integers(len(ranges.formats)))]),
        distractors=draw_distractors(rng, ranges, kind, duration),
        ranges=ranges.name,
    )


def draw_passes(
    rng: Rng, ranges: Ranges, regime: Regime, kind: str, immersion: float, chip: float,
    rev_min: float,
) -> tuple[tuple[PassPlan, ...], float]:  # fmt: skip
    """Draw one pass or many, with idling before, between and after, or none at all."""
    idle = 0.0 if rng.random() < ranges.no_idle else log_uniform(rng, (0.6, 6.0))
    if kind in ("machine_only", "no_cutting"):
        return (), log_uniform(rng, (5.0, 25.0))
    least = max(regime.pass_s[0], 9 * 60 / rev_min)  # nine turns, or a verdict means little
    length = log_uniform(rng, (least, max(regime.pass_s[1], 1.2 * least)))
    count = 1
    if length < 6 and rng.random() < 0.6:
        count = int(rng.integers(2, 21 if length < 2 else 6))
    gap = log_uniform(rng, (0.5, 2.0))
    first = str(rng.choice(["conventional", "climb"]))
    zigzag = count > 1 and rng.random() < 0.5
    if regime.form == "single_point":
        first, zigzag = "turning", False
    ramp = min(0.25 * length, max(2 * 60 / rev_min, log_uniform(rng, (0.05, 1.5))))
    width = log_uniform(rng, regime.width_m)
    drift = float(rng.uniform(-0.5, 1.0)) if count == 1 and rng.random() < 0.3 else 0.0
    plans = []
    at = idle if idle > 0 else 0.0
    for index in range(count):
        other = "climb" if first == "conventional" else "conventional"
        cut_in = idle == 0.0 and index == 0 and rng.random() < 0.5
        plans.append(
            PassPlan(
                start_s=at,
                end_s=at + length,
                direction=other if zigzag and index % 2 else first,
                arc_turns=arc_of(immersion),
                width_m=width,
                chip_load_m=chip,
                entry_s=0.0 if cut_in else ramp,
                exit_s=ramp * float(rng.uniform(0.3, 1.0)),
                depth_drift=drift,
                rubbing_drift=float(rng.choice([0.0, rng.uniform(-0.8, 0.8)])),
            )
        )
        at += length + gap
    return tuple(plans), at - gap + idle


def draw_teeth(
    rng: Rng, ranges: Ranges, regime: Regime, count: int, chip: float, uneven: bool
) -> Teeth:
    """Draw teeth: slightly out of true, or plainly uneven in one of several ways.

    ``chip`` is the mean thickness of the chip: what heights must be measured against.
    """
    at = np.arange(count) / count
    if count > 1 and regime.form != "single_point" and rng.random() < ranges.unequal_pitch:
        spread = rng.uniform(0.03, 0.2)
        alternate = np.where(np.arange(count) % 2, 0.5, -0.5) if rng.random() < 0.5 else None
        shift = alternate if alternate is not None else rng.uniform(-0.5, 0.5, count)
        at = np.sort((at + spread * shift / count) % 1.0)
    angle = 2 * np.pi * (at - rng.random())
    height = uniform(rng, ranges.height_share) * chip * 0.5 * rng.standard_normal(count)
    height += uniform(rng, ranges.height_share) * chip * 0.5 * np.cos(angle)
    blunt = np.exp(0.02 * rng.standard_normal(count))
    if uneven:
        height, blunt = _unevened(rng, count, chip, angle, height, blunt)
    helix = regime.form in ("end_mill",) and rng.random() < 0.85
    return Teeth(
        at_turns=tuple(float(a) for a in at),
        height_m=tuple(float(h) for h in height),
        bluntness=tuple(float(b) for b in blunt),
        helix_lag_turns=float(rng.uniform(0.02, 0.15)) if helix else 0.0,
        slices=5 if helix else 1,
    )


def _unevened(rng, count, chip, angle, height, blunt):
    """Runout, one high tooth, one low or missing tooth, or a few blunt ones."""
    sort = rng.choice(["runout", "high", "missing", "blunt"], p=[0.4, 0.25, 0.2, 0.15])
    if count == 1:
        return height, blunt
    one = int(rng.integers(count))
    if sort == "runout":
        # Chip changes by the height step from tooth to tooth: about 2 pi e / teeth.
        height = height + chip * rng.uniform(0.5, 1.5) * max(1.0, count / 6.0) * np.cos(angle)
    elif sort == "high":
        height = height.copy()
        height[one] += chip * rng.uniform(0.8, 3.0)
    elif sort == "missing":
        height = height.copy()
        height[one : one + 1 + int(rng.random() < 0.2)] -= 1e-3
    else:
        blunt = blunt.copy()
        some = rng.choice(count, size=max(1, count // 6), replace=False)
        blunt[some] *= rng.uniform(1.9, 3.0)
    return height, blunt


def draw_metal(rng: Rng, ranges: Ranges, kt: Pair, regime: Regime) -> Metal:
    """Draw how the work resists."""
    force = log_uniform(rng, kt)
    return Metal(
        kt_n_m2=force,
        kr=uniform(rng, ranges.kr),
        edge_n_m=log_uniform(rng, (3e3, 3e4)),
        damping_n_m=log_uniform(rng, ranges.damping_n_m),
        scatter=log_uniform(rng, ranges.scatter),
        grain=log_uniform(rng, ranges.grain),
        jitter_turns=0.0 if regime.form == "single_point" else log_uniform(rng, (1e-4, 2e-3)),
    )


def draw_rub(rng: Rng, ranges: Ranges, diameter: float, width: float) -> Rub:
    """Draw how a plate drags."""
    squeal = uniform(rng, (-8.0, 10.0)) if rng.random() < 0.6 else None
    return Rub(
        level_db=uniform(rng, ranges.rub_db),
        wobble=uniform(rng, (0.35, 1.0)),
        second=uniform(rng, (0.0, 0.4)),
        squeal_db=squeal,
        outer_m=diameter,
        collar_m=diameter * uniform(rng, (0.25, 0.5)),
        thickness_m=width,
        wedged_chips=0.3 if rng.random() < 0.2 else 0.0,
    )


def draw_machine(rng: Rng, ranges: Ranges, rev_min: float) -> MachineNoise:
    """Draw a drive: two to four gear meshes, bearings, a motor with slip, mains."""
    mains = float(rng.choice([50.0, 60.0]))
    motor = 2 * mains / int(rng.choice([2, 4, 6])) * rng.uniform(0.94, 0.995)
    orders = []
    ratio = 1.0
    for _ in range(int(rng.integers(1, 5))):
        teeth = int(rng.integers(17, 75))
        orders.append(ratio * teeth)
        ratio *= rng.uniform(1.2, 3.0) if ratio * rev_min / 60 < motor else 1.0
    return MachineNoise(
        level_db=uniform(rng, ranges.machine_db),
        gear_orders=tuple(float(o) for o in orders if o * rev_min / 60 < 6000),
        motor_hz=float(motor) if rng.random() < 0.7 else 0.0,
        bearing_orders=tuple(rng.uniform(2, 8, int(rng.integers(0, 3)))),
        mains_hz=mains,
        hum_db=uniform(rng, (-15.0, 3.0)),
        hiss_db=uniform(rng, (-6.0, 6.0)),
        fan_hz=float(motor * rng.integers(5, 13)) if rng.random() < 0.4 else 0.0,
        wave_db=uniform(rng, (0.5, 3.0)),
    )


def draw_phone(rng: Rng, ranges: Ranges) -> Phone:
    """Draw a phone."""
    return Phone(
        rate_hz=int(rng.choice(ranges.rates_hz)),
        roll_off_hz=log_uniform(rng, ranges.roll_off_hz),
        roll_off_order=int(rng.integers(1, 4)),
        tilt_db_octave=uniform(rng, ranges.phone_tilt),
        noise_db=uniform(rng, (-80.0, -55.0)),
        peak=float(rng.uniform(1.4, 3.0))
        if rng.random() < ranges.clipping
        else log_uniform(rng, (0.05, 0.85)),
        agc_db=uniform(rng, (3.0, 15.0)) if rng.random() < ranges.agc else 0.0,
        attack_s=log_uniform(rng, (0.005, 0.1)),
        release_s=log_uniform(rng, (0.2, 2.0)),
        suppression_db=uniform(rng, (6.0, 18.0)) if rng.random() < ranges.suppression else 0.0,
        band_limit_hz=uniform(rng, (6500.0, 7800.0)) if rng.random() < ranges.band_limit else None,
        thumps_per_s=uniform(rng, (0.05, 0.5)) if rng.random() < ranges.thumps else 0.0,
        channels=2 if rng.random() < ranges.stereo else 1,
    )


def draw_stated(
    rng: Rng, ranges: Ranges, rev_min: float, teeth: int, regime: Regime, rub: Rub | None,
    diameter: float,
) -> Stated:  # fmt: skip
    """Draw what the machinist says; sometimes grossly wrong."""
    error = float(np.clip(rng.normal(0.0, 0.02), *ranges.speed_error))
    if rng.random() < ranges.gross_speed_error:
        error = float(rng.choice([-0.2, 0.25]))
    said = float(f"{rev_min * (1 + error):.3g}")
    if teeth > 1 and rng.random() < ranges.wrong_teeth:
        teeth = max(1, teeth + int(rng.choice([-2, -1, 1, 2])))
    tell_all = bool(rng.random() < 0.7)
    # A stream of its own: what is stated of the cutter must not change what is heard.
    relief, collar = _stated_sides(rng.spawn(1)[0], regime, rub, diameter)
    return Stated(said, teeth, tell_all=tell_all, side_relief=relief, collar_m=collar)


def _stated_sides(
    rng: Rng, regime: Regime, rub: Rub | None, diameter: float
) -> tuple[bool | None, float | None]:
    """Side relief and collar as stated: plain discs rub more often, but relieved ones may
    (worn, cocked, chips beside them) and plain ones mostly do not.  The odds are ours."""
    if regime.form not in ("slitting_saw", "side_and_face", "staggered_tooth"):
        return None, None
    known = bool(rng.random() < 0.6)
    plain = 0.6 if rub is not None else 0.4
    if regime.form != "slitting_saw":
        plain *= 0.4
    relief = bool(rng.random() >= plain)
    drawn = float(diameter * rng.uniform(0.25, 0.5))
    collar = rub.collar_m if rub is not None else drawn
    return (relief if known else None), (collar if rng.random() < 0.5 else None)


def draw_distractors(
    rng: Rng, ranges: Ranges, kind: str, duration: float
) -> tuple[Distractor, ...]:
    """Draw what else is heard: always something without cutting, else now and then."""
    if kind == "no_cutting":
        names = rng.choice(ranges.distractors, size=int(rng.integers(1, 3)), replace=False)
        return tuple(Distractor(str(name), 0.0, 0.0, duration) for name in names)
    if rng.random() > ranges.distracted:
        return ()
    start = float(rng.uniform(0, 0.7 * duration))
    end = float(min(duration, start + rng.uniform(0.1, 1.0) * duration))
    name = str(rng.choice(ranges.distractors))
    return (Distractor(name, uniform(rng, ranges.distractor_db), start, end),)
