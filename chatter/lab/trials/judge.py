"""Judge: is the true cut better, and does the next recording show what the rule said?"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from chatter.findings import Findings, Pass
from chatter.lab.simulate.scene import Scene
from chatter.lab.simulate.stability import critical_compliance
from chatter.lab.simulate.truth import TruePass, Truth

#: Room before chatter must grow by this, where the chatter is not gone altogether; the
#: bisection that finds it is exact to 5 %.
MORE_ROOM = 1.1
#: Rubbing must fall by this [dB], uneven forces to this share.
LESS_RUBBING_DB = 3.0
LESS_UNEVEN = 0.7
#: What is heard must fall by this to count as weaker.
WEAKER_DB = 6.0
WEAKER_SHARE = 0.3
MOVED_UP = 0.03


@dataclass(frozen=True)
class TrialTake:
    """One simulated recording, what is true of it, and what was heard."""

    scene: Scene
    truth: Truth
    findings: Findings

    @property
    def true_pass(self) -> TruePass:
        """The pass that was made."""
        return self.truth.passes[0]

    @property
    def heard(self) -> Pass | None:
        """The longest pass that was heard."""
        return max(self.findings.passes, key=lambda p: p.end_s - p.start_s, default=None)


def improved(cause: str, before: TrialTake, after: TrialTake) -> bool:
    """Whether the true cut is better with respect to a cause."""
    old, new = before.true_pass, after.true_pass
    if cause == "chatter":
        if "chatter" not in (new.verdict, *new.also):
            return True
        return room(after.scene) >= MORE_ROOM * room(before.scene)
    if cause == "side_rubbing":
        least = -math.inf if new.rubbing_db is None else new.rubbing_db
        return old.rubbing_db is not None and least <= old.rubbing_db - LESS_RUBBING_DB
    if cause == "uneven_teeth":
        return new.unevenness <= LESS_UNEVEN * old.unevenness
    if cause == "cannot_tell":  # a better recording, not a better cut: the truth is now told
        return after.findings.verdict == after.truth.verdict
    raise ValueError(f"no measure of {cause!r}")


def room(scene: Scene) -> float:
    """How much softer the set-up could be before this cut chatters; inf when any."""
    limit = critical_compliance(scene, scene.passes[0], steps=8)
    return math.inf if limit is None else limit


def confirmed(cause: str, lever: str, before: TrialTake, after: TrialTake) -> bool:
    """Whether the next recording shows what the rules with this lever say it would show."""
    old, new = before.heard, after.heard
    if new is None or old is None:
        return False
    told = cause in (new.verdict, *new.also)
    if cause == "cannot_tell" or new.verdict == "cannot_tell":
        return not told and new.verdict != "cannot_tell"
    if not told:
        return True
    if cause == "chatter" and old.chatter is not None and new.chatter is not None:
        weaker = new.chatter.level_db <= old.chatter.level_db - WEAKER_DB
        rarer = new.chatter.share <= old.chatter.share - WEAKER_SHARE
        if lever == "stiffen":
            up = new.chatter.frequency_hz >= (1.0 + MOVED_UP) * old.chatter.frequency_hz
            return up or weaker
        return weaker or (lever == "scale_depth" and rarer)
    if cause == "uneven_teeth" and old.teeth and new.teeth:
        spread = [np.ptp([t.level_db for t in one.teeth]) for one in (old, new)]
        return bool(spread[1] <= LESS_UNEVEN * spread[0])
    return False
