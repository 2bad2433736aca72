"""A gear that is named on the card is a guess: how well the lines bear it out, and what a line
without a name would have to be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from chatter.job.machine import Gear
from chatter.runin.orders import mesh_order
from chatter.runin.rays import SpeedLines, at_least, density_at

#: Lines of a mesh lie this near to where it is said to be, besides what the speed is wrong by.
_NEAR = 2.5e-3
#: A mesh is borne out when chance gives as many lines more seldom than this.
_BORNE_OUT = 0.01
#: Teeth that gears of machine tools have.
_TEETH = (12, 130)


@dataclass(frozen=True)
class GearTest:
    """How well the lines bear a gear of the card out.

    Attributes
    ----------
    name : str
    order : float
        Tooth contacts for one turn of the spindle.
    heard, possible : int
        Speeds at which a line stands there, and at which one could be heard.
    chance : float
        That as many lines stand there by chance.
    above_db : float
        How far those lines stand out, the middle one; nan when there are none.
    """

    name: str
    order: float
    heard: int
    possible: int
    chance: float
    above_db: float

    @property
    def says(self) -> str:
        """In words."""
        if not self.possible:
            return "its mesh lies where nothing can be heard at these speeds"
        seen = f"a line at {self.heard} of {self.possible} speeds"
        if self.heard and self.chance <= _BORNE_OUT:
            return f"borne out: {seen}, {self.above_db:.0f} dB out of the noise"
        return f"not borne out: {seen}, as chance gives; check its teeth and ratio"


def gear_tests(speeds: Sequence[SpeedLines], gears: Sequence[Gear]) -> tuple[GearTest, ...]:
    """Each gear of the card held against the lines of a survey.

    Parameters
    ----------
    speeds : sequence of SpeedLines
    gears : sequence of Gear
    """
    return tuple(_test(speeds, gear) for gear in gears)


def _test(speeds: Sequence[SpeedLines], gear: Gear) -> GearTest:
    order = mesh_order(gear)
    odds, levels = [], []
    for heard in speeds:
        f = order * heard.spindle_hz
        if not heard.low_hz * 1.02 < f < heard.high_hz * 0.98:
            continue
        reach = max(0.8 * heard.step_hz, max(_NEAR, 2.0 * heard.relative_error) * f)
        odds.append(1.0 - np.exp(-2.0 * reach * density_at(heard, f)))
        if heard.lines_hz.size:
            near = int(np.argmin(np.abs(heard.lines_hz - f)))
            if abs(heard.lines_hz[near] - f) <= reach:
                levels.append(float(heard.level_db[near]))
    chance = at_least(len(levels), np.array(odds))
    above = float(np.median(levels)) if levels else float("nan")
    return GearTest(gear.name, order, len(levels), len(odds), chance, above)


def would_be(order: float) -> str:
    """What a line that turns and has no name on the card would have to be."""
    whole = round(order)
    if abs(order - whole) < _NEAR * order and _TEETH[0] <= whole <= _TEETH[1]:
        return f"no name on the card; a gear of {whole} teeth on the spindle would be there"
    return (
        f"no name on the card; a gear whose teeth times ratio are {order:.4g} would be there: put "
        "it on the card"
    )
