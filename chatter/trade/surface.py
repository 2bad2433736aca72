"""What a cut surface shows: a fixed small vocabulary, each sign with what it says.

The table is ``surface.toml``; the logbook stores signs by name, and remedies and the run-in
read what they say of alignment.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from chatter.findings import CAUSES
from chatter.job.words import choose_word

GROUPS = ("lay", "drag", "burr", "finish", "shape")
ALIGNMENTS = ("square", "out_of_square", "not_told")


@dataclass(frozen=True)
class Sign:
    """One row of the table; see the head of ``surface.toml`` for the meaning of each."""

    name: str
    title: str
    group: str  # one of GROUPS
    also: tuple[str, ...]
    says: str
    alignment: str  # one of ALIGNMENTS
    check: str
    source: str
    speaks_for: str | None = None  # one of chatter.findings.CAUSES


@cache
def signs() -> tuple[Sign, ...]:
    """All rows of the table, in order; ValueError when the table does not hang together."""
    text = files("chatter.trade").joinpath("surface.toml").read_text(encoding="utf-8")
    rows = tuple(Sign(**{**row, "also": tuple(row["also"])}) for row in tomllib.loads(text)["sign"])
    words = [word for each in rows for word in (each.name, *each.also)]
    if len(words) != len(set(words)):
        raise ValueError("surface.toml: two signs share a name or another word")
    for each in rows:
        if (
            each.group not in GROUPS
            or each.alignment not in ALIGNMENTS
            or each.speaks_for not in (None, *CAUSES)
        ):
            raise ValueError(f"surface.toml, {each.name}: unknown group, alignment or verdict")
    return rows


def sign_of(words: str) -> Sign:
    """The sign that some words name.

    Raises
    ------
    JobError
        With the nearest spelling.
    """
    table = signs()
    also = {word: each.name for each in table for word in each.also}
    name = choose_word(words, "sign of a surface", [each.name for each in table], also)
    return next(each for each in table if each.name == name)


def alignment(names: Iterable[str]) -> str:
    """What some signs together say of the alignment of spindle and table.

    Parameters
    ----------
    names : iterable of str
        Names of signs, as the logbook stores them.

    Returns
    -------
    str
        "square" or "out_of_square" when at least one sign says so and none the opposite;
        "divided" when they contradict each other; "not_told" else.
    """
    known = {each.name: each.alignment for each in signs()}
    speaking = {known[name] for name in names} - {"not_told"}
    if len(speaking) > 1:
        return "divided"
    return speaking.pop() if speaking else "not_told"
