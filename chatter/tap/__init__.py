"""Tap test: from a recording of taps on a set-up at rest to its modes.

>>> from chatter.tap import tap, load, mode_below
"""

from chatter.tap.findings import DoubtfulMode, Room, Tap, TapFindings, as_json, load, save
from chatter.tap.taps import analyse, tap
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
