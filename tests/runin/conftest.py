"""A small machine, and idling sounds of it made from sines, clicks and hiss."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from chatter.job.machine import Bearing, Gear, Machine
from chatter.runin.idle import IdleSound, idle_sound

RATE_HZ = 24_000


@pytest.fixture(scope="session")
def mill() -> Machine:
    return Machine(
        name="test mill",
        speeds_rev_min=(60.0, 90.0, 130.0, 190.0, 270.0),
        mains_hz=50.0,
        motor_poles=4,
        gears=(Gear("bull gear", 61, 1.0), Gear("back gear", 43, 2.4)),
        bearings=(Bearing("front bearing", 14, 0.0127, 0.0715, 0.26, 1.0),),
    )


def _hiss(n: int, rng: np.random.Generator) -> np.ndarray:
    return 0.01 * rng.standard_normal(n)


@pytest.fixture(scope="session")
def make_idle() -> Callable[..., IdleSound]:
    """Idling: mesh lines of (order, amplitude, depth of modulation, shaft), strikes, hum."""

    def make(
        spindle_hz: float,
        *,
        meshes: tuple[tuple[float, float, float, float], ...] = (),
        strikes: tuple[float, float] | None = None,
        hum_hz: float = 50.0,
        hum: float = 0.01,
        gain: float = 1.0,
        seconds: float = 12.0,
        seed: int = 0,
        stated_hz: float | None = None,
    ) -> IdleSound:
        rng = np.random.default_rng(seed)
        n = int(seconds * RATE_HZ)
        t = np.arange(n) / RATE_HZ
        turns = spindle_hz * t
        x = _hiss(n, rng)
        for order, amplitude, depth, shaft in meshes:
            swell = 1 + depth * np.cos(2 * np.pi * shaft * turns)
            for h in (1, 2, 3):
                x += amplitude / h * swell * np.sin(2 * np.pi * (h * order * turns + rng.random()))
        for k in (2, 4, 6, 8, 10):
            x += hum * np.sin(2 * np.pi * (k * hum_hz * t + rng.random()))
        if strikes is not None:
            order, loud = strikes
            hits = np.flatnonzero(np.diff(np.floor(order * turns)) > 0)
            clicks = np.zeros(n)
            clicks[hits] = loud
            ring = np.exp(-np.arange(240) / 40) * np.sin(
                2 * np.pi * 3000 / RATE_HZ * np.arange(240)
            )
            x += np.convolve(clicks, ring)[:n]
        x = (gain * x).astype(np.float32)
        return idle_sound(lambda a, b: x[a:b], 0, n, RATE_HZ, spindle_hz=stated_hz or spindle_hz)

    return make
