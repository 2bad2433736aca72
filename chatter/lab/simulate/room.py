"""Room: the way from the machine to the phone, by a decaying-noise model."""

from __future__ import annotations

import numpy as np

from chatter.lab.simulate.radiation import convolve
from chatter.lab.simulate.scene import SimulatedRoom


def room_response(room: SimulatedRoom, rate_hz: float, rng: np.random.Generator) -> np.ndarray:
    """Impulse response: direct sound, a few early reflections, an exponential tail.

    High frequencies die sooner than low ones, as they do in air and at walls: the tail is
    noise whose upper band decays twice as fast.
    """
    n = int(max(0.03, min(room.decay_s, 1.2)) * rate_hz)
    t = np.arange(n) / rate_hz
    noise = rng.standard_normal(n)
    dull = np.convolve(noise, np.ones(8) / 8, "same")
    fall = 6.9078 / room.decay_s
    tail = dull * np.exp(-fall * t) + 0.5 * (noise - dull) * np.exp(-2 * fall * t)
    tail[: int(0.002 * rate_hz)] = 0.0
    for _ in range(6):  # floor, table, walls
        at = int(rng.uniform(0.001, 0.02) * rate_hz)
        tail[at] += rng.choice([-1, 1]) * rng.uniform(0.1, 0.5) * np.sqrt(np.sum(tail**2))
    tail *= 10 ** (room.wet_db / 20) / np.sqrt(np.sum(tail**2))
    tail[0] += 1.0
    if room.echo_s > 0:
        at = int(room.echo_s * rate_hz)
        tail = np.pad(tail, (0, max(0, at + 1 - n)))
        tail[at] += 10 ** (room.echo_db / 20)
    return tail.astype(np.float32)


def in_room(
    sound: np.ndarray, room: SimulatedRoom, rate_hz: float, rng: np.random.Generator
) -> np.ndarray:
    """Sound at the phone, float32, same length."""
    return convolve(sound, room_response(room, rate_hz, rng))
