"""Tones of the drive: a tone that changes with the spindle, and other lines by the same step.

A machine that is taken through its speeds sounds as cuts do: a strong tone begins, stays, and is
gone again.  Chatter lies near a mode of the structure and stays there; the mesh of a gear is a
whole number of turns, and when it moves, the other orders of the turn move in the same ratio.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from chatter.listening.measured import Measured
from chatter.listening.pass_case import likeliest_lines
from chatter.listening.spans import Span
from chatter.listening.track import Track
from chatter.sound.spectrum import (
    middle_of,
    near_good_size,
    peaks_above,
    power_frames,
    running_floor,
)

#: Chatter of a pass is asked about from this probability on.
_LIKELY = 0.1
#: Frames for narrow lines, a segment's middle, and what a segment must hold [s].
_FRAME_S, _MOST_S, _LEAST_S = 2.0, 12.0, 3.0
#: A line stands this far over the floor [power ratio], within this range [Hz].
_OVER, _RANGE_HZ, _FLOOR_HZ = 10.0, (40.0, 6000.0), 60.0
#: Steps from one speed of a machine to another [log], the least and the greatest.
_STEP_LOG = (0.02, 0.75)
#: A line is where it is looked for within so many bins, and so much of its frequency: it wanders.
_BINS, _WANDER = 1.0, 4e-4
#: The strongest lines that are followed; by chance so many moved lines fall into place at most.
_FOLLOWED, _BY_CHANCE = 16, 1e-3
_FEWEST = 2
#: What is left of chatter's probability where its tone is the drive's.
_LEFT = 0.05


@dataclass(frozen=True)
class DriveTone:
    """A tone that the drive makes.

    Attributes
    ----------
    frequency_hz, elsewhere_hz : float
        In the pass, and at another speed of the spindle.
    others : int
        Further lines that moved in the same ratio.
    """

    frequency_hz: float
    elsewhere_hz: float
    others: int

    @property
    def sentence(self) -> str:
        """What it is and what to do."""
        return (
            f"The tone at {self.frequency_hz:.0f} Hz is the drive's: at another spindle speed in "
            f"this recording it lies at {self.elsewhere_hz:.0f} Hz, and {self.others} other lines "
            "moved in the same ratio, as gears do and chatter does not. Record one cut at one "
            "speed, with 10 s of idling at that speed first."
        )


def without_drive(
    track: Track, measured: Measured, probabilities: Sequence[dict[str, float]]
) -> list[tuple[dict[str, float], DriveTone | None]]:
    """The probabilities of each pass, chatter's as good as gone where its tone is the drive's.

    Parameters
    ----------
    track : Track
    measured : Measured
    probabilities : sequence of dict
        One a pass.
    """
    lines = _Lines(track, measured)
    told = []
    for cut, each in zip(measured.cuts, probabilities, strict=True):
        tone = None
        if each["chatter"] >= _LIKELY and (likeliest := likeliest_lines(cut, measured.lines)):
            first = likeliest[0].line
            tone = lines.follows(first.segment, first.frequency_hz)
        if tone is not None:
            each = each | {"chatter": _LEFT * each["chatter"]}
        told.append((each, tone))
    return told


class _Lines:
    """Narrow lines of the segments of a recording, read when they are asked for."""

    def __init__(self, track: Track, measured: Measured) -> None:
        self._track, self._measured = track, measured
        self._known: dict[int, np.ndarray] = {}

    def follows(self, segment: int, frequency_hz: float) -> DriveTone | None:
        """The tone of a segment elsewhere, if other lines went there with it."""
        spans = self._measured.observation.spans
        if spans[segment].length_s < _LEAST_S:
            return None
        for other, lines in enumerate(self._measured.lines):
            if other == segment or spans[other].length_s < _LEAST_S or not lines:
                continue
            there_hz = max(lines, key=lambda one: one.odds).line.frequency_hz
            if not _STEP_LOG[0] < abs(np.log(there_hz / frequency_hz)) < _STEP_LOG[1]:
                continue
            moved = moved_along(
                self._of(segment), self._of(other), frequency_hz, there_hz, 1.0 / _FRAME_S
            )
            if moved:
                return DriveTone(frequency_hz, there_hz, moved)
        return None

    def _of(self, segment: int) -> np.ndarray:
        if segment not in self._known:
            span = self._measured.observation.spans[segment]
            self._known[segment] = narrow_lines(self._track, span)
        return self._known[segment]


def narrow_lines(track: Track, span: Span) -> np.ndarray:
    """Frequencies [Hz] of the narrow lines of a stretch, the strongest over its floor first."""
    start, stop = middle_of(*track.samples(span), int(_MOST_S * track.rate_hz))
    n = near_good_size(min(_FRAME_S * track.rate_hz, stop - start))
    frames = power_frames(track.read, start, stop, n=n, hop=n // 2)
    mean = np.concatenate([power for _, power in frames]).mean(axis=0)
    step_hz = track.rate_hz / n
    floor = running_floor(mean, int(_FLOOR_HZ / step_hz))
    found = [peak.bin * step_hz for peak in peaks_above(mean, floor, _OVER)]
    low, high = _RANGE_HZ
    return np.array([hz for hz in found if low < hz < high])


def moved_along(
    here: np.ndarray, there: np.ndarray, here_hz: float, there_hz: float, bin_hz: float
) -> int:
    """How many lines went with a tone from ``here_hz`` to ``there_hz`` in the same ratio.

    Nought unless they are more than chance brings into place.  Not counted are lines that are
    heard in both stretches where they are, multiples of the tone itself, and lines beside it
    that are too near to tell a ratio from a shift.

    Parameters
    ----------
    here, there : ndarray, shape (n,) and (m,) [Hz]
        Narrow lines of two stretches, the strongest first.
    here_hz, there_hz : float [Hz]
    bin_hz : float [Hz]
    """
    from scipy.special import bdtrc

    ratio = there_hz / here_hz

    def reach(hz: float) -> float:
        return _BINS * bin_hz + _WANDER * hz

    def near(lines: np.ndarray, hz: float) -> bool:
        return bool(lines.size and np.abs(lines - hz).min() <= reach(hz))

    if near(there, here_hz) or near(here, there_hz):
        return 0
    asked = hits = 0
    chance = 0.0
    for hz in here[:_FOLLOWED]:
        moved_hz = ratio * hz
        order = hz / here_hz
        own = abs(order - round(order)) * here_hz <= 2.0 * reach(hz)
        beside = abs(hz - here_hz) * abs(ratio - 1.0) <= 2.0 * reach(moved_hz)
        if own or beside or near(there, hz):
            continue
        asked += 1
        hits += near(there, moved_hz)
        chance += min(1.0, _density(there, moved_hz) * 2.0 * reach(moved_hz))
    if hits < max(_FEWEST, 0.5 * asked):
        return 0
    by_chance = bdtrc(hits - 1, asked, min(chance / asked, 1.0))
    return hits if by_chance < _BY_CHANCE else 0


def _density(lines: np.ndarray, hz: float) -> float:
    """Lines a hertz within an octave."""
    inside = (lines > hz / 2**0.5) & (lines < hz * 2**0.5)
    return (np.count_nonzero(inside) + 0.5) / (hz * (2**0.5 - 0.5**0.5))
