"""The machine's own voice: lines it has been known to make while it turns free.

Plain data, made from idle recordings by ``chatter.teaching.voice`` and handed to whoever holds a
cut against it.  Frequencies do not depend on the phone; levels over the floor do, so they may
only be compared with recordings by the same phone at the same place.
"""

from __future__ import annotations

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
