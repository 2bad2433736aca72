"""The voice of an idling machine that ages: gears that wear in, bearings that pit.

``chatter.lab.simulate.machine`` draws a new drive for every recording; a history needs the same
drive again and again, a little older each time.  Gears are mesh lines with sidebands of
their own shaft, bearings are trains of strikes that ring in the housing, the load on a pit
waxes and wanes with the part it sits on, and every strike comes a little early or late.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from chatter.lab.simulate.course import slow_noise, stretched
from chatter.lab.simulate.radiation import convolve, mode_bank, rms

_CARRIER_HZ = (1500.0, 8000.0)


@dataclass(frozen=True)
class GearVoice:
    """One gear mesh as it sounds on the first day; levels re the hiss."""

    name: str
    teeth: int
    ratio: float
    level_db: float
    fall: float  # amplitude of harmonic h is 1 / h ** fall
    swell: float  # depth of amplitude modulation by its own shaft


@dataclass(frozen=True)
class BearingVoice:
    """One bearing: what a pit would strike."""

    name: str
    order: float  # strikes per turn of the spindle
    swell_order: float  # the load on the pit waxes and wanes with this; 0 = it stands still
    slip: float  # share by which the balls lag


@dataclass(frozen=True)
class SimulatedVoice:
    """Everything that stays the same over the life of one simulated machine."""

    gears: tuple[GearVoice, ...]
    bearings: tuple[BearingVoice, ...]
    mains_hz: float
    motor_hz: float
    motor_db: float
    hum_db: float
    structure_hz: float  # a part that something keeps ringing, at any speed
    structure_db: float
    belt_swell: float  # swell of the hiss once a turn
    seed: int  # draws phases, the housing's ring, the colour of the hiss


@dataclass(frozen=True)
class Age:
    """What differs on one date; all in dB re the first day but ``strikes_db``.

    Attributes
    ----------
    gear_db : tuple of float
        Change of level of each mesh.
    swell : tuple of float
        Factor on each gear's modulation.
    strikes_db : tuple of float
        Power of each bearing's strikes between 1.5 and 8 kHz re the hiss there; -99: none.
    hiss_db, hum_db : float
        Changes of the day: oil, temperature, the neighbours' load on the mains.
    """

    gear_db: tuple[float, ...]
    swell: tuple[float, ...]
    strikes_db: tuple[float, ...]
    hiss_db: float = 0.0
    hum_db: float = 0.0


def machine_voice(
    voice: SimulatedVoice,
    age: Age,
    spindle_hz: float,
    duration_s: float,
    rate_hz: int,
    rng: np.random.Generator,
    *,
    wander: float = 6e-4,
) -> np.ndarray:
    """The sound beside the machine, float32 of shape (n,).

    Parameters
    ----------
    voice, age
    spindle_hz : float [Hz]
        True speed.
    duration_s : float
    rate_hz : int
    rng : Generator
        Chance of this one recording.
    wander : float
        Relative slow wander of the speed, r.m.s.
    """
    n = int(duration_s * rate_hz)
    fixed = np.random.default_rng(voice.seed)
    hop = max(1, rate_hz // 50)
    course = 1.0 + wander * slow_noise(n // hop + 2, hop / rate_hz, 2.0, rng)
    turns = np.cumsum(spindle_hz * stretched(course, hop)[:n].astype(np.float64)) / rate_hz
    turns += rng.random()
    t = np.arange(n) / rate_hz
    colour = mode_bank(fixed, rate_hz, 60, (60.0, 6000.0), (0.1, 0.5), -3.0)
    rings = [
        mode_bank(fixed, rate_hz, 4, (1500.0, 6000.0), (0.02, 0.08), 0.0) for _ in voice.bearings
    ]
    phases = fixed.random((len(voice.gears) + 4, 8))
    hiss = convolve(rng.standard_normal(n, dtype=np.float32), colour)
    hiss *= np.float32(10 ** (age.hiss_db / 20) / max(rms(hiss), 1e-9))
    hiss *= (1 + voice.belt_swell * np.cos(2 * np.pi * turns)).astype(np.float32)
    out = hiss.copy()
    for at, gear in enumerate(voice.gears):
        gain = 10 ** ((gear.level_db + age.gear_db[at]) / 20)
        out += _gear(gear, gear.swell * age.swell[at], turns, rate_hz, spindle_hz, phases[at], rng,
                     gain)  # fmt: skip
    for at, bearing in enumerate(voice.bearings):
        if age.strikes_db[at] > -60.0:
            strikes = convolve(_strikes(bearing, turns, rng), rings[at])
            gain = _band_rms(hiss, rate_hz) / max(_band_rms(strikes, rate_hz), 1e-12)
            out += strikes * np.float32(gain * 10 ** (age.strikes_db[at] / 20))
    out += _steady(voice, age, t, phases[-4:], rng, rate_hz)
    return out


def _gear(
    gear: GearVoice,
    swell: float,
    turns: np.ndarray,
    rate_hz: int,
    spindle_hz: float,
    phases: np.ndarray,
    rng: np.random.Generator,
    gain: float,
) -> np.ndarray:
    shaft = gear.ratio * turns
    once = _sine(shaft)
    modulated = 1 + np.float32(swell) * (_sine(shaft + 0.25) + 0.4 * _sine(2 * shaft + 0.41))
    out = np.zeros(len(turns), np.float32)
    for h in (1, 2, 3, 4):
        order = h * gear.teeth * gear.ratio
        if order * spindle_hz > 0.42 * rate_hz:
            break
        wave = _wave(len(turns), rate_hz, 0.7, rng)
        place = order * turns + phases[h] + np.float32(0.25 * swell / np.pi) * once
        out += wave * modulated * _sine(place) * np.float32(1.0 / h**gear.fall)
    return np.float32(gain) * out


def _strikes(bearing: BearingVoice, turns: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """One click per passing of the pit, jittered by half a per cent of the spacing."""
    order = bearing.order * (1 - bearing.slip)
    first, last = turns[0] * order, turns[-1] * order
    at = np.arange(np.ceil(first), last)
    at = at + np.cumsum(0.004 * rng.standard_normal(len(at))) + 0.005 * rng.standard_normal(len(at))
    places = np.searchsorted(turns * order, at)
    places = places[(places > 0) & (places < len(turns))]
    clicks = np.zeros(len(turns), np.float32)
    load = 1.0 + 0.8 * np.cos(2 * np.pi * bearing.swell_order * turns[places])
    clicks[places] = load * (1 + 0.3 * rng.standard_normal(len(places)))
    return clicks


def _steady(
    voice: SimulatedVoice,
    age: Age,
    t: np.ndarray,
    phases: np.ndarray,
    rng: np.random.Generator,
    rate_hz: int,
) -> np.ndarray:
    """Hum, motor and a ringing part: what does not follow the spindle."""
    out = np.zeros(len(t), np.float32)
    loud = 10 ** ((voice.hum_db + age.hum_db) / 20)
    fixed = np.random.default_rng(voice.seed + 1)
    for k in (1, 2, 3, 4, 6, 8, 10, 12):
        gain = (0.3 if k % 2 else 1.0) / k**0.6 * 10 ** (fixed.normal(0, 3) / 20)
        wave = _wave(len(t), rate_hz, 0.15, rng)
        out += np.float32(loud * gain) * wave * _sine(voice.mains_hz * k * t + rng.random())
    motor = voice.motor_hz * (1 + 0.001 * rng.standard_normal())
    for k in (2, 4, 8):
        wave = _wave(len(t), rate_hz, 0.7, rng)
        gain = 10 ** (voice.motor_db / 20) / k**0.5
        out += np.float32(gain) * wave * _sine(motor * k * t + phases[0, k % 8])
    wave = _wave(len(t), rate_hz, 1.0, rng)
    out += np.float32(10 ** (voice.structure_db / 20)) * wave * _sine(voice.structure_hz * t)
    return out


def _sine(cycles: np.ndarray) -> np.ndarray:
    """Sine of whole turns, float32: the turns are cut off first, in float64."""
    return np.sin(np.float32(2 * np.pi) * (cycles - np.floor(cycles)).astype(np.float32))


def _band_rms(x: np.ndarray, rate_hz: int) -> float:
    power = np.abs(np.fft.rfft(x[: 2 * rate_hz])) ** 2
    hz = np.fft.rfftfreq(min(len(x), 2 * rate_hz), 1 / rate_hz)
    return float(np.sqrt(power[(hz > _CARRIER_HZ[0]) & (hz < _CARRIER_HZ[1])].sum()))


def _wave(n: int, rate_hz: int, depth_db: float, rng: np.random.Generator) -> np.ndarray:
    """A line never stands quite still."""
    hop = max(1, rate_hz // 20)
    slow = slow_noise(n // hop + 2, hop / rate_hz, 2.0, rng)
    gain = (10 ** (depth_db * slow / 20)).astype(np.float32)
    ramp = np.arange(hop, dtype=np.float32) / np.float32(hop)
    return (gain[:-1, None] + np.diff(gain)[:, None] * ramp).ravel()[:n]
