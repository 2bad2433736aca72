"""Machine: the drive's own voice, heard idling and cutting alike."""

from __future__ import annotations

import numpy as np

from chatter.lab.simulate.course import slow_noise, stretched
from chatter.lab.simulate.radiation import convolve, mode_bank, rms
from chatter.lab.simulate.scene import MachineNoise


def machine_sound(
    machine: MachineNoise,
    turns: np.ndarray,
    running: np.ndarray,
    rate_hz: float,
    rng: np.random.Generator,
) -> np.ndarray:
    """Gears, bearings, motor, mains and air, float32 of shape (n,), about unit r.m.s.

    Parameters
    ----------
    turns : ndarray, shape (n,)
        Spindle angle [turns]: everything geared to the spindle follows it.
    running : ndarray, shape (n,), float32
        0..1, the spindle's speed over its set speed.
    """
    n = len(turns)
    t = np.arange(n) / rate_hz
    lines = np.zeros(n, np.float32)
    for order in machine.gear_orders:
        top = 0.42 * rate_hz / max(order * np.ptp(turns) * rate_hz / max(n, 1), 1e-9)
        strength = 10 ** (rng.uniform(-12, 0) / 20)
        eccentric = rng.uniform(0, 0.4)
        for harmonic in range(1, int(min(5, top)) + 1):
            wave = _wave(n, rate_hz, machine.wave_db, rng)
            modulated = 1 + eccentric * np.cos(2 * np.pi * (turns + rng.random()))
            lines += (
                strength
                / harmonic ** rng.uniform(0.3, 1.5)
                * wave
                * modulated
                * np.sin(2 * np.pi * (order * harmonic * turns + rng.random()))
            ).astype(np.float32)
    for order in machine.bearing_orders:
        lines += _bearing(order * (1 + rng.uniform(-0.02, 0)), turns, rate_hz, rng) * 0.4
    if machine.motor_hz > 0:
        for harmonic in (1, 2, 3, 4):
            phase = 2 * np.pi * (harmonic * machine.motor_hz * t + rng.random())
            lines += (0.4 / harmonic * _wave(n, rate_hz, 1.5, rng) * np.sin(phase)).astype(
                np.float32
            )
    if machine.fan_hz > 0:
        phase = 2 * np.pi * machine.fan_hz * t
        lines += (0.3 * _wave(n, rate_hz, 3.0, rng) * np.sin(phase)).astype(np.float32)
    lines *= running
    if rms(lines) > 0:
        lines /= np.float32(rms(lines))
    return lines + _hum(machine, t, rng) + _hiss(machine, running, rate_hz, rng)


def _hum(machine: MachineNoise, t: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    out = np.zeros(len(t))
    for harmonic in (1, 2, 3, 4, 6, 8, 10, 12):
        gain = (0.3 if harmonic % 2 else 1.0) / harmonic**0.7 * 10 ** (rng.normal(0, 4) / 20)
        out += gain * np.sin(2 * np.pi * (machine.mains_hz * harmonic * t + rng.random()))
    return (out * 10 ** (machine.hum_db / 20)).astype(np.float32)


def _hiss(
    machine: MachineNoise, running: np.ndarray, rate_hz: float, rng: np.random.Generator
) -> np.ndarray:
    noise = rng.standard_normal(len(running), dtype=np.float32)
    colour = mode_bank(rng, rate_hz, 60, (60.0, 6000.0), (0.1, 0.5), -3.0)
    return convolve(noise, colour) * running * np.float32(10 ** (machine.hiss_db / 20))


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
    return 10 ** (depth_db * stretched(slow, hop)[:n] / 20)
