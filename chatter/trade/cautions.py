"""Cautions, chosen by situation from the one reviewed table (``cautions.toml``)."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib.resources import files

from chatter.job.cut import Job
from chatter.job.show import show_spindle_speed

SITUATIONS = ("listen", "plan", "tap", "report", "surface")
_CONDITIONS = ("material", "form", "direction", "backlash", "marked_speed", "reground")


def cautions(job: Job | None, situation: str) -> tuple[str, ...]:
    """The cautions to show, in order.

    Parameters
    ----------
    job : Job or None
        What is stated; without it only the cautions that always hold are given.
    situation : str
        One of ``SITUATIONS``.

    Raises
    ------
    ValueError
        The situation is not one of these (a mistake of the caller, not of the user).
    """
    if situation not in SITUATIONS:
        raise ValueError(f"situation {situation!r} is not one of {SITUATIONS}")
    facts = _facts(job)
    marked = job.cutter.max_rev_min if job is not None else None
    shown = show_spindle_speed(marked) if marked is not None else ""
    return tuple(
        row["text"].replace("{marked_speed}", shown)
        for row in caution_table()
        if situation in row["situations"] and _holds(row, facts)
    )


def _holds(row: dict, facts: dict[str, str] | None) -> bool:
    conditions = [name for name in _CONDITIONS if name in row]
    if facts is None:
        return not conditions
    return all(facts[name] in row[name] for name in conditions)


def _facts(job: Job | None) -> dict[str, str] | None:
    """Each condition's value in this job; "unknown" for what is not stated."""
    if job is None:
        return None
    return {
        "material": job.cut.material or "unknown",
        "form": job.cutter.form or "unknown",
        "direction": job.cut.direction or "unknown",
        "backlash": _yes_no(job.machine.table_backlash),
        "marked_speed": "unknown" if job.cutter.max_rev_min is None else "yes",
        "reground": _yes_no(job.cutter.reground),
    }


def _yes_no(stated: bool | None) -> str:
    return {True: "yes", False: "no", None: "unknown"}[stated]


@cache
def caution_table() -> tuple[dict, ...]:
    """All rows of the table, for review and tests."""
    text = files("chatter.trade").joinpath("cautions.toml").read_text("utf-8")
    return tuple(tomllib.loads(text)["caution"])
