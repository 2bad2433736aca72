"""Which system of units a job's cards are written in."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import Any

from chatter.errors import JobError
from chatter.job.build import job_from_plain, statement_of
from chatter.job.cut import Job
from chatter.job.units import UNITS

#: A value counts as stated in inches when it is a whole number of these: 1/64 in for lengths,
#: 1/16 in a minute for feeds; as metric when it is a whole number of hundredths of a millimetre,
#: or of half millimetres a minute.
_GRAINS = {
    "length": (UNITS["length"]["in"] / 64, UNITS["length"]["mm"] / 100),
    "feed": (UNITS["feed"]["in/min"] / 16, UNITS["feed"]["mm/min"] / 2),
}
_LENGTHS = ("cutter.diameter", "cutter.width", "cutter.collar_diameter", "cut.depth")
_HAIR = 1e-6


def system_of(job: Job) -> str | None:
    """Return "inch" or "metric" when the cards speak one of them only; None else.

    The machine's feeds tell first, for they are what a suggestion names; without them the
    sizes of cutter and cut.
    """
    return system_stated(statement_of(job))


def system_stated(values: Mapping[str, Any]) -> str | None:
    """The same for a read statement, which need not be complete."""
    feeds = values.get("machine.feeds") or (values.get("cut.feed"),)
    lengths = tuple(values.get(name) for name in _LENGTHS)
    for kind, stated in (("feed", feeds), ("length", lengths)):
        told = {_told(value, kind) for value in stated if value} - {None}
        if len(told) == 1:
            return told.pop()
    return None


def system_of_plain(plain: Mapping[str, object], otherwise: str) -> str:
    """The system of a job as it stands in findings; ``otherwise`` where its cards do not tell."""
    try:
        return system_of(job_from_plain(plain)) or otherwise
    except JobError:
        return otherwise


def _told(value: float, kind: str) -> str | None:
    """The one system in which the value is a round number."""
    inch, metric = (_whole(value, grain) for grain in _GRAINS[kind])
    return None if inch == metric else ("inch" if inch else "metric")


def _whole(value: float, grain: Fraction) -> bool:
    count = value / float(grain)
    return abs(count - round(count)) <= _HAIR * max(1.0, count)
