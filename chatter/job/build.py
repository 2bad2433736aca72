"""From stated values to a valid Job, and to plain data and back.

A *statement* is a flat mapping from ``"section.key"`` (``"cutter.teeth"``,
``"cut.speed"``; see ``schema.SECTIONS``) to what the machinist wrote.  Reading one gives
the same mapping with SI values; statements merge by simple override.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from typing import Any

from chatter.errors import JobError
from chatter.job.cut import Cut, Job, Take
from chatter.job.cutter import ONE_EDGE, Cutter
from chatter.job.machine import Machine
from chatter.job.schema import SECTIONS, field_of
from chatter.job.show import show_length
from chatter.job.units import echo

Statement = dict[str, Any]  # each value of the type that its field reads

_MAKE = {"cutter": Cutter, "cut": Cut, "machine": Machine, "take": Take}


def read_statement(stated: Mapping[str, object]) -> Statement:
    """Parse and check each stated value; values of None count as not stated.

    Parameters
    ----------
    stated : mapping
        ``{"cutter.teeth": "48", "cut.feed": "10 in/min", ...}``.

    Returns
    -------
    dict
        The same keys with values in SI units.

    Raises
    ------
    JobError
        One sentence about the first value that cannot be.
    """
    values: Statement = {}
    for name, value in stated.items():
        section, _, key = name.partition(".")
        if section not in SECTIONS:
            raise JobError(
                f"'{echo(name)}' is not a thing to state: see the sections {list(SECTIONS)}."
            )
        if value is not None:
            values[name] = field_of(section, key).read(value)
    if values.keys() >= {"cut.feed", "cut.chip_load"}:
        raise JobError("Feed and chip load are both stated: state only one of the two.")
    return values


def merge_statements(below: Statement, above: Statement) -> Statement:
    """The values of both, those of ``above`` (the command line) winning."""
    kept = dict(below)
    for one, other in (("cut.feed", "cut.chip_load"), ("cut.chip_load", "cut.feed")):
        if one in above:
            kept.pop(other, None)
    return {**kept, **above}


def job_of(values: Statement) -> Job:
    """The Job of a read statement; speed and tooth count are needed.

    Raises
    ------
    JobError
        Something needed is missing, or two values contradict each other.
    """
    if "cut.speed" not in values:
        raise JobError("The spindle speed is missing: state it, for example --rpm 57.")
    if "cutter.teeth" not in values:
        raise JobError("The number of teeth is missing: state it, for example --teeth 48.")
    values = dict(values)
    chip_load_m = values.pop("cut.chip_load", None)
    if chip_load_m is not None:
        teeth_s = values["cut.speed"] * values["cutter.teeth"] / 60.0
        values["cut.feed"] = chip_load_m * teeth_s
    check_together(values)
    return Job(**{section: part_of(values, section) for section in SECTIONS})


def check_together(values: Statement) -> None:
    """Refuse values that are possible one by one but not together.  Raises JobError."""
    teeth = values.get("cutter.teeth")
    form = values.get("cutter.form")
    if form in ONE_EDGE and teeth not in (None, 1):
        name = {"single_point": "single-point tool"}.get(str(form), str(form).replace("_", " "))
        raise JobError(f"A {name} has one tooth, not {teeth}: correct the form or the count.")
    bar_m, bore_m = values.get("cutter.diameter"), values.get("cut.work_diameter")
    if form == "boring_bar" and bar_m is not None and bore_m is not None and bar_m >= bore_m:
        raise JobError(
            f"A bar of {show_length(bar_m)} does not go into a bore of {show_length(bore_m)}: "
            "correct one of the two."
        )
    diameter_m, collar_m = values.get("cutter.diameter"), values.get("cutter.collar_diameter")
    if diameter_m is not None and collar_m is not None and collar_m >= diameter_m:
        raise JobError(
            f"Collars of {show_length(collar_m)} are no smaller than the cutter of "
            f"{show_length(diameter_m)}: correct one of the two."
        )


def part_of(values: Statement, section: str) -> Any:
    """One part of the job (Cutter, Cut, Machine or Take) from a read statement."""
    stated = {}
    for name, value in values.items():
        own, _, key = name.partition(".")
        if own == section:
            stated[field_of(section, key).attribute] = value
    return _MAKE[section](**stated)


def build_job(stated: Mapping[str, object]) -> Job:
    """A validated Job from option texts, e.g. ``{"cutter.teeth": "48", "cut.speed": "57"}``.

    Raises JobError.
    """
    return job_of(read_statement(stated))


def merge_job(card: Job | None, overrides: Mapping[str, object]) -> Job:
    """A Job in which ``overrides`` (option texts, None = not given) win over the card's.

    Raises JobError.
    """
    below = statement_of(card) if card is not None else {}
    return job_of(merge_statements(below, read_statement(overrides)))


def statement_of(job: Job) -> Statement:
    """The read statement that makes this job: every value that is not its default."""
    values: Statement = {}
    for section, known in SECTIONS.items():
        part = getattr(job, section)
        defaults = {each.name: each.default for each in fields(part)}
        for each in known:
            value = getattr(part, each.attribute)
            if value != defaults[each.attribute]:
                values[f"{section}.{each.key}"] = value
    return values


def job_from_plain(plain: Mapping[str, object]) -> Job:
    """The Job that ``chatter.plain.to_plain`` made; checked like any other statement.

    Raises
    ------
    JobError
        Unknown names, wrong types, values out of bounds.
    """
    values: Statement = {}
    for section, part in plain.items():
        if section not in SECTIONS or not isinstance(part, Mapping):
            raise JobError(f"'{echo(section)}' is no part of a job: see {list(SECTIONS)}.")
        known = {each.attribute: each for each in SECTIONS[section]}
        for attribute, value in part.items():
            if attribute not in known:
                raise JobError(f"'{echo(attribute)}' is no part of the job's {section}: remove it.")
            if value is not None and value != [] and value != ():
                each = known[attribute]
                values[f"{section}.{each.key}"] = each.accept(value)
    return job_of(values)
