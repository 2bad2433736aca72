"""One loud tooth, or a cutter that runs out: two shapes of an uneven tooth map."""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from chatter.findings import ToothLevel
from chatter.job import show

if TYPE_CHECKING:
    from chatter.trade.rules import Value


#: What to look for with an indicator when no chip load is stated (common practice, no source).
RUNOUT_M = 25e-6

#: Half a thousandth of an inch: a cutter on an arbor hardly runs truer (common practice, no
#: source).
LEAST_RUNOUT_M = 12.7e-6

#: Runout above this share of the chip load leaves some teeth with a third less to cut
#: than others get more (common practice, no source).
RUNOUT_SHARE = 1.0 / 3.0


def high_tooth(teeth: Sequence[ToothLevel]) -> tuple[int, float] | None:
    """The loudest tooth and its level over the mean of the others [dB]; None below 2 teeth."""
    if len(teeth) < 2:
        return None
    top = max(teeth, key=lambda t: t.level_db)
    others = [t.level_db for t in teeth if t is not top]
    return top.tooth, top.level_db - sum(others) / len(others)


def turn_swing_db(teeth: Sequence[ToothLevel]) -> float | None:
    """Amplitude [dB] of the once-per-turn swing of the levels; None below 3 teeth.

    An eccentric cutter gives a_j = 1 + r cos(2 pi j / N), one cycle round the cutter.
    """
    n = len(teeth)
    if n < 3:
        return None
    total = sum(t.level_db * cmath.exp(-2j * math.pi * i / n) for i, t in enumerate(teeth))
    return 2.0 * abs(total) / n


def runout_limit_m(chip_load_m: float | None) -> float:
    """Total indicator reading [m] above which the teeth share the work unevenly."""
    if chip_load_m is None:
        return RUNOUT_M
    return min(RUNOUT_M, max(LEAST_RUNOUT_M, RUNOUT_SHARE * chip_load_m))


def teeth_facts(
    teeth: Sequence[ToothLevel], chip_load_m: float | None, system: str
) -> tuple[dict[str, Value], dict[str, str]]:
    """Facts and words for :mod:`chatter.trade.situation`."""
    top, cycle = high_tooth(teeth), turn_swing_db(teeth)
    limit = runout_limit_m(chip_load_m)
    known: dict[str, Value] = {
        "runout_limit": limit,
        "high_tooth_db": None if top is None else top[1],
        "swing_db": cycle,
    }
    words = {"runout": show.show_length(limit, system, 2)}
    if top is not None:
        words.update(high_tooth=str(top[0]), high_tooth_db=f"{top[1]:.1f} dB")
    if cycle is not None:
        words["swing_db"] = f"{cycle:.1f} dB"
    return known, words
