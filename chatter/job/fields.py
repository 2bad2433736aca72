"""The kinds of things that can be stated, each read, checked and written in one place.

A field reads what stands in a card or on the command line (``read``), takes back plain
data as ``chatter.plain`` made it (``accept``), and writes the value for a card (``write``).
Every refusal is a ``JobError`` with one sentence.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from chatter.errors import JobError
from chatter.job import times, units
from chatter.job.show import exact, show
from chatter.job.units import echo
from chatter.job.words import choose_word, plain_key


@dataclass(frozen=True)
class Field:
    """Free text; the base of the other kinds.

    Parameters
    ----------
    key : str
        Its name in a card.
    attribute : str
        Its name in the dataclass.
    what : str
        What people call it.
    """

    key: str
    attribute: str
    what: str

    def read(self, stated: object) -> object:
        """The value from what a person wrote.  Raises JobError."""
        if not isinstance(stated, str):
            raise JobError(f"The {self.what} {echo(stated)} is not text: put it in quotes.")
        if len(stated) > 300 or any(ord(letter) < 32 or ord(letter) == 127 for letter in stated):
            raise JobError(f"The {self.what} '{echo(stated)}' is no short plain text: shorten it.")
        return stated.strip()

    def accept(self, plain: object) -> object:
        """The value from plain data.  Raises JobError."""
        return self.read(plain)

    def write(self, value: Any) -> object:
        """The value as a card holds it; ``read`` gives it back."""
        return value


@dataclass(frozen=True)
class Count(Field):
    """A whole number within bounds."""

    low: int = 1
    high: int = 1000
    even: bool = False

    def read(self, stated: object) -> int:
        text = str(stated).strip()
        if isinstance(stated, bool) or not re.fullmatch(r"[+-]?\d{1,12}(\.0)?", text, re.ASCII):
            raise JobError(f"The {self.what} '{echo(text)}' is not a whole number: count again.")
        value = int(float(text))
        if not self.low <= value <= self.high:
            raise JobError(
                f"The {self.what} {value} is not between {self.low} and {self.high}: count again."
            )
        if self.even and value % 2:
            raise JobError(f"The {self.what} {value} is odd: state an even number.")
        return value


@dataclass(frozen=True)
class Ratio(Field):
    """A bare positive number without a unit (a gear ratio)."""

    low: float = 1e-3
    high: float = 1e3

    def read(self, stated: object) -> float:
        try:
            value = float(stated) if isinstance(stated, int | float | str) else float("nan")
        except (ValueError, OverflowError):
            value = float("nan")
        if isinstance(stated, bool) or not self.low <= value <= self.high:
            raise JobError(
                f"The {self.what} '{echo(stated)}' is not a number between "
                f"{self.low:g} and {self.high:g}: state it as a plain number."
            )
        return value


@dataclass(frozen=True)
class FlagField(Field):
    """Yes or no."""

    def read(self, stated: object) -> bool:
        word = str(stated).strip().lower()
        if word in ("yes", "true", "y"):
            return True
        if word in ("no", "false", "n"):
            return False
        raise JobError(
            f"The {self.what} '{echo(word)}' is neither yes nor no: write true or false."
        )


@dataclass(frozen=True)
class Word(Field):
    """One of a fixed choice of words."""

    choices: tuple[str, ...] = ()
    also: Callable[[], Mapping[str, str]] = dict
    refused: Callable[[], Mapping[str, str]] = dict  # understood, but not to be had: why
    across: bool = True  # a near spelling may differ by a whole word

    def read(self, stated: object) -> str:
        why = self.refused().get(plain_key(stated)) if isinstance(stated, str) else None
        if why is not None:
            raise JobError(why)
        return choose_word(stated, self.what, self.choices, self.also(), across=self.across)


@dataclass(frozen=True)
class Quantity(Field):
    """A quantity with its unit, within bounds in SI units."""

    kind: str = "length"
    low: float = 0.0
    high: float = float("inf")

    def read(self, stated: object) -> float:
        if self.kind == "spindle speed":
            return self._bounded(units.parse_spindle_speed(stated, self.what))
        value = units.parse(stated, self.kind, self.what, signed=self.kind == "angle")
        return self._bounded(value)

    def accept(self, plain: object) -> float:
        if isinstance(plain, bool) or not isinstance(plain, int | float):
            raise JobError(f"The {self.what} {echo(plain)} is not a number in SI units: give one.")
        return self._bounded(float(plain))

    def write(self, value: float) -> object:
        text = exact(value, self.kind)
        if self.kind != "spindle speed":
            return text
        return int(value) if value == int(value) else value

    def _bounded(self, value: float) -> float:
        if not self.low <= value <= self.high:
            raise JobError(
                f"The {self.what} of {self._told(value)} is not between "
                f"{show(self.low, self.kind)} and {show(self.high, self.kind)}: "
                "check the number and its unit."
                if value == value
                else f"The {self.what} is not a number: state one."
            )
        return value

    def _told(self, value: float) -> str:
        """A value for a sentence; one that is out of all reason keeps its powers of ten."""
        return f"{value:.3g}" if abs(value) >= 1e12 else show(value, self.kind)


@dataclass(frozen=True)
class Quantities(Field):
    """Several quantities, kept ascending; in text, one unit at the end may serve for all."""

    kind: str = "length"
    low: float = 0.0
    high: float = float("inf")
    most: int = 64

    @property
    def one(self) -> Quantity:
        """One of them."""
        return Quantity(self.key, self.attribute, self.what, self.kind, self.low, self.high)

    def read(self, stated: object) -> tuple[float, ...]:
        items = self._split(stated) if isinstance(stated, str) else stated
        return self._all(items, self.one.read)

    def accept(self, plain: object) -> tuple[float, ...]:
        return self._all(plain, self.one.accept)

    def write(self, value: tuple[float, ...]) -> object:
        return [self.one.write(item) for item in value]

    def _all(self, items: object, one: Callable[[object], float]) -> tuple[float, ...]:
        if not isinstance(items, list | tuple) or not 1 <= len(items) <= self.most:
            raise JobError(f"The {self.what}s are not a list of 1 to {self.most}: list each one.")
        values = tuple(one(item) for item in items)
        if len(set(values)) != len(values):
            raise JobError(f"The {self.what}s hold the same value twice: list each step once.")
        return tuple(sorted(values))

    def _split(self, text: str) -> list[str]:
        """ "20, 31.5, 50 mm/min" -> each number with the unit.

        Between semicolons a comma is a decimal one: "20; 31,5; 50".
        """
        text = units.with_fractions(text)
        if ";" not in text and re.search(r"\d, ", text) and re.search(r"\d,\d", text):
            raise JobError(
                f"The {self.what}s '{echo(text)}' have commas with and without a space behind "
                "them: put a semicolon between any two, as in '20; 31.5; 50'."
            )
        items = [item.strip() for item in text.split(";" if ";" in text else ",") if item.strip()]
        if len(items) == 1 and re.fullmatch(r"[\d.\s]+[^\d.]*", text.strip(), re.ASCII):
            numbers = re.findall(r"[\d.]+", text, re.ASCII)
            items = [*numbers[:-1], text[text.rindex(numbers[-1]) :].strip()] if numbers else items
        unit = re.sub(r"^[\d.,/\s+-]*\d", "", items[-1], flags=re.ASCII).strip() if items else ""
        return [f"{item} {unit}" if re.fullmatch(r"[\d.,/\s-]+", item) else item for item in items]


@dataclass(frozen=True)
class SpanField(Field):
    """A stretch of the recording."""

    def read(self, stated: object) -> tuple[float, float]:
        return times.parse_span(stated, self.what)

    def accept(self, plain: object) -> tuple[float, float]:
        pair = tuple(plain) if isinstance(plain, list | tuple) else ()
        numbers = all(isinstance(x, int | float) and not isinstance(x, bool) for x in pair)
        if len(pair) != 2 or not numbers or not 0 <= pair[0] < pair[1] < 1e7:
            raise JobError(f"The {self.what} {echo(plain)} is not a start and a later end in s.")
        return float(pair[0]), float(pair[1])

    def write(self, value: tuple[float, float]) -> object:
        return times.exact_span(value)


@dataclass(frozen=True)
class GroupField(Field):
    """A list of small tables, each made of fields (gears, bearings)."""

    make: Callable[..., object] = dict
    fields: tuple[Field, ...] = field(default=())
    needed: tuple[str, ...] = ()

    def read(self, stated: object) -> tuple[object, ...]:
        return self._all(stated, "key", lambda each, value: each.read(value))

    def accept(self, plain: object) -> tuple[object, ...]:
        return self._all(plain, "attribute", lambda each, value: each.accept(value))

    def write(self, value: tuple[object, ...]) -> object:
        return [
            {each.key: each.write(getattr(item, each.attribute)) for each in self.fields}
            for item in value
        ]

    def _all(self, rows: object, by: str, one: Callable) -> tuple[object, ...]:
        if not isinstance(rows, list | tuple) or not all(isinstance(row, Mapping) for row in rows):
            raise JobError(f"The {self.what}s are not tables: write each as [[{self.key}]].")
        known = {getattr(each, by): each for each in self.fields}
        made = []
        for row in rows:
            row = {choose_word(key, f"key of a {self.what}", known): row[key] for key in row}
            for key in self.needed:
                if key not in {known[stated].key for stated in row}:
                    raise JobError(f"A {self.what} has no '{key}': add it.")
            made.append(self.make(**{known[k].attribute: one(known[k], row[k]) for k in row}))
        return tuple(made)


_CUT_MADE = re.compile(
    r"(?P<depth>.+?)\s+(?:at|@)\s+(?P<speed>.+?)\s+"
    r"(?P<did>chatter(?:ed|s)?|quiet|stable|did not|no chatter|not chattered)",
    re.ASCII,
)
_DID = {
    **dict.fromkeys(("chattered", "chatters", "chatter"), True),
    **dict.fromkeys(("quiet", "did not", "no chatter", "not chattered", "stable"), False),
}


@dataclass(frozen=True)
class CutsMade(GroupField):
    """Cuts that were made, as tables or as text: "12 mm at 57 rev/min chattered"."""

    def read(self, stated: object) -> tuple[object, ...]:
        if isinstance(stated, list | tuple):
            stated = [self._row(one) if isinstance(one, str) else one for one in stated]
        made = super().read(stated)
        return tuple(dict.fromkeys(made))

    def _row(self, text: str) -> dict[str, object]:
        match = _CUT_MADE.fullmatch(" ".join(text.lower().split()))
        did = _DID.get(match["did"]) if match else None
        if match is None or did is None:
            raise JobError(
                f"The {self.what} '{echo(text)}' is not a depth, a speed and what it did: write "
                "for example '12 mm at 57 rev/min chattered' or '8 mm at 57 rev/min quiet'."
            )
        return {"depth": match["depth"], "speed": match["speed"], "chatters": str(did)}
