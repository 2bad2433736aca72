"""Blows: taps with a soft hammer on a set-up that stands still, as a phone records them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from chatter.lab.simulate.structure import StructureMode

#: Time between two blows [s], and how far a hand is off.
GAP_S, HAND_S = 2.0, 0.15
#: A soft hammer's contact [s]: the spectrum of the blow falls beyond its inverse.
CONTACT_S = 0.8e-3


def tapped(
    modes: Sequence[StructureMode],
    *,
    seed: int,
    blows: int = 10,
    rate_hz: int = 48_000,
    noise: float = 4e-4,
    room_s: float = 0.3,
    room_db: float = -34.0,
) -> np.ndarray:
    """Ten blows and their ringing, in a room.

    Each blow is half a sine of ``CONTACT_S``; every mode rings at its damped frequency,
    ``f sqrt(1 - z^2)``, and dies away with ``2 pi f z``.

    Parameters
    ----------
    modes : sequence of StructureMode
        What the set-up rings at.
    seed : int
        Of the hand, the noise and the room.
    blows : int
    rate_hz : int
    noise : float
        Of phone and room, re full scale.
    room_s, room_db : float
        Reverberation time, and level of the reverberation re the direct sound.

    Returns
    -------
    ndarray of float32, shape (n,)
    """
    rng = np.random.default_rng(seed)
    t = np.arange(int(1.5 * rate_hz)) / rate_hz
    sound = np.zeros(int((1.0 + blows * GAP_S) * rate_hz))
    pulse = np.sin(np.pi * np.arange(int(CONTACT_S * rate_hz)) / (CONTACT_S * rate_hz))
    pulse /= pulse.sum()
    strongest = max(_loudness(one) for one in modes)
    for blow in range(blows):
        ring = np.zeros(t.size)
        for one in modes:
            w, z = 2 * np.pi * one.frequency_hz, one.damping
            size = _loudness(one) / strongest * rng.uniform(0.85, 1.15)
            ring += size * np.exp(-z * w * t) * np.sin(w * np.sqrt(1 - z * z) * t)
        ring = rng.uniform(0.6, 1.0) * np.convolve(ring, pulse)[: t.size]
        at = int((0.8 + blow * GAP_S + rng.uniform(0, HAND_S)) * rate_hz)
        end = min(t.size, sound.size - at)
        sound[at : at + end] += ring[:end]
    tail = np.arange(int(room_s * rate_hz)) / rate_hz
    echo = rng.standard_normal(tail.size) * np.exp(-np.log(1000) * tail / room_s)
    echo *= 10 ** (room_db / 20) / np.sqrt((echo**2).sum())
    echo[0] += 1.0
    length = 1 << int(sound.size + echo.size).bit_length()
    sound = np.fft.irfft(np.fft.rfft(sound, length) * np.fft.rfft(echo, length), length)
    sound = 0.4 * sound[: int((1.0 + blows * GAP_S) * rate_hz)] / np.abs(sound).max()
    return (sound + noise * rng.standard_normal(sound.size)).astype(np.float32)


def _loudness(one: StructureMode) -> float:
    """How loudly a mode is heard after a blow: radiated acceleration, ``w / m`` per impulse."""
    return one.loudness * 2 * np.pi * one.frequency_hz / one.mass_kg
