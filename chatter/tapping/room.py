"""What the room and the phone add to a ring, and which modes it puts in doubt.

A room's tail is diffuse and dies away at one rate in every octave; a structure's modes die
away the faster the higher they are (rate = 2 pi f z).  An automatic gain drops at the tap and
comes back: the noise between the taps is then lower after a tap than before it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from chatter.tapping.clusters import holding
from chatter.tapping.findings import DoubtfulMode, Room
from chatter.tapping.onsets import CutOutBlow
from chatter.tapping.ringdown import EDGES_HZ, band_signal
from chatter.trade.modes import Mode

_FRAME_S = 0.01
#: Octaves that must agree, and how closely, for a tail to be the room's.
OCTAVES = 3
AGREE = 1.6
#: Rooms that ring shorter than this do no harm, and longer ones are halls.
REVERBERATION_S = (0.15, 4.0)
#: A diffuse tail wavers about its slope by at least this much; one mode falls smoothly.
ROUGH_DB = 0.5
#: Rates of decay this near to the room's cannot be told from it.
NEAR = 1.4
#: A tail above this spoils every damping ratio (and with it close frequencies).
LOUD_TAIL_DB = -20.0
#: Modes this far below the strongest may be the room's answer to it.
WEAK_DB = 18.0
#: Damping must agree by this share between a longer and a shorter piece of the ring.
STEADY = 0.2
#: The two slopes of one decay differ by less than this factor.
SLOPES = 3.0
#: An automatic gain is reported from this dip on.
DIP_DB = 3.0
#: A gain that recovers at more than this share of a ring's rate bends its damping.
BEND = 0.15


def assess(pieces: Sequence[CutOutBlow]) -> Room:
    """Reverberation time and automatic gain, from all clean taps together."""
    if not pieces:
        return Room(None, None, 0.0, None)
    tails = []
    top: list[NDArray[np.float64]] = []
    for low, high in pairwise(EDGES_HZ[2:]):
        levels = [_levels(one, low, high) for one in pieces if high <= 0.45 * one.rate_hz]
        if not levels:
            break
        tail = _tail(levels)
        if tail is not None:
            tails.append(tail)
        top = levels
    dip, recovery = _gain(top)
    return Room(*_common(tails), dip, recovery)


def doubt(mode: Mode, room: Room) -> DoubtfulMode | None:
    """Say why a mode may not be the set-up's, or why its damping is bent; None when clear."""
    rate = 2.0 * math.pi * mode.frequency_hz * mode.damping_ratio
    if room.reverberation_s is not None and room.tail_db is not None:
        if room.tail_db > LOUD_TAIL_DB:
            return DoubtfulMode(
                mode,
                f"the room answers only {-room.tail_db:.0f} dB below the tap itself: move the "
                "phone to a few centimetres from the part and tap again",
            )
        of_room = math.log(1000.0) / room.reverberation_s
        if of_room / NEAR < rate < of_room * NEAR:
            return DoubtfulMode(
                mode,
                f"it dies away as fast as the room does ({room.reverberation_s:.1f} s for 60 dB): "
                "move the phone to a few centimetres from the part and tap again",
            )
        if mode.level_db < -WEAK_DB:
            return DoubtfulMode(
                mode,
                "in this reverberant room it is too weak to be told from the room's answer: move "
                "the phone to a few centimetres from the part and tap again",
            )
    if room.gain_recovery_s:
        bend = room.gain_dip_db / 8.686 / room.gain_recovery_s
        if bend > BEND * rate:
            return DoubtfulMode(
                mode,
                f"the phone's automatic gain comes back by {room.gain_dip_db:.0f} dB while it "
                "rings, so its damping cannot be told: tap more lightly, or turn the gain off",
            )
    return None


def widen_spreads(mode: Mode, others: Sequence[Mode], *, dry: bool) -> Mode | None:
    """Widen a mode's spreads by what a shorter piece of each ring gives.

    Spread over taps does not show what the room does, for it does the same to every tap.
    None when the two pieces do not agree on a mode at all: ``dry``, where neither room nor gain
    bends a ring, it is the decay itself that has two slopes, and the spread holds both.
    """
    near = min(others, key=lambda m: abs(m.frequency_hz - mode.frequency_hz), default=None)
    if near is None or abs(near.frequency_hz / mode.frequency_hz - 1.0) > 0.01:
        return None
    chance = 3.0 * math.hypot(mode.damping_spread, near.damping_spread) / math.sqrt(mode.taps)
    apart = abs(near.damping_ratio - mode.damping_ratio)
    two_slopes = dry and 1.0 / SLOPES < near.damping_ratio / mode.damping_ratio < SLOPES
    if apart > max(STEADY * mode.damping_ratio, chance) and not two_slopes:
        return None
    return holding(mode, near)


def _levels(piece: CutOutBlow, low: float, high: float) -> NDArray[np.float64]:
    """Power in frames; row 0 before the tap (nan-padded), row 1 after it."""
    y, rate, _ = band_signal(piece.x, piece.rate_hz, low, high)
    width = max(1, round(_FRAME_S * rate))
    at = int(piece.tap_at / piece.rate_hz * rate)
    stop = int(piece.end / piece.rate_hz * rate)
    guard = max(2, int(0.03 * rate))
    before = _frames(y[: max(0, at - guard)], width)
    after = _frames(y[at : max(at, stop - guard)], width)
    out = np.full((2, max(len(before), len(after), 1)), np.nan)
    out[0, : len(before)] = before
    out[1, : len(after)] = after
    return out


def _frames(y: NDArray[np.complexfloating], width: int) -> NDArray[np.float64]:
    whole = len(y) // width * width
    return (np.abs(y[:whole]).reshape(-1, width) ** 2).mean(axis=1)


def _tail(levels: Sequence[NDArray[np.float64]]) -> tuple[float, float] | None:
    """Amplitude decay rate [1/s] of the last 25 dB above the noise, and that slope's level at
    the tap re the loudest frame [dB]; None when there is no such tail or it is smooth.
    """
    span = min(int(np.isfinite(row[1]).sum()) for row in levels)
    if span < 12:
        return None
    noise = _before(levels) or 0.0
    power = np.mean([row[1, :span] for row in levels], axis=0)
    late = np.median(power[-max(3, span // 5) :])
    noise = max(noise, 1e-14) if late > 4.0 * noise else max(late, noise, 1e-14)
    above = 10.0 * np.log10(np.maximum(power / noise, 1e-6))
    gone = np.nonzero(above < 5.0)[0]
    last = int(gone[0]) if len(gone) else span
    begin = last - 1
    while begin > 0 and above[begin - 1] < 30.0:
        begin -= 1
    if last - begin < 6 or above[begin] - 5.0 < 9.0:
        return None
    time_s = np.arange(begin, last) * _FRAME_S
    level = 10.0 * np.log10(power[begin:last] - noise)
    slope, offset = np.polyfit(time_s, level, 1)
    rough = float(np.std(level - slope * time_s - offset))
    if slope >= 0.0 or rough <= ROUGH_DB:
        return None
    return float(-slope / 8.686), float(offset - 10.0 * np.log10(power.max()))


def _common(tails: Sequence[tuple[float, float]]) -> tuple[float | None, float | None]:
    """Reverberation time [s] and level of the tail, when enough octaves die away alike."""
    for middle, _ in sorted(tails):
        near = [t for t in tails if middle / AGREE < t[0] < middle * AGREE]
        time_s = math.log(1000.0) / float(np.median([rate for rate, _ in near]))
        if len(near) >= OCTAVES and REVERBERATION_S[0] < time_s < REVERBERATION_S[1]:
            return time_s, float(np.median([level for _, level in near]))
    return None, None


def _before(levels: Sequence[NDArray[np.float64]]) -> float | None:
    """Power of what was before the taps; None when every file begins with its blow."""
    powers = [float(np.nanmedian(row[0])) for row in levels if np.isfinite(row[0]).any()]
    return float(np.median(powers)) if powers else None


def _gain(levels: Sequence[NDArray[np.float64]]) -> tuple[float, float | None]:
    """Dip of the noise after the taps [dB] and time constant of its return [s]."""
    span = min((int(np.isfinite(row[1]).sum()) for row in levels), default=0)
    if span < 20:
        return 0.0, None
    before = _before(levels)
    after = np.median([row[1, :span] for row in levels], axis=0)
    smooth = np.convolve(after, np.ones(5) / 5.0, mode="valid")
    if not before or smooth.min() <= 0.0:
        return 0.0, None
    gap = 10.0 * np.log10(before / smooth)
    lowest = int(np.argmax(gap))
    dip = float(gap[lowest])
    if dip < DIP_DB:
        return 0.0, None
    back = np.nonzero(gap[lowest:] < dip / math.e)[0]
    return dip, float(back[0] * _FRAME_S) if len(back) else None
