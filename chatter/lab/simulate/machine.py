"""Machine: the drive's own voice, heard idling and cutting alike."""

from __future__ import annotations

import numpy as np

from chatter.lab.simulate.course import slow_noise, stretched
from chatter.lab.simulate.radiation import convolve, mode_bank, rms
from chatter.lab.simulate.scene import MachineNoise, Whine


def machine_sound(
    machine: MachineNoise,
    turns: np.ndarray,
    running: np.ndarray,
    load: np.ndarray,
    rate_hz: float,
    rng: np.random.Generator,
) -> np.ndarray:
    """Gears, comb of the turn, bearings, motor, whines, mains and air, float32 of shape (n,).

    About unit r.m.s. without load.

    Parameters
    ----------
    turns : ndarray, shape (n,)
        Spindle angle [turns]: everything geared to the spindle follows it.
    running : ndarray, shape (n,), float32
        0..1, the spindle's speed over its set speed.
    load : ndarray, shape (n,), float32
        0..1, how hard the cut loads the drive.
    """
    n = len(turns)
    t = np.arange(n) / rate_hz
    driven = np.zeros(n, np.float32)
    for order in machine.gear_orders:
        driven += _gear(machine, order, turns, rate_hz, rng)
    if machine.comb_orders and machine.comb_db is not None:
        driven += _comb(machine, turns, driven, rng)
    lines = driven.copy()
    for order in machine.bearing_orders:
        lines += _bearing(order * (1 + rng.uniform(-0.02, 0)), turns, rate_hz, rng) * 0.4
    if machine.motor_hz > 0:
        for harmonic in (1, 2, 3, 4):
            gain = np.float32(0.4 / harmonic) * _wave(n, rate_hz, 1.5, rng)
            lines += gain * sine(harmonic * machine.motor_hz * t + rng.random())
    if machine.fan_hz > 0:
        lines += np.float32(0.3) * _wave(n, rate_hz, 3.0, rng) * sine(machine.fan_hz * t)
    lines *= running
    size = rms(lines) or 1.0
    # What the load adds stands beside the scale: a machine's level is that of its idling.
    lines += driven * running * (_grown(load, machine.load_db) - 1)
    lines /= np.float32(size)
    for whine in machine.whines:
        lines += _whine(whine, turns, running, load, rate_hz, rng)
    return lines + _hum(machine, t, rng) + _hiss(machine, running, rate_hz, rng)


def _gear(
    machine: MachineNoise,
    order: float,
    turns: np.ndarray,
    rate_hz: float,
    rng: np.random.Generator,
) -> np.ndarray:
    """One mesh with its harmonics; wheels out of true give each side lines at the turn."""
    n = len(turns)
    top = 0.42 * rate_hz / max(order * np.ptp(turns) * rate_hz / max(n, 1), 1e-9)
    strength = 10 ** (rng.uniform(-12, 0) / 20)
    swell = machine.side * rng.random()
    sway = machine.side * rng.random()  # radians: a wheel out of true also leads and lags
    out = np.zeros(n, np.float32)
    for harmonic in range(1, int(min(5, top)) + 1):
        wave = _wave(n, rate_hz, machine.wave_db, rng)
        once = turns + rng.random()
        rise = sine(once + 0.25)
        swelling = 1 + np.float32(swell) * rise + np.float32(0.5 * swell**2) * rise**2
        sways = np.float32(harmonic * sway / (2 * np.pi)) * sine(once)
        gain = np.float32(strength / harmonic ** rng.uniform(0.3, 1.5))
        out += gain * wave * swelling * sine(order * harmonic * turns + rng.random() + sways)
    return out


def sine(turns: np.ndarray) -> np.ndarray:
    """Sine of an angle in whole turns, float32: quick, and exact however many turns."""
    part = (turns - np.floor(turns)).astype(np.float32)
    return np.sin(np.float32(2 * np.pi) * part)


def _comb(
    machine: MachineNoise, turns: np.ndarray, gears: np.ndarray, rng: np.random.Generator
) -> np.ndarray:
    """Lines at whole orders of the turn: couplings, keys, belts, a spindle out of balance."""
    orders = np.array(machine.comb_orders)
    gain = 10 ** (rng.normal(0, 5, len(orders)) / 20) / np.sqrt(orders)
    points = 16 * int(orders.max()) + 1
    at = np.linspace(0, 1, points)
    phases = rng.random(len(orders))
    table = gain @ np.sin(2 * np.pi * (np.outer(orders, at) + phases[:, None]))
    wave = np.interp(turns % 1.0, at, table).astype(np.float32)
    size = (rms(gears) or 1.0) * 10 ** (machine.comb_db / 20)
    return wave * np.float32(size / max(float(np.sqrt(np.mean(table**2))), 1e-12))


def _whine(
    whine: Whine,
    turns: np.ndarray,
    running: np.ndarray,
    load: np.ndarray,
    rate_hz: float,
    rng: np.random.Generator,
) -> np.ndarray:
    n = len(turns)
    if whine.hz > 0:
        hop = 2400
        bend = stretched(slow_noise(n // hop + 2, hop / rate_hz, 2.0, rng), hop)[:n]
        drift = 10 ** rng.uniform(-5, -3.5)
        phase = np.cumsum(whine.hz * (1 + drift * bend.astype(float))) / rate_hz
    else:
        phase = whine.order * turns
    tone = sine(phase) + np.float32(0.2) * sine(2 * phase + rng.random())
    gain = np.float32(np.sqrt(2) * 10 ** (whine.level_db / 20)) * _wave(n, rate_hz, 1.0, rng)
    return gain * tone * running * _grown(load, whine.load_db)


def _grown(load: np.ndarray, load_db: float) -> np.ndarray:
    return (10 ** (load_db * load / 20)).astype(np.float32)


def _hum(machine: MachineNoise, t: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    out = np.zeros(len(t), np.float32)
    for harmonic in (1, 2, 3, 4, 6, 8, 10, 12):
        gain = (0.3 if harmonic % 2 else 1.0) / harmonic**0.7 * 10 ** (rng.normal(0, 4) / 20)
        out += np.float32(gain) * sine(machine.mains_hz * harmonic * t + rng.random())
    return out * np.float32(10 ** (machine.hum_db / 20))


def _hiss(
    machine: MachineNoise, running: np.ndarray, rate_hz: float, rng: np.random.Generator
) -> np.ndarray:
    noise = rng.standard_normal(len(running), dtype=np.float32)
    colour = mode_bank(rng, rate_hz, 60, (60.0, 6000.0), (0.1, 0.5), machine.hiss_tilt_db)
    out = convolve(noise, colour) * np.float32(10 ** (machine.hiss_db / 20))
    if machine.rumble_db is not None:
        deep = mode_bank(rng, rate_hz, 24, (18.0, 200.0), (0.1, 0.5), -2.0)
        out += convolve(noise, deep) * np.float32(10 ** (machine.rumble_db / 20))
    return out * running


def _bearing(
    order: float, turns: np.ndarray, rate_hz: float, rng: np.random.Generator
) -> np.ndarray:
    """A faint pit: one click per ball passing, ringing at a housing resonance."""
    clicks = np.zeros(len(turns), np.float32)
    hits = np.flatnonzero(np.diff(np.floor(order * turns)) > 0)
    clicks[hits] = 1 + 0.3 * rng.standard_normal(len(hits))
    return convolve(clicks, mode_bank(rng, rate_hz, 4, (1500.0, 6000.0), (0.02, 0.08), 0.0))


def _wave(n: int, rate_hz: float, depth_db: float, rng: np.random.Generator) -> np.ndarray:
    hop = 2400
    slow = slow_noise(n // hop + 2, hop / rate_hz, 2.0, rng)
    return stretched(10 ** (depth_db * slow / 20), hop)[:n]
