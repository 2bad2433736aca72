"""Whether a line and its surroundings lie on the grid of the turn, by two clocks."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from chatter.listening.clocks import Gains, envelope_gains
from chatter.listening.decibels import NAN
from chatter.listening.segment_sound import FineSound
from chatter.listening.spindle import SpeedPosterior
from chatter.sound.modulation import moving_mean
from chatter.sound.spectrum import frame_power

#: A clock is looked for this far from the recording's speed, by how well that is known.
_NARROW, _WIDE, _KNOWN = 0.004, 0.010, 0.002
_CLOCK_STEP = 5e-5
_MOST_ORDERS = 600
#: Least turns for what is tied to the turn's grid.
FEWEST_TURNS = 5.0


@dataclass(frozen=True)
class _Clock:
    """The turn by one kind of lines: frequency, and standard deviations above the rest."""

    turn_hz: float
    stands: float


def _grid(speed: SpeedPosterior) -> np.ndarray:
    span = _NARROW if speed.spread < _KNOWN else _WIDE
    return speed.spindle_hz * np.exp(np.arange(-span, span, _CLOCK_STEP))


def _best(grid: np.ndarray, score: np.ndarray) -> _Clock:
    best = int(np.argmax(score))
    stands = (score[best] - score.mean()) / max(float(score.std()), 1e-6)
    return _Clock(float(grid[best]), float(stands))


class TurnClocks:
    """What a segment tells of its turn, whichever of its lines is asked about: computed once."""

    def __init__(self, fine: FineSound, speed: SpeedPosterior) -> None:
        """Of a segment, near a recording's speed."""
        self.fine, self.speed = fine, speed
        self._grid = _grid(speed)

    @cached_property
    def envelope(self) -> _Clock | None:
        """The clock of the envelopes, which no carrier pulls; None in too short a segment."""
        turn, teeth = self.speed.spindle_hz, self.speed.teeth
        if self.fine.length_s * turn < 3.0:
            return None
        x, rate_hz = self.fine.x, self.fine.rate_hz
        gains = envelope_gains(x, rate_hz, spindle_hz=turn, tooth_hz=teeth * turn)
        if gains is None:
            return None
        orders = np.arange(1, min(8 * teeth, 200) + 1)
        if teeth > 25:
            near = [k * teeth + d for k in range(1, 9) for d in range(-2, 3)]
            orders = np.array(sorted({*range(1, 11), *near}))
        return _best(self._grid, gains.comb(self._grid, orders))

    @cached_property
    def _orders(self) -> np.ndarray:
        turn, teeth = self.speed.spindle_hz, self.speed.teeth
        top = min(2500.0, 0.45 * self.fine.rate_hz)
        orders = np.arange(1, int(top / turn))
        if orders.size > _MOST_ORDERS:
            sides = (-1, 0, 1) if teeth > 2 else (0,)
            several = range(1, int(top / turn / teeth))
            orders = np.array([k * teeth + d for k in several for d in sides])
        return orders

    @cached_property
    def _gains(self) -> np.ndarray:
        """Of every order at every turn frequency, shape (orders, frequencies)."""
        gains = Gains(np.minimum(self.fine.gain, 16.0), self.fine.step_hz, 0.0)
        rows = [gains.at(order * self._grid) for order in self._orders]
        return np.array(rows).reshape(len(rows), self._grid.size)

    def without(self, f: float) -> _Clock:
        """The clock of the sound's lines, those around a line at ``f`` left out."""
        taken = np.abs(self._orders * self.speed.spindle_hz / f - 1.0) > 0.12
        return _best(self._grid, np.add.reduce(self._gains[taken], axis=0, initial=0.0))

    @cached_property
    def short_frames(self) -> tuple[int, np.ndarray]:
        """Power spectra of frames of about an eightieth of a second: length, and powers."""
        n = int(2 ** round(math.log2(self.fine.rate_hz / 80.0)))
        return n, frame_power(self.fine.x, n=n, hop=n // 2)


def turn_grid(f: float, clocks: TurnClocks) -> dict[str, float]:
    """Whether a line and its surroundings lie on the grid of the turn, by two clocks.

    With runout few teeth cut, the delay that regenerates is one turn, and chatter lies about a
    quarter turn off the turn's grid even where it lies on a tooth order.
    """
    fine, envelope, sound = clocks.fine, clocks.envelope, clocks.without(f)
    values = {"sound_clock_z": sound.stands}
    low, high = int(0.85 * f / fine.step_hz), int(min(1.15 * f / fine.step_hz, fine.power.size))
    loud = np.maximum(fine.power[low:high] - 2.0 * fine.floor[low:high], 0.0)
    place = np.arange(low, high) * fine.step_hz
    total = max(float(loud.sum()), 1e-20)
    shifts = []
    for name, clock in (("envelope", envelope), ("sound", sound)):
        if clock is None:
            continue
        c = complex((loud * np.exp(2j * np.pi * place / clock.turn_hz)).sum()) / total
        shifts.append(abs(c) - c.real)
        values[f"shift_{name}"] = shifts[-1]
        values[f"on_turn_{name}"] = c.real
    values["shift_most"], values["shift_least"] = max(shifts), min(shifts)
    if envelope is not None:
        values["envelope_clock_z"] = envelope.stands
        values["clocks_apart"] = 1e4 * abs(math.log(sound.turn_hz / envelope.turn_hz))
    three = np.argsort(loud)[-3:]
    turn_hz = sound.turn_hz if envelope is None else envelope.turn_hz
    off = np.abs((place[three] / turn_hz + 0.5) % 1.0 - 0.5)
    values["three_off_turn"] = float(
        (off * loud[three]).sum() / max(float(loud[three].sum()), 1e-20)
    )
    values["noise_repeats"] = _noise_repeats(clocks, f)
    return values


def _noise_repeats(clocks: TurnClocks, f: float) -> float:
    """How far the noise above the line repeats after one turn: rubbing and runout do."""
    fine, turn_hz = clocks.fine, clocks.speed.spindle_hz
    n, spectra = clocks.short_frames
    low, high = (
        int(1.5 * f * n / fine.rate_hz),
        int(min(8.0 * f, 0.45 * fine.rate_hz) * n / fine.rate_hz),
    )
    if high <= low + 1:
        return NAN
    power = spectra[:, low:high].sum(axis=1)
    level = 10.0 * np.log10(np.maximum(power, 1e-20))
    rate = fine.rate_hz / (n // 2)
    level = level - moving_mean(level, max(3, int(1.5 / turn_hz * rate)))
    best = NAN
    for lag in range(max(1, int(0.97 / turn_hz * rate)), int(1.03 / turn_hz * rate) + 2):
        if lag < 0.7 * level.size:
            a, b = level[:-lag], level[lag:]
            value = float((a * b).sum() / math.sqrt((a**2).sum() * (b**2).sum() + 1e-9))
            best = value if best != best else max(best, value)
    return best
