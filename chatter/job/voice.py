"""The machine's own voice: lines it has been known to make while it turns free.

Plain data, made from idle recordings by ``chatter.teaching.voice`` and handed to whoever holds a
cut against it.  Frequencies do not depend on the phone; levels over the floor do, so they may
only be compared with recordings by the same phone at the same place.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class KnownLine:
    """One line of the idling machine at one speed step.

    Attributes
    ----------
    frequency_hz : float
        As heard while idling at ``VoiceStep.spindle_hz``.
    above_floor_db : float
        The loudest it has been, over the noise round it in its own recording.
    turns : bool or None
        True: geared to the spindle, its order stays; False: its frequency stays (mains, motor,
        another machine); None: not known, for it was heard at one step only.
    since : str
        Date of the first recording that has it.
    recordings : int
        How many have it.
    """

    frequency_hz: float
    above_floor_db: float
    turns: bool | None
    since: str
    recordings: int = 1

    def at(self, spindle_hz: float, turning_hz: float) -> tuple[float, ...]:
        """Where it may lie [Hz] when the spindle turns at ``turning_hz`` instead of
        ``spindle_hz``: by its order, by its frequency, or either."""
        follows = self.frequency_hz * turning_hz / spindle_hz
        if self.turns is None:
            return (follows, self.frequency_hz)
        return (follows,) if self.turns else (self.frequency_hz,)


@dataclass(frozen=True)
class VoiceStep:
    """The lines at one step of the spindle's speed.

    Attributes
    ----------
    rev_min : float
        As dialled.
    spindle_hz : float
        As heard; ``heard`` is False where it is only what the dial says.
    lines : tuple of KnownLine
        In order of frequency.
    recordings : tuple of int
        Numbers in the logbook, the newest last.
    same_phone : bool
        All of them by the phone, and at the place, of the cut that is held against them.
    """

    rev_min: float
    spindle_hz: float
    heard: bool
    lines: tuple[KnownLine, ...]
    recordings: tuple[int, ...] = ()
    same_phone: bool = False


@dataclass(frozen=True)
class MachineVoice:
    """What is known of one machine's own sound."""

    machine: str
    steps: tuple[VoiceStep, ...]

    def step(self, rev_min: float, within: float = 0.06) -> VoiceStep | None:
        """The step recorded at a dialled speed; None when none lies within a part of it."""
        near = min(self.steps, key=lambda one: abs(one.rev_min / rev_min - 1.0), default=None)
        return near if near is not None and abs(near.rev_min / rev_min - 1.0) <= within else None

    def lines_at(self, rev_min: float, turning_hz: float) -> tuple[tuple[float, KnownLine], ...]:
        """Known lines to expect at a speed: (frequency [Hz], line), by frequency.

        Parameters
        ----------
        rev_min : float
            As dialled.
        turning_hz : float
            Turns per second as heard in the cut.

        Notes
        -----
        Of another step than the one dialled only what is known to keep its order or its
        frequency is expected.
        """
        own = self.step(rev_min)
        found: list[tuple[float, KnownLine]] = []
        for step in self.steps:
            for line in step.lines:
                if step is own or line.turns is not None:
                    found += [(hz, line) for hz in line.at(step.spindle_hz, turning_hz)]
        return tuple(sorted(found, key=lambda pair: pair[0]))


def own_line(
    frequency_hz: float,
    expected: Sequence[tuple[float, KnownLine]],
    *,
    tolerance: float = 2e-3,
    least_hz: float = 0.7,
) -> KnownLine | None:
    """The known line a heard frequency is, or None.

    Parameters
    ----------
    frequency_hz : float
    expected : sequence of (float, KnownLine)
        From ``MachineVoice.lines_at``.
    tolerance : float
        As a part of the frequency: what wander and the error of the speed leave.
    least_hz : float
        But no less than this, what the frames of a spectrum resolve.
    """
    reach = max(least_hz, tolerance * frequency_hz)
    near = [(abs(hz - frequency_hz), i) for i, (hz, _) in enumerate(expected)]
    best = min(near, default=None)
    return expected[best[1]][1] if best is not None and best[0] <= reach else None
