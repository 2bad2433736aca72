"""The pieces of evidence: each measure put into shop English.

The pieces stand in ``evidence.toml``; what a value is worth towards each cause stands in
``model.json``.
"""

from __future__ import annotations

import math
import re
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files


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
def pieces() -> tuple[Piece, ...]:
    """All pieces, in the order of the table."""
    text = files("chatter.listening").joinpath("evidence.toml").read_text("utf-8")
    return tuple(_piece(row) for row in tomllib.loads(text)["piece"])


def _piece(row: dict) -> Piece:
    return Piece(
        name=row["name"],
        title=row["title"],
        unit=row["unit"],
        expected=row["expected"],
        says=row["says"],
        says_below=row.get("says_below", row["says"]),
        limit=row.get("limit", -math.inf),
    )
