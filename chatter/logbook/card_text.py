"""Machines and cutters from the text of the cards that the book holds."""

from __future__ import annotations

from chatter.job.build import part_of
from chatter.job.cards import read_card
from chatter.job.cutter import Cutter
from chatter.job.machine import Machine


def machine_on_card(card: str, name: str = "machine card") -> Machine:
    """The machine on a card's text.  Raises CardError."""
    return part_of(read_card(card, "machine", name), "machine")


def cutter_of(card: str, name: str = "cutter card") -> Cutter:
    """The cutter on a card's text.  Raises CardError."""
    return part_of({"cutter.teeth": 0, **read_card(card, "cutter", name)}, "cutter")
