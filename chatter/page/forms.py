"""Forms from the table of everything that can be stated, with what is wrong beside the field."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from chatter.errors import ChatterError, JobError
from chatter.job.build import job_of, read_statement
from chatter.job.cut import Job
from chatter.job.fields import (
    Count,
    CutsMade,
    Field,
    FlagField,
    GroupField,
    Quantities,
    Quantity,
    Word,
)
from chatter.job.schema import field_of
from chatter.job.show import unit_of
from chatter.job.units import with_fractions
from chatter.job.words import materials
from chatter.page.field_words import HELP, LABELS, WORDS, missing_words

_BARE = re.compile(r"\s*(\d+([.,]\d*)?|[.,]\d+|(\d+[ -])?\d+/\d+)\s*", re.ASCII)
_LONGEST = 2000

#: What each form asks for, in order.
NEEDED = ("cut.speed", "cutter.teeth")
SHARPER = (
    *("cutter.form", "cutter.diameter", "cutter.width", "cut.material", "cut.depth", "cut.feed"),
    *(
        "cut.work_diameter",
        "cut.direction",
        "machine.speeds",
        "machine.mains",
        "cut.observed",
        "take.simulated",
    ),
)
CUTTER = tuple(
    f"cutter.{key}"
    for key in (
        *("name", "teeth", "form", "diameter", "width", "material", "side_relief"),
        *("max_speed", "reground", "collar_diameter", "helix", "pitch"),
    )
)
MACHINE = tuple(
    f"machine.{key}"
    for key in (
        *("name", "speeds", "feeds", "mains", "motor_power", "motor_poles", "arbors"),
        *("backlash", "gears", "bearings"),
    )
)
PLAN = (
    *("cut.material", "cut.depth", "cut.width", "cut.length", "cut.direction"),
    *("cutter.teeth", "cutter.form", "cutter.diameter", "cutter.width", "cutter.material"),
    *("cut.work_diameter", "cut.overhang", "cutter.helix", "cutter.pitch", "cut.blade_speed"),
    *("cutter.side_relief", "cutter.collar_diameter", "cutter.max_speed"),
    *("machine.speeds", "machine.feeds", "machine.motor_power", "machine.backlash"),
    *("cut.speed", "cut.feed", "cut.chip_load", "cut.observed"),
)


@dataclass(frozen=True)
class FieldView:
    """One field as the template shows it."""

    name: str  # "cutter.teeth"
    label: str
    kind: str  # "text", "count", "number", "choice", "lines"
    value: str
    unit: str = ""
    help: str = ""
    error: str = ""
    choices: tuple[tuple[str, str], ...] = ()  # (value, words)
    needed: bool = False
    fractions: bool = False  # of an inch: digits alone will not do

    @property
    def id(self) -> str:
        """Of the element."""
        return "f-" + self.name.replace(".", "-").replace("_", "-")


@dataclass(frozen=True)
class Read:
    """What a form held: option texts with their units, and what is wrong with which field."""

    stated: dict[str, str]
    errors: dict[str, str]
    wrong: str = ""  # with the whole

    @property
    def ok(self) -> bool:
        """Nothing is wrong."""
        return not self.errors and not self.wrong


def read(
    posted: Mapping[str, str], names: tuple[str, ...], units: str, *, needed: tuple[str, ...] = ()
) -> Read:
    """Read and check the fields of a form, each on its own.

    A bare number gets the unit that stands beside its field.

    Parameters
    ----------
    posted : mapping
        Field name to text.
    names : tuple of str
        The fields of this form.
    units : str
        "inch" or "metric".
    needed : tuple of str
        Those that must not be empty.
    """
    stated: dict[str, str] = {}
    errors: dict[str, str] = {}
    for name in names:
        text = posted.get(name, "").strip()[:_LONGEST]
        field = _field(name)
        if not text:
            if name in needed:
                errors[name] = missing_words(name)
            continue
        stated[name] = with_unit(field, text, units)
        try:
            field.read(option(field, stated[name]))
        except JobError as error:
            errors[name] = str(error)
    return Read(stated, errors)


def job_from_form(stated: Mapping[str, str]) -> Job:
    """The job of option texts as ``read`` gives them.  Raises JobError."""
    return job_of(read_statement(options(stated)))


def options(stated: Mapping[str, str]) -> dict[str, object]:
    """Option texts as ``read_statement`` takes them: several lines become a list."""
    return {name: option(_field(name), text) for name, text in stated.items()}


def with_cards(texts: Mapping[str, str], entered: Read) -> Read:
    """What the chosen cards state and what was typed, together.

    A field that says other than its card is wrong: nobody can know which of the two was meant.
    """
    errors = dict(entered.errors)
    for name in texts.keys() & entered.stated.keys() - entered.errors.keys():
        field = _field(name)
        card, typed = (
            field.read(option(field, text)) for text in (texts[name], entered.stated[name])
        )
        if card != typed:
            errors[name] = (
                f"The chosen card says {texts[name]}: clear this field, or choose no card."
            )
    return Read({**texts, **entered.stated}, errors, entered.wrong)


def check_job(entered: Read) -> Read:
    """``entered``, with what is wrong with the job as a whole."""
    empty = {
        name: missing_words(name)
        for name in NEEDED
        if name not in entered.stated
        and name not in entered.errors
        # of the machine's own speeds the sound may tell which it was
        and not (name == "cut.speed" and "machine.speeds" in entered.stated)
    }
    if empty or not entered.ok:
        return Read(entered.stated, {**empty, **entered.errors}, entered.wrong)
    try:
        values = read_statement(options(entered.stated))
        listed = values.get("machine.speeds") or (1.0,)
        job_of({"cut.speed": listed[0], **values})
    except ChatterError as error:
        return Read(entered.stated, entered.errors, str(error))
    return entered


def option(field: Field, text: str) -> object:
    """A field's text as its ``read`` takes it."""
    if isinstance(field, CutsMade):
        return [line.strip() for line in re.split(r"[\n;]", text) if line.strip()]
    if isinstance(field, GroupField):
        return [_row(field, line) for line in re.split(r"[\n;]", text) if line.strip()]
    return text


def _row(group: GroupField, line: str) -> dict[str, object]:
    """ "bull gear, 24, 1.5" -> {"name": ..., "teeth": ..., "ratio": ...}."""
    cells = [cell.strip() for cell in line.split(",")]
    if len(cells) > len(group.fields):
        raise JobError(
            f"The {group.what} '{line.strip()[:60]}' has {len(cells)} values: state at most "
            f"{', '.join(each.key.replace('_', ' ') for each in group.fields)}."
        )
    return {each.key: cell for each, cell in zip(group.fields, cells, strict=False) if cell}


def with_unit(field: Field, text: str, units: str) -> str:
    """A text with the unit of its field, where it is a bare number."""
    if isinstance(field, Quantities) and field.kind != "spindle speed":
        if not re.search(r"[A-Za-z\"″”]", text):
            return f"{text} {unit_of(field.kind, units)}"
    elif (
        isinstance(field, Quantity | Quantities)
        and field.kind != "spindle speed"
        and _BARE.fullmatch(with_fractions(text))
    ):
        return f"{text} {unit_of(field.kind, units)}"
    return text


def views(
    names: tuple[str, ...],
    values: Mapping[str, str],
    units: str,
    errors: Mapping[str, str] | None = None,
    needed: tuple[str, ...] = (),
) -> list[FieldView]:
    """The fields of a form as the template shows them."""
    return [
        _view(name, values.get(name, ""), units, errors or {}, name in needed) for name in names
    ]


def form_text(name: str, value: Any) -> str:
    """A read value as its form shows it again; ``read`` takes it back."""
    field = _field(name)
    if isinstance(field, CutsMade):
        from chatter.job.show import show_length

        return "\n".join(
            f"{show_length(cut.depth_m)} at {cut.speed_rev_min:g} rev/min "
            f"{'chattered' if cut.chatters else 'quiet'}"
            for cut in value
        )
    written = field.write(value)
    if isinstance(field, GroupField) and isinstance(written, list):
        return "\n".join(", ".join(str(cell) for cell in row.values()) for row in written)
    if isinstance(written, bool):
        return "yes" if written else "no"
    if isinstance(written, list):
        return _together([str(each) for each in written])
    return str(written)


def _together(items: list[str]) -> str:
    """ "20 mm/min", "50 mm/min" -> "20, 50 mm/min"; left apart where the units differ."""
    parts = [item.partition(" ") for item in items]
    if len({unit for _, _, unit in parts}) != 1 or not parts[0][2]:
        return ", ".join(items)
    return f"{', '.join(number for number, _, _ in parts)} {parts[0][2]}"


def _field(name: str) -> Field:
    section, _, key = name.partition(".")
    return field_of(section, key)


def _view(name: str, value: str, units: str, errors: Mapping[str, str], needed: bool) -> FieldView:
    field = _field(name)
    kind, unit, fractions = "text", "", False
    choices: tuple[tuple[str, str], ...] = ()
    if isinstance(field, GroupField):
        kind = "lines"
    elif isinstance(field, Count):
        kind = "count"
    elif isinstance(field, FlagField):
        kind, choices = "choice", (("yes", "yes"), ("no", "no"))
        value = {"true": "yes", "false": "no"}.get(value.lower(), value)
    elif isinstance(field, Word):
        named = materials() if name == "cut.material" else WORDS
        kind = "choice"
        choices = tuple((c, named.get(c, c.replace("_", " "))) for c in field.choices)
    elif isinstance(field, Quantity | Quantities):
        kind = "text" if isinstance(field, Quantities) else "number"
        unit = unit_of(field.kind, units)
        bare = value.removesuffix(f" {unit}")  # it stands beside the field already
        value = value if re.search(r"[A-Za-z\"″”]", bare) else bare
        fractions = kind == "number" and unit in ("in", "in/min")
    return FieldView(
        name,
        LABELS[name],
        kind,
        value,
        unit,
        help=HELP.get(name, ""),
        error=errors.get(name, ""),
        choices=choices,
        needed=needed,
        fractions=fractions,
    )
