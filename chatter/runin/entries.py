"""What the run-in log holds of one recording or one look at the machine."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

from chatter.errors import JobError
from chatter.job.units import echo, parse_spindle_speed
from chatter.job.words import choose_word
from chatter.runin.state import State

KINDS = ("idle", "cut", "surface", "state")
_KIND_WORDS = {
    "idling": "idle",
    "free": "idle",
    "survey": "idle",
    "cutting": "cut",
    "note": "surface",
    "finish": "surface",
}
_MOST_HOURS = 200_000.0


@dataclass(frozen=True)
class LogEntry:
    """One line of the run-in log.

    Attributes
    ----------
    kind : str
        "idle", "cut", "surface" or "state".
    day : date
    hours : float or None
        Running hours since the machine was bought.
    file : Path or None
        The recording; None for a surface note.
    rev_min : float or None
        Spindle speed as dialled.
    phone, place : str
        As stated; "" when not.  The same words mean the same phone, the same place.
    note : str
        What was seen or is worth remembering.
    span_s : (float, float) or None
        Part of a long recording that holds this speed.
    job : Path or None
        Job card of a cut.
    teeth : int or None
        Of the cutter, when there is no job card.
    sign : str
        Of a surface note: a sign of ``chatter.trade.surface``.
    state : tuple of (str, str)
        How the machine was: fields of ``chatter.runin.state``.
    """

    kind: str
    day: date
    hours: float | None = None
    file: Path | None = None
    rev_min: float | None = None
    phone: str = ""
    place: str = ""
    note: str = ""
    span_s: tuple[float, float] | None = None
    job: Path | None = None
    teeth: int | None = None
    sign: str = ""
    state: State = ()

    @property
    def spindle_hz(self) -> float:
        """Stated turns of the spindle in a second."""
        return (self.rev_min or math.nan) / 60.0

    @property
    def listening_post(self) -> tuple[str, str] | None:
        """Phone and place, when both are stated."""
        return (self.phone, self.place) if self.phone and self.place else None


def read_kind(stated: object) -> str:
    """The kind of an entry.  Raises JobError."""
    return choose_word(str(stated), "kind of entry", KINDS, _KIND_WORDS)


def read_day(stated: object) -> date:
    """A date as 2026-11-25, or as TOML gives it.  Raises JobError."""
    if isinstance(stated, datetime):
        return stated.date()
    if isinstance(stated, date):
        return stated
    text = str(stated).strip()
    try:
        return date.fromisoformat(text[:10])
    except ValueError:
        raise JobError(
            f"The date '{echo(text)}' is not a date: write year-month-day, such as 2026-03-14."
        ) from None


def read_hours(stated: object) -> float | None:
    """Running hours, "12.5" or "12.5 h"; None when empty.  Raises JobError."""
    text = re.sub(r"\s*(h|hours?)$", "", str(stated if stated is not None else "").strip())
    if not text:
        return None
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        value = math.nan
    if not 0.0 <= value <= _MOST_HOURS:
        raise JobError(
            f"The running hours '{echo(text)}' are no number from 0 to {_MOST_HOURS:g}: "
            "count the hours since the machine was bought."
        )
    return value


def read_speed(stated: object) -> float | None:
    """Spindle speed [rev/min]; None when empty.  Raises JobError."""
    text = str(stated if stated is not None else "").strip()
    return parse_spindle_speed(text) if text else None


def sorted_entries(entries: Sequence[LogEntry]) -> tuple[LogEntry, ...]:
    """In the order of time: by date, then by running hours, then as written."""
    return tuple(sorted(entries, key=lambda one: (one.day, one.hours or 0.0)))


def by_speed(entries: tuple[LogEntry, ...]) -> dict[float, tuple[LogEntry, ...]]:
    """Idle entries by stated speed, slowest first."""
    speeds = sorted({one.rev_min for one in entries if one.kind == "idle" and one.rev_min})
    return {
        speed: tuple(e for e in entries if e.kind == "idle" and e.rev_min == speed)
        for speed in speeds
    }
