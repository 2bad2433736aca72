"""The pass in the shaft's own angle: which part of the sound the teeth and the turn make.

Envelopes of the carrier bands, and the sound itself where the tooth-passing frequency is
high enough to be heard, are resampled to shaft angle.  The angle is then tracked on the
strongest tooth order, since at 80 teeth an error of 0.3 % of a turn smears the teeth.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from chatter.listening.pass_speed import SpeedEstimate
from chatter.sound.angle import OrderLines, order_lines, synchronous_average, to_angle, turns_at
from chatter.sound.modulation import band_envelopes, moving_mean
from chatter.sound.spectrum import Reader, middle_of

_MOST_TURNS = 64.0
_MOST_SECONDS = 20.0
_HIGH_HZ = 1000.0  # carriers above this belong to rubbing and chip formation


@dataclass(frozen=True)
class Turning:
    """A stretch of a pass in the angle domain.

    Attributes
    ----------
    start_s, end_s : float
        The stretch looked at.
    teeth : int
    edges_hz : ndarray, shape (bands + 1,)
    lines : OrderLines
        Order spectra of the bands' envelopes.
    share : ndarray, shape (bands,)
        Share of each envelope's variance that repeats every revolution.
    tooth_power : ndarray, shape (revolutions, teeth)
        Envelope strength of every stroke, all bands together, its mean being one.
    tracked : bool
        Whether the angle could be tracked on a tooth order.
    """

    start_s: float
    end_s: float
    teeth: int
    edges_hz: np.ndarray
    lines: OrderLines
    share: np.ndarray
    tooth_power: np.ndarray
    tracked: bool

    @property
    def revolutions(self) -> int:
        """Whole revolutions looked at."""
        return self.lines.revolutions

    def high(self) -> np.ndarray:
        """Which bands carry rubbing and chip noise, shape (bands,), bool."""
        return self.edges_hz[:-1] >= _HIGH_HZ

    def depth(self, orders: list[int]) -> np.ndarray:
        """Modulation depth over a set of orders, shape (bands,): root of summed squares,
        freed of noise; 0.3 means that the noise swells by 30 %."""
        total = np.zeros(self.edges_hz.size - 1)
        for order in orders:
            total += self.lines.excess(order)
        return np.sqrt(total)

    def tooth_orders(self, count: int = 4) -> list[int]:
        """Orders of the tooth-passing frequency."""
        return [k * self.teeth for k in range(1, count + 1)]

    def turn_orders(self, count: int = 6) -> list[int]:
        """Low revolution orders, below the teeth's own sidebands."""
        return list(range(1, max(2, min(count + 1, (self.teeth + 1) // 2))))

    def side_orders(self, reach: int = 3) -> list[int]:
        """Sidebands of the tooth orders by a few revolutions."""
        reach = max(0, min(reach, (self.teeth - 1) // 2))
        return [
            k * self.teeth + s * m for k in (1, 2, 3) for m in range(1, reach + 1) for s in (-1, 1)
        ]


def turn_the_pass(
    read: Reader, start: int, stop: int, rate_hz: int, speed: SpeedEstimate, teeth: int
) -> Turning | None:
    """Look at samples [start, stop) in the angle domain; None below four revolutions.

    Long passes are judged by the middle 64 revolutions (or 20 s, whichever is longer):
    further the angle cannot be carried without losing count of the teeth.
    """
    longest = int(max(_MOST_TURNS / speed.spindle_hz, _MOST_SECONDS) * rate_hz)
    start, stop = middle_of(start, stop, longest)
    tooth_hz = teeth * speed.spindle_hz
    envelopes = band_envelopes(
        read,
        start,
        stop,
        rate_hz,
        fastest_hz=1.2 * tooth_hz,
        slow_s=_slow_s(speed.spindle_hz),
    )
    if envelopes.swing.shape[1] < 16:
        return None
    turns = turns_at(envelopes.time_s, speed.course)
    if turns[-1] < 4.0:
        return None
    points = int(max(4 * teeth, np.ceil(envelopes.rate_hz / speed.spindle_hz)))
    points = int(np.ceil(points / teeth)) * teeth
    tracked = _track(envelopes.swing, turns, teeth, points)
    if tracked is None:
        return None
    cycles, lines, surely = tracked
    _, _, share = synchronous_average(cycles)
    return Turning(
        start_s=start / rate_hz,
        end_s=stop / rate_hz,
        teeth=teeth,
        edges_hz=envelopes.edges_hz,
        lines=lines,
        share=share,
        tooth_power=_strokes(cycles, lines, teeth),
        tracked=surely,
    )


def _slow_s(spindle_hz: float) -> float:
    """Time over which the slow level is taken: whole turns, at least two, else the once-a-turn
    swelling leaks into it and reads too shallow."""
    return max(2.0, np.ceil(0.25 * spindle_hz)) / spindle_hz


def _track(
    swing: np.ndarray, turns: np.ndarray, teeth: int, points: int
) -> tuple[np.ndarray, OrderLines, bool] | None:
    """Follow the phase of the strongest tooth order and correct the angle with it.

    Yields the cycles by the corrected angle, their order spectra, and whether the tooth order
    stands out in them; None below four revolutions.
    """
    cycles = to_angle(swing, turns, points)
    if cycles.shape[1] < 4:
        return None
    lines, tracked = order_lines(cycles), False
    for reach in (4.0, 2.0):
        best = _strongest(lines, teeth, points)
        if best is None:
            break
        channel, order = best
        turning = np.exp(-2j * np.pi * order * turns)
        width = int(reach * turns.size / turns[-1])
        slow = moving_mean(
            np.stack([(swing[channel] * turning).real, (swing[channel] * turning).imag]), width
        )
        phase = np.unwrap(np.angle(slow[0] + 1j * slow[1]))
        corrected = turns + (phase - phase[0]) / (2.0 * np.pi * order)
        if np.any(np.diff(corrected) <= 0):
            break
        by_it = to_angle(swing, corrected, points)
        lines_by_it = order_lines(by_it)
        before, after = (one.ratio(order)[channel] for one in (lines, lines_by_it))
        if after < before:
            break
        turns, cycles, lines, tracked = corrected, by_it, lines_by_it, bool(after > 20.0)
        if cycles.shape[1] < 4:
            return None
    return cycles, lines, tracked


def _strongest(lines: OrderLines, teeth: int, points: int) -> tuple[int, int] | None:
    """Channel and tooth order (first to third) that stand out most, if any does."""
    best, where = 12.0, None
    for k in (1, 2, 3):
        order = k * teeth
        if order > 0.45 * points:
            break
        ratio = lines.ratio(order) / k  # a higher order loses count of the teeth sooner
        channel = int(np.argmax(ratio))
        if ratio[channel] > best:
            best, where = float(ratio[channel]), (channel, order)
    return where


def _strokes(cycles: np.ndarray, lines: OrderLines, teeth: int) -> np.ndarray:
    """Strength of each tooth's stroke, shape (revolutions, teeth), of mean one.

    Bands are weighted by how much the teeth stand out in them.  The strokes are cut so
    that the loudest part of the mean stroke lies in the middle of its slot.
    """
    weight = sum((lines.excess(k * teeth) for k in (1, 2, 3)), np.zeros(len(cycles)))
    weight = weight / weight.sum() if weight.sum() > 0 else np.full(len(weight), 1 / len(weight))
    together = np.tensordot(weight, 1.0 + cycles, axes=1)
    revolutions, points = together.shape
    slot = points // teeth
    stroke = together.reshape(revolutions, teeth, slot).mean(axis=(0, 1))
    shift = slot // 2 - int(np.argmax(stroke))
    rolled = np.roll(together.reshape(-1), shift).reshape(revolutions, teeth, slot)
    # the outer quarters of a slot belong to the neighbours as much as to this tooth
    inner = rolled[:, :, slot // 4 : slot - slot // 4] if slot >= 4 else rolled
    strength = np.maximum(inner, 0.0).mean(axis=2)
    return strength / max(float(strength.mean()), 1e-12)
