"""A mode of the set-up: what a tap test yields and what stability needs."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

#: A chatter frequency lies above the mode that causes it by at most about this share.  For
#: one mode with damping ratio z the limiting depth falls at sqrt(1 + 2 z) times the natural
#: frequency (z = 0.1 gives 1.095), and the deepest pockets reach a few per cent further.
REACH = 0.20


@dataclass(frozen=True)
class Mode:
    """One natural frequency with its damping; spreads are standard deviations over taps."""

    frequency_hz: float
    damping_ratio: float
    frequency_spread_hz: float = 0.0
    damping_spread: float = 0.0
    taps: int = 1
    level_db: float = 0.0  # re the strongest mode of the same recording


def mode_below(modes: Iterable[Mode], chatter_hz: float, reach: float = REACH) -> Mode | None:
    """Return the mode nearest below a chatter frequency: the one to stiffen.

    Parameters
    ----------
    modes : iterable of Mode
        Modes of the set-up, in any order.
    chatter_hz : float
        Chatter frequency [Hz].
    reach : float
        How far below, as a share of ``chatter_hz``, a mode may lie and still be named.

    Returns
    -------
    Mode or None
        None when no mode lies within reach.  A mode up to 2 % above counts as below: the
        measured frequencies of a cutter at rest and of one turning in the work differ.
    """
    near = [m for m in modes if (1.0 - reach) * chatter_hz <= m.frequency_hz <= 1.02 * chatter_hz]
    return max(near, key=lambda m: m.frequency_hz, default=None)
