"""How the machine was on the day: warmth, oil, play, belts, and what was done to it.

Kept beside the sounds as ``name=value; name=value``, and shown as marks on every trend, so that
"worse" is read beside an oil change or a cold start.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from datetime import date
from typing import TYPE_CHECKING

from chatter.errors import JobError
from chatter.job.units import echo, parse
from chatter.job.words import choose_word

if TYPE_CHECKING:
    from chatter.runin.entries import LogEntry

#: Name -> what is stated: "temperature", "length", "minutes", "current", "text".
FIELDS: dict[str, str] = {
    "front bearing": "temperature",
    "rear bearing": "temperature",
    "room": "temperature",
    "minutes warm": "minutes",
    "oil": "text",  # type
    "oil level": "text",
    "oil colour": "text",
    "oil changed": "text",
    "nose runout": "length",
    "arbor runout": "length",
    "end play": "length",
    "backlash x": "length",
    "backlash y": "length",
    "backlash z": "length",
    "belt": "text",
    "motor current": "current",
    "tram": "text",
    "done": "text",
}
_OTHER_WORDS = {"oil_type": "oil", "what_was_done": "done", "warm": "minutes_warm"}
#: Bearings hotter than the room or colder, in degrees Celsius, than can be.
_HEAT_C = (-30.0, 150.0)
#: A machine that ran no longer than this is cold.  Common practice, no source.
COLD_MINUTES = 10.0
#: A bearing that rose this far since the dates before is worth a mark [K].  Common practice.
_HOTTER_K = 10.0

State = tuple[tuple[str, str], ...]

_TEMPERATURE = re.compile(r"(-?\d+(?:[.,]\d+)?)\s*(?:°\s*)?([CF])", re.IGNORECASE)
_NUMBER = re.compile(r"(\d+(?:[.,]\d+)?)\s*(?:a|amps?|min|minutes)?", re.IGNORECASE)


def read_state(stated: str | Iterable[str]) -> State:
    """Fields from ``name=value`` texts, or from one text that parts them by semicolons.

    Raises
    ------
    JobError
        A name is not known, is there twice, or its value cannot be.
    """
    parts = stated.split(";") if isinstance(stated, str) else list(stated)
    fields: dict[str, str] = {}
    for part in (each.strip() for each in parts):
        if not part:
            continue
        name, mark, value = (each.strip() for each in part.partition("="))
        if not mark or not value:
            raise JobError(
                f"The state '{echo(part)}' has no value: write for example 'front bearing=41 C'."
            )
        known = tuple(each.replace(" ", "_") for each in FIELDS)
        name = choose_word(name, "field of the machine's state", known, _OTHER_WORDS).replace(
            "_", " "
        )
        if name in fields:
            raise JobError(f"The state names '{name}' twice: state it once.")
        _check(name, value)
        fields[name] = value.replace(";", ",")
    return tuple(fields.items())


def _check(name: str, value: str) -> None:
    kind = FIELDS[name]
    if kind == "temperature":
        heat = celsius(value)
        if not _HEAT_C[0] <= heat <= _HEAT_C[1]:
            raise JobError(
                f"The temperature '{echo(value)}' ({name}) is none from -30 to 150 C: write for "
                "example '41 C' or '105 F'."
            )
    elif kind == "length":
        if not 0.0 <= parse(value, "length", name) < 0.1:
            raise JobError(f"The {name} '{echo(value)}' is not below 100 mm: check its unit.")
    elif kind in ("minutes", "current") and _NUMBER.fullmatch(value) is None:
        unit = "minutes" if kind == "minutes" else "amps"
        raise JobError(f"The {name} '{echo(value)}' is no number of {unit}: write for example 20.")


def celsius(value: str) -> float:
    """A temperature in degrees Celsius; nan when it is none."""
    match = _TEMPERATURE.fullmatch(value.strip())
    if match is None:
        return math.nan
    heat = float(match[1].replace(",", "."))
    return heat if match[2].upper() == "C" else (heat - 32.0) / 1.8


def show_state(state: State) -> str:
    """As it is kept."""
    return "; ".join(f"{name}={value}" for name, value in state)


def marks(entries: Sequence[LogEntry]) -> dict[date, tuple[str, ...]]:
    """What to read a trend beside, by date: cold, oil changed, hot, what was done."""
    by_day: dict[date, list[str]] = {}
    before: dict[str, float] = {}
    for entry in sorted(entries, key=lambda entry: entry.day):
        stated = dict(entry.state)
        of_day = by_day.setdefault(entry.day, [])
        warm = _NUMBER.fullmatch(stated.get("minutes warm", ""))
        if warm is not None and float(warm[1].replace(",", ".")) < COLD_MINUTES:
            of_day.append("cold start")
        if stated.get("oil changed", "no").lower() not in ("no", "n", "-"):
            of_day.append("oil changed")
        for name in ("front bearing", "rear bearing"):
            heat = celsius(stated.get(name, ""))
            if heat - before.get(name, math.nan) >= _HOTTER_K:
                of_day.append(f"{name} {heat:.0f} C, was {before[name]:.0f}")
            if not math.isnan(heat):
                before[name] = heat
        if "done" in stated:
            of_day.append(stated["done"])
    return {day: tuple(dict.fromkeys(of_day)) for day, of_day in by_day.items() if of_day}


def marks_since(entries: Sequence[LogEntry], since: date | None) -> str:
    """The marks from the date before a change on, as a sentence; "" when there are none."""
    known = marks(entries)
    days = sorted({one.day for one in entries if one.kind == "idle"})
    earlier = [day for day in days if since is not None and day < since]
    start = earlier[-1] if earlier else (since or date.min)
    listed = [f"{', '.join(what)} on {day}" for day, what in sorted(known.items()) if day > start]
    return f" Read it beside: {'; '.join(listed)}." if listed else ""
