"""How far listeners agree with each other and with the program, chance taken off."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from chatter.lab.evaluate.labelled.units import Unit
from chatter.logbook.collection import NOT_SURE

PROGRAM = "the program"


@dataclass(frozen=True)
class Agreement:
    """Two listeners on the same recordings or passes."""

    one: str
    other: str
    both: int  # what both gave an answer to
    same: int
    kappa: float  # 1 is full agreement, 0 that of chance
    low: float  # 95 %
    high: float


def kappa(pairs: Sequence[tuple[str, str]]) -> tuple[float, float, float]:
    """Cohen's kappa with its 95 % interval.

    Parameters
    ----------
    pairs : sequence of (str, str)
        What one and the other said of each thing.

    Returns
    -------
    value, low, high : float
        NaN where it is undefined: nothing said, or everybody always said the same word.

    Notes
    -----
    J. Cohen: A coefficient of agreement for nominal scales. Educ. Psychol. Meas. 20 (1960)
    37-46; variance of J. L. Fleiss, J. Cohen, B. S. Everitt: Large sample standard errors of
    kappa and weighted kappa. Psychol. Bull. 72 (1969) 323-327, eq. 8.  From memory; checked
    against another library's kappa and against drawing again.
    """
    words = sorted({word for pair in pairs for word in pair})
    n = len(pairs)
    if not n:
        return math.nan, math.nan, math.nan
    p = np.zeros((len(words), len(words)))
    for one, other in pairs:
        p[words.index(one), words.index(other)] += 1.0 / n
    row, column = p.sum(axis=1), p.sum(axis=0)
    same, chance = float(np.trace(p)), float(row @ column)
    if chance >= 1.0 - 1e-12:
        return math.nan, math.nan, math.nan
    value = (same - chance) / (1.0 - chance)
    diagonal = np.diag(p) @ (1.0 - (row + column) * (1.0 - value)) ** 2
    square = (row[None, :] + column[:, None]) ** 2  # row j with column i, as in eq. 8
    off = (1.0 - value) ** 2 * float((p * square).sum() - np.diag(p) @ np.diag(square))
    rest = (value - chance * (1.0 - value)) ** 2
    half = 1.96 * math.sqrt(max(diagonal + off - rest, 0.0) / n) / (1.0 - chance)
    return value, max(-1.0, value - half), min(1.0, value + half)


def agreements(units: Sequence[Unit]) -> tuple[Agreement, ...]:
    """Every pair of listeners, and the program against each.

    "Not sure" and "can't tell" are no answers.
    """
    said: dict[str, dict[int, str]] = {}
    for i, unit in enumerate(units):
        for who, label in unit.said.by:
            if label not in (NOT_SURE, "cannot_tell"):
                said.setdefault(who or "no initials", {})[i] = label
        if unit.answered:
            said.setdefault(PROGRAM, {})[i] = unit.verdict
    names = sorted(set(said) - {PROGRAM}) + ([PROGRAM] if PROGRAM in said else [])
    made = []
    for one, other in combinations(names, 2):
        pairs = [(said[one][i], said[other][i]) for i in said[one].keys() & said[other].keys()]
        if pairs:
            same = sum(a == b for a, b in pairs)
            made.append(Agreement(one, other, len(pairs), same, *kappa(pairs)))
    return tuple(made)
