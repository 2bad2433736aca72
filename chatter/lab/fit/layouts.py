"""Layouts: the passes and the idling of one recording put together in another order.

Each maker has a habit: one pass in the middle, or three with the same gaps.  At a machine there
are twenty passes of a second each, a first pass that comes late, a recording that begins and ends
within a cut.  What lies inside the passes and between them stays as it is; only when it is heard
changes, with fades where pieces meet.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from chatter.lab.fit.truths import FitPass, TrueRecording

#: Fades between pieces [s].
_FADE_S = (0.03, 0.15)
#: A piece of a pass has so many turns at least, a gap so many: shorter gaps are part of a pass.
_PASS_TURNS, _GAP_TURNS = 2.5, 1.6
#: Pieces keep off the edges of what they are taken from [s].
CLEAR_S = 0.15
#: Idling is worth taking from here on [s].
_IDLE_S = 0.8
#: A recording grows no longer than this [s].
_LONGEST_S = 32.0
#: Passes differ in level by so much [dB].
_LEVEL_DB = 1.0


@dataclass(frozen=True)
class PassPattern:
    """How passes follow one another: each a range of which a number is drawn."""

    passes: tuple[int, int]
    pass_s: tuple[float, float]
    gap_s: tuple[float, float]
    lead_s: tuple[float, float]  # idling before the first pass; none if nought
    tail_s: tuple[float, float]


LAYOUTS = (
    PassPattern((6, 16), (0.7, 1.8), (0.5, 1.4), (0.0, 2.5), (0.0, 2.0)),
    PassPattern((2, 4), (2.0, 5.0), (0.6, 2.5), (0.0, 3.0), (0.0, 2.0)),
    PassPattern((2, 3), (2.5, 6.0), (0.6, 2.0), (0.0, 0.0), (0.0, 0.0)),
    PassPattern((1, 2), (3.0, 7.0), (1.5, 4.0), (5.0, 14.0), (0.0, 2.0)),
    PassPattern((1, 1), (3.0, 9.0), (0.0, 0.0), (0.0, 2.0), (3.0, 9.0)),
    PassPattern((1, 1), (2.5, 10.0), (0.0, 0.0), (0.0, 0.0), (0.0, 0.0)),
    PassPattern((1, 1), (2.5, 10.0), (0.0, 0.0), (0.0, 0.0), (0.0, 0.0)),
)
#: A machine whose gears are changed: so many speeds, each for so long [s], and how far they lie
#: from the one that was heard [log].
_GEARS, _GEAR_S, _GEAR_LOG = (2, 4), (3.0, 10.0), 0.7
#: What begins and ends where nothing is cut lies so far above or under what goes on [dB].
_BESIDE_DB = (-10.0, 12.0)


def laid_out(
    x: np.ndarray, rate_hz: int, truth: TrueRecording, rng: np.random.Generator
) -> tuple[np.ndarray, TrueRecording] | None:
    """A recording in another layout, and its truth; None where it has no pass or no idling.

    Parameters
    ----------
    x : ndarray, shape (n,)
    rate_hz : int
    truth : TrueRecording
    rng : Generator
    """
    idle = [
        x[int(start * rate_hz) : int(end * rate_hz)]
        for start, end in beside(truth.passes, x.size / rate_hz, _IDLE_S)
    ]
    turn_s = 60.0 / truth.rev_min
    layout = LAYOUTS[int(rng.integers(len(LAYOUTS)))]
    shortest = max(layout.pass_s[0], _PASS_TURNS * turn_s)
    usable = [one for one in truth.passes if one.end_s - one.start_s - 2.0 * CLEAR_S > shortest]
    if not idle or not usable:
        return None

    def drawn(limits: tuple[float, float], least: float = 0.0) -> float:
        return max(float(rng.uniform(*limits)), least)

    def resting(length_s: float) -> np.ndarray:
        piece = idle[int(rng.integers(len(idle)))]
        n = int(length_s * rate_hz)
        first = int(rng.integers(2 * piece.size))
        return repeated(piece, first + n)[first:]

    joined = _Joined(rate_hz)
    if (lead_s := drawn(layout.lead_s)) > 2.0 * _FADE_S[1]:
        joined.add(resting(lead_s), 0.0)
    passes: list[FitPass] = []
    for at in range(int(rng.integers(layout.passes[0], layout.passes[1] + 1))):
        one = usable[int(rng.integers(len(usable)))]
        room_s = one.end_s - one.start_s - 2.0 * CLEAR_S
        length_s = min(drawn(layout.pass_s, shortest), room_s)
        gap_s = drawn(layout.gap_s, max(_GAP_TURNS * turn_s, layout.gap_s[0]))
        if at and joined.length_s + gap_s + length_s > _LONGEST_S:
            break
        if at:
            joined.add(resting(gap_s), rng.uniform(*_FADE_S))
        start_s = one.start_s + CLEAR_S + rng.uniform(0.0, room_s - length_s)
        piece = x[int(start_s * rate_hz) : int((start_s + length_s) * rate_hz)]
        gain = 10.0 ** (rng.normal(0.0, _LEVEL_DB) / 20.0)
        begun_s = joined.add(gain * piece, rng.uniform(*_FADE_S))
        passes.append(replace(one, start_s=begun_s, end_s=joined.length_s))
    if (tail_s := drawn(layout.tail_s)) > 2.0 * _FADE_S[1]:
        joined.add(resting(tail_s), rng.uniform(*_FADE_S))
    chatter = None if any(p.causes is None for p in passes) else any(p.chatters for p in passes)
    return joined.x, replace(truth, passes=tuple(passes), chatter=chatter)


def begun_and_ended(
    lasting: np.ndarray, coming: np.ndarray, rate_hz: int, rng: np.random.Generator
) -> np.ndarray:
    """One sound that goes on and another that comes and goes as passes do: not all that begins
    is a cut.

    Parameters
    ----------
    lasting, coming : ndarray, shape (n,) and (m,)
        Both of which nobody cuts anything in.
    rate_hz : int
    rng : Generator

    Returns
    -------
    ndarray
    """
    layout = LAYOUTS[int(rng.integers(len(LAYOUTS)))]
    level = 10.0 ** (rng.uniform(*_BESIDE_DB) / 20.0) * rms(lasting) / max(rms(coming), 1e-9)
    joined = _Joined(rate_hz)
    joined.add(np.zeros(int(rng.uniform(*layout.lead_s) * rate_hz)), 0.0)
    for at in range(int(rng.integers(layout.passes[0], layout.passes[1] + 1))):
        if at:
            joined.add(np.zeros(int(rng.uniform(*layout.gap_s) * rate_hz)), rng.uniform(*_FADE_S))
        n = min(int(rng.uniform(*layout.pass_s) * rate_hz), coming.size)
        first = int(rng.integers(coming.size - n + 1))
        joined.add(level * coming[first : first + n], rng.uniform(*_FADE_S))
        if joined.length_s > _LONGEST_S:
            break
    joined.add(np.zeros(int(rng.uniform(*layout.tail_s) * rate_hz)), rng.uniform(*_FADE_S))
    return joined.x + repeated(lasting, joined.x.size)


def through_gears(x: np.ndarray, rate_hz: int, rng: np.random.Generator) -> np.ndarray:
    """A machine at several speeds, one after the other: a tone that is gone with the gear need
    not have come with a cut.

    Parameters
    ----------
    x : ndarray, shape (n,)
        The machine at one speed.
    rate_hz : int
    rng : Generator

    Returns
    -------
    ndarray
    """
    import soxr

    joined = _Joined(rate_hz)
    for _ in range(int(rng.integers(_GEARS[0], _GEARS[1] + 1))):
        faster = float(np.exp(rng.uniform(-_GEAR_LOG, _GEAR_LOG)))
        n = int(rng.uniform(*_GEAR_S) * rate_hz)
        piece = soxr.resample(repeated(x, int(n * faster) + 1), faster, 1.0)
        joined.add(piece[:n], rng.uniform(*_FADE_S))
    return joined.x


def rms(x: np.ndarray) -> float:
    """Root mean square."""
    return float(np.sqrt((x**2).mean()))


def repeated(x: np.ndarray, n: int) -> np.ndarray:
    """Forwards and backwards in turn, as long as is wanted, shape (n,)."""
    both = np.concatenate([x, x[::-1]])
    return np.tile(both, n // both.size + 1)[:n]


def beside(
    passes: tuple[FitPass, ...], length_s: float, shortest_s: float
) -> list[tuple[float, float]]:
    """From and to [s] of what lies clear of all passes and is no shorter than is asked."""
    edges = [0.0]
    for one in sorted(passes, key=lambda one: one.start_s):
        edges += [one.start_s - CLEAR_S, one.end_s + CLEAR_S]
    edges.append(length_s)
    pairs = zip(edges[::2], edges[1::2], strict=True)
    return [(start, end) for start, end in pairs if end - start >= shortest_s]


class _Joined:
    """Pieces one after the other, each faded into the next."""

    def __init__(self, rate_hz: int) -> None:
        self._rate_hz = rate_hz
        self.x = np.zeros(0)

    @property
    def length_s(self) -> float:
        return self.x.size / self._rate_hz

    def add(self, piece: np.ndarray, fade_s: float) -> float:
        """Append a piece; returns the middle of its fade [s]."""
        n = min(int(fade_s * self._rate_hz), self.x.size, piece.size)
        rise = np.sin(0.5 * np.pi * (np.arange(n) + 0.5) / max(n, 1))
        begun = self.x.size - n
        meeting = self.x[begun:] * rise[::-1] + piece[:n] * rise
        self.x = np.concatenate([self.x[:begun], meeting, piece[n:]])
        return (begun + 0.5 * n) / self._rate_hz
