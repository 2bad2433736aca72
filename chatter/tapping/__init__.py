"""Tap test: from a recording of taps on a set-up at rest to its modes.

>>> from chatter.tapping import tap, load, mode_below
"""

from chatter.tapping.findings import DoubtfulMode, Room, Tap, TapFindings, as_json, load, save
from chatter.tapping.taps import analyse, tap
from chatter.trade.modes import Mode, mode_below

__all__ = [
    "DoubtfulMode",
    "Mode",
    "Room",
    "Tap",
    "TapFindings",
    "analyse",
    "as_json",
    "load",
    "mode_below",
    "save",
    "tap",
]
