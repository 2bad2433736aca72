"""Draw parts: the pieces of a random scene, each from its own ranges."""

from __future__ import annotations

import numpy as np

from chatter.lab.simulate.chance import Rng, log_uniform, mean_chip, uniform
from chatter.lab.simulate.cutting import Metal
from chatter.lab.simulate.draw_layout import draw_layout
from chatter.lab.simulate.draw_teeth import draw_teeth
from chatter.lab.simulate.ranges import Pair, Ranges, Regime
from chatter.lab.simulate.scene import (
    Distractor,
    Format,
    MachineNoise,
    MachinistStatement,
    Phone,
    Radiation,
    Rub,
    Scene,
    SimulatedRoom,
    Whine,
)
from chatter.lab.simulate.structure import draw_modes


def draw_cut(rng: Rng, kind: str, ranges: Ranges, regime: Regime) -> Scene:
    """Draw a scene whose stiffness is still to be placed."""
    # A single tooth cannot differ from the others.
    able = [one for one in regime.teeth if one > 1 or "uneven" not in kind]
    count = int(rng.choice(able))
    rev_min = log_uniform(rng, regime.rev_min)
    chip = log_uniform(rng, regime.chip_load_m)
    material = str(rng.choice(list(ranges.materials)))
    idle_only = kind in ("machine_only", "no_cutting")
    immersion = log_uniform(rng, regime.immersion)
    diameter = log_uniform(rng, regime.diameter_m)
    laid = draw_layout(rng, ranges, regime, kind, immersion, chip, rev_min)
    passes = laid.passes
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
        teeth=draw_teeth(rng, ranges, regime, count, lean, kind),
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
        duration_s=laid.duration_s,
        spindle_from_s=laid.spindle_from_s,
        spindle_to_s=laid.spindle_to_s,
        run_down_s=laid.run_down_s,
        speed_steps=laid.speed_steps,
        layout=laid.name,
        radiation=Radiation(
            modal_db=uniform(rng, ranges.modal_db),
            chip_noise_db=uniform(rng, ranges.chip_noise_db),
            bank_modes=int(rng.integers(*ranges.bank_modes)),
            bank_hz=(log_uniform(rng, (40, 300)), log_uniform(rng, (8000, 14000))),
            bank_damping=ranges.bank_damping,
            tilt_db_octave=uniform(rng, ranges.tilt_db_octave),
            drift_db=uniform(rng, (0.2, 1.5)),
            deep_db=uniform(rng, ranges.deep_db),
        ),
        machine=machine,
        rub=rub,
        room=SimulatedRoom(log_uniform(rng, ranges.room_s), uniform(rng, ranges.wet_db)),
        phone=draw_phone(rng, ranges),
        stated=draw_stated(rng, ranges, rev_min, count, regime, rub, diameter),
        format=Format(*ranges.formats[int(rng.integers(len(ranges.formats)))]),
        distractors=laid.events or draw_distractors(rng, ranges, kind, laid.duration_s),
        ranges=ranges.name,
    )


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
    # Lines at orders of the turn: below some kilohertz, the low ones the likelier.
    most = int(np.clip(3000 * 60 / rev_min, 12, 240))
    often = 1 / np.sqrt(np.arange(1, most + 1))
    count = min(int(rng.integers(*ranges.comb_lines)), most)
    comb = np.sort(rng.choice(most, count, replace=False, p=often / often.sum()) + 1)
    return MachineNoise(
        level_db=uniform(rng, ranges.machine_db),
        gear_orders=tuple(float(o) for o in orders if o * rev_min / 60 < 6000),
        motor_hz=float(motor) if rng.random() < 0.7 else 0.0,
        bearing_orders=tuple(rng.uniform(2, 8, int(rng.integers(0, 3)))),
        mains_hz=mains,
        hum_db=uniform(rng, (-15.0, 3.0)),
        hiss_db=uniform(rng, ranges.hiss_db),
        fan_hz=float(motor * rng.integers(5, 13)) if rng.random() < 0.4 else 0.0,
        wave_db=uniform(rng, (0.5, 3.0)),
        hiss_tilt_db=uniform(rng, (-6.0, 0.0)),
        rumble_db=uniform(rng, (-12.0, 9.0)) if rng.random() < 0.8 else None,
        comb_db=uniform(rng, ranges.comb_db),
        comb_orders=tuple(map(int, comb)) if rng.random() < ranges.comb else (),
        side=log_uniform(rng, ranges.side),
        load_db=uniform(rng, ranges.load_db),
        whines=draw_whines(rng, ranges, rev_min),
    )


def draw_whines(rng: Rng, ranges: Ranges, rev_min: float) -> tuple[Whine, ...]:
    """Draw none or one steady tone: of its own, or geared high above the spindle."""
    if rng.random() > ranges.whine:
        return ()
    hz = log_uniform(rng, (250, 5000))
    geared = rng.random() < 0.4
    return (
        Whine(
            hz=0.0 if geared else hz,
            order=hz * 60 / rev_min if geared else 0.0,
            level_db=uniform(rng, ranges.whine_db),
            load_db=uniform(rng, (0.0, 10.0)) if rng.random() < 0.5 else 0.0,
        ),
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
) -> MachinistStatement:  # fmt: skip
    """Draw what the machinist says; sometimes the gear is one off, or a tooth miscounted."""
    error = float(np.clip(rng.normal(0.0, 0.02), *ranges.speed_error))
    step = uniform(rng, ranges.gear_step)
    notch = int(rng.choice([-1, 1])) if rng.random() < ranges.wrong_gear else 0
    said = float(f"{rev_min * (1 + error) * step**notch:.3g}")
    gears: tuple[float, ...] = ()
    if rng.random() < 0.4:  # the plate of speeds is told as well
        gears = tuple(float(f"{said * step**k:.3g}") for k in range(-4, 4))
    if teeth > 1 and rng.random() < ranges.wrong_teeth:
        teeth = max(1, teeth + int(rng.choice([-2, -1, 1, 2])))
    tell_all = bool(rng.random() < 0.7)
    # A stream of its own: what is stated of the cutter must not change what is heard.
    relief, collar = _stated_sides(rng.spawn(1)[0], regime, rub, diameter)
    return MachinistStatement(said, teeth, tell_all, gears, relief, collar)


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
