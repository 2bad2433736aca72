"""Estimate: two sides' features to one difference per family, with its standard error."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from chatter.comparing.contrast import SideFeatures
from chatter.comparing.families import Between, Family
from chatter.comparing.features import NAMES

if TYPE_CHECKING:
    from collections.abc import Sequence


@dataclass(frozen=True)
class Estimate:
    """Difference of one family, second side less first.

    Attributes
    ----------
    difference_db, error_db : float
        With the between-take term.
    within_db : float
        Standard error that the drawings of revolutions alone give.
    freedom : float
        Of Student's t.
    """

    difference_db: float
    error_db: float
    within_db: float
    freedom: float


def feature_places(family: Family) -> list[int]:
    """Where a family's features stand."""
    return [NAMES.index(one) for one in family.features]


def estimate(
    first: SideFeatures, second: SideFeatures, family: Family, known: Between
) -> Estimate | None:
    """Difference of one family; None when a side has no take that holds it.

    Features that answer to the same cause are weighed together by generalised least squares:
    what is uncertain, in this pair or between takes at large, counts less.  With several
    takes a side, their own scatter about their mean corrects the between-take term.  A feature
    that one side lacks altogether (nothing above 2400 Hz in a telephone's coder) is left out;
    one that only some takes lack (the teeth could not be parted) is left out, or those takes
    are, whichever says more.
    """
    sides = (first, second)
    have = [np.isfinite(side.value[:, feature_places(family)]) for side in sides]
    some = np.all([one.any(axis=0) for one in have], axis=0)
    every = np.all([one.all(axis=0) for one in have], axis=0)
    tried = (_estimate(sides, family, known, np.flatnonzero(held)) for held in (some, every))
    estimates = [one for one in tried if one is not None]
    return min(estimates, key=lambda one: one.error_db, default=None)


def _estimate(
    sides: tuple[SideFeatures, SideFeatures], family: Family, known: Between, held: np.ndarray
) -> Estimate | None:
    """From the takes that hold all of some features, given by their places in the family."""
    at = [feature_places(family)[i] for i in held]
    direction, between = known.direction[held], known.covariance[np.ix_(held, held)]
    if not direction.any() or not all(side.have(at).any() for side in sides):
        return None
    taken = []
    for side in sides:
        have = side.have(at)
        taken.append((side.value[have][:, at], side.within[have][:, at][:, :, at]))
    ridge = 1e-6 * np.eye(len(at))
    one_take = [within.mean(axis=0) + between + ridge for _, within in taken]
    total = sum(v / len(x) for v, (x, _) in zip(one_take, taken, strict=True))
    precision = np.linalg.inv(total)
    information = float(direction @ precision @ direction)
    weights = precision @ direction / information
    means = [x.mean(axis=0) for x, _ in taken]
    within = sum(w.mean(axis=0) / len(x) for x, w in taken)
    stretch, freedom = _scatter(taken, one_take, weights, known.freedom)
    return Estimate(
        difference_db=float(weights @ (means[1] - means[0])),
        error_db=float(stretch / np.sqrt(information)),
        within_db=float(np.sqrt(weights @ within @ weights)),
        freedom=freedom,
    )


def _scatter(
    taken: Sequence[tuple[np.ndarray, np.ndarray]],
    one_take: Sequence[np.ndarray],
    weights: np.ndarray,
    freedom: float,
) -> tuple[float, float]:
    """How much more the takes of a side scatter than expected, and the degrees of freedom.

    The expected variance counts as ``freedom`` earlier takes, the observed one as the takes
    there are (a moderated variance, as in G. K. Smyth, Stat. Appl. Genet. Mol. Biol. 3, 2004,
    art. 3; from memory).
    """
    squares, count = 0.0, 0
    for (x, _), expected in zip(taken, one_take, strict=True):
        value = x @ weights
        squares += float(((value - value.mean()) ** 2).sum() / (weights @ expected @ weights))
        count += len(value) - 1
    if count == 0:
        return 1.0, freedom
    return float(np.sqrt((freedom + squares) / (freedom + count))), freedom + count
