"""The pieces of evidence: each measure put into shop English, with what it adds.

The pieces stand in ``evidence.toml``: those of a pass, and those of its likeliest line of
chatter.  What a value is worth stands in ``model.json``; what is shown is exactly what the
trees add for it (``trees.Forest.contributions``).
"""

from __future__ import annotations

import math
import re
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from chatter.findings import Evidence
from chatter.listening.judging import FAULTS
from chatter.listening.pass_case import WeighedLine
from chatter.listening.trees import forest

_SLIGHT = 0.1  # log odds below this say nothing


@dataclass(frozen=True)
class Piece:
    """One piece of evidence.

    Attributes
    ----------
    name : str
        The measure it reads, and its key in the model and in the findings.
    title, unit : str
    expected : str
        What a normal cut or chance gives.
    says, says_below : str
        Shop English for a value above ``limit``, and up to it.
    limit : float
    """

    name: str
    title: str
    unit: str
    expected: str
    says: str
    says_below: str
    limit: float

    def value(self, measures: dict[str, float]) -> float:
        """The measure this piece reads; NaN when there is none."""
        return measures.get(self.name, math.nan)

    def sentence(self, value: float) -> str:
        """Shop English with the number."""
        text = self.says if value > self.limit else self.says_below
        shown = text.format(v=value, pct=100.0 * value, hz=700.0 * 2.0 ** min(value, 9.0))
        return re.sub(r"-(?=\d)", "\N{MINUS SIGN}", shown)


@cache
def pieces(kind: str = "piece") -> tuple[Piece, ...]:
    """All pieces of a pass ("piece") or of a line ("line"), in the order of the table."""
    text = files("chatter.listening").joinpath("evidence.toml").read_text("utf-8")
    return tuple(_piece(row) for row in tomllib.loads(text)[kind])


def weigh(case: dict[str, float], line: WeighedLine | None, verdict: str) -> tuple[Evidence, ...]:
    """Every piece of evidence with what it speaks for or (negative weight) against.

    A piece is shown for the verdict's own cause where it counts there, else for the cause
    it counts most for.  What counts for the verdict's cause comes first, then the weightiest.

    Parameters
    ----------
    case : dict
        What the models of the pass were asked about.
    line : WeighedLine or None
        The likeliest line of chatter; its pieces speak for or against that line.
    verdict : str
    """
    worth = {cause: forest(cause).contributions(case) for cause in FAULTS}
    # what says "something is being cut" speaks against hearing the machine only
    worth["machine_only"] = {n: -v for n, v in forest("cutting").contributions(case).items()}
    evidence = []
    for piece in pieces():
        value = piece.value(case)
        if not math.isnan(value):
            added = {
                cause: contributions.get(piece.name, 0.0) for cause, contributions in worth.items()
            }
            cause = max(added, key=lambda name: abs(added[name]))
            if abs(added.get(verdict, 0.0)) >= _SLIGHT:
                cause = verdict
            evidence.append(_evidence(piece, piece.name, value, cause, added[cause]))
    if line is not None:
        added = forest("line").contributions(line.case)
        for piece in pieces("line"):
            value = piece.value(line.case)
            if not math.isnan(value):
                name = f"line_{piece.name}"
                evidence.append(
                    _evidence(piece, name, value, "chatter", added.get(piece.name, 0.0))
                )
    return tuple(sorted(evidence, key=lambda e: (e.speaks_for != verdict, -abs(e.weight))))


def _evidence(piece: Piece, name: str, value: float, cause: str, weight: float) -> Evidence:
    tells = abs(weight) >= _SLIGHT
    return Evidence(
        name=name,
        title=piece.title,
        value=value,
        unit=piece.unit,
        expected=piece.expected,
        speaks_for=cause if tells else None,
        weight=weight if tells else 0.0,
        sentence=piece.sentence(value),
    )


def _piece(row: dict[str, Any]) -> Piece:
    return Piece(
        name=row["name"],
        title=row["title"],
        unit=row["unit"],
        expected=row["expected"],
        says=row["says"],
        says_below=row.get("says_below", row["says"]),
        limit=row.get("limit", -math.inf),
    )
