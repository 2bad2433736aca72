"""Fit: what takes of one and the same cut differ by, from pairs of such takes."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

import chatter.comparing
from chatter.comparing.estimate import estimate, feature_places
from chatter.comparing.families import FAMILIES, FAMILY_WISE, Between, Family
from chatter.lab.pairs.draw import RISE_DB
from chatter.lab.pairs.run import PairFeatures

#: Where the fitted terms stand.
PATH = Path(chatter.comparing.__file__).with_name("between.json")
#: A feature differs between takes by this much at least [dB]: no phone is better known.
LEAST_DB = 0.5
#: A change of a feature against rubbing, in pairs so few, is taken for chance.
_SIGNS = {"swell_mid": 1, "swell_high": 1, "tooth_high": -1}
#: Tails heavier than this have no variance, lighter ones cannot be told from the normal.
_FREEDOM = (3.0, 30.0)
#: Degrees of freedom of the tails while the covariance is found, and rounds until it stands.
_TAILS, _ROUNDS = 3.0, 40
#: Of the pairs of the same cut at most so many may be claimed to differ while fitting: less than
#: what is promised, as phones will be met that none of these pairs had.
_CLAIMED = 0.04
#: How the families share that chance before their reaches are made to hold together: rubbing is
#: what cutters are compared for most.
_CHANCE = {"rubbing": 0.05}
_CHANCE_ELSE = 0.005
#: Of the 5 % in all, rubbing's part where differences are normal.
_NORMAL_RUBBING = 0.03


def fit(identical: Sequence[PairFeatures], rubbing: Sequence[PairFeatures]) -> dict[str, Between]:
    """The between-take terms of all families.

    Parameters
    ----------
    identical : sequence of PairFeatures
        Pairs of takes of the same cut.
    rubbing : sequence of PairFeatures
        Pairs of which the second rubs louder by ``RISE_DB``: they say in which direction,
        and by how much per dB, the features of that family go.

    Returns
    -------
    dict
        By family.
    """
    terms = {one.name: _fit_family(one, identical, rubbing) for one in FAMILIES}
    ratios = _ratios(identical, terms)
    for name, column in ratios.items():
        scale, freedom = student(column[np.isfinite(column)])
        chance = _CHANCE.get(name, _CHANCE_ELSE)
        terms[name] = replace(
            terms[name], reach=scale * _quantile(freedom, chance), freedom=freedom
        )
    # The greatest of all families, pair by pair: what counts is that any of them is claimed
    # (P. H. Westfall, S. S. Young, Resampling-Based Multiple Testing, 1993; from memory).
    over = np.stack([np.abs(column) / terms[name].reach for name, column in ratios.items()])
    greatest = np.nanmax(over, axis=0)
    together = float(np.quantile(greatest, 1.0 - _CLAIMED))
    terms = {
        name: replace(one, reach=max(one.reach * together, _quantile(np.inf, _floor(name))))
        for name, one in terms.items()
    }
    known = terms["rubbing"]
    return terms | {"rubbing": replace(known, scale=_scale(rubbing, known))}


def _scale(rubbing: Sequence[PairFeatures], known: Between) -> float:
    """Relative standard error of the scale of rubbing.

    What the estimates of one and the same rise scatter by beyond their own errors; medians, as
    a few pairs lie far out.
    """
    family = next(one for one in FAMILIES if one.name == "rubbing")
    found = [estimate(*one.sides, family, known) for one in _usable(rubbing)]
    value = np.array([one.difference_db for one in found if one is not None])
    error = np.array([one.error_db for one in found if one is not None])
    middle = float(np.median(value))
    spread = 1.4826 * float(np.median(np.abs(value - middle)))
    beyond = max(spread**2 - float(np.median(error**2)), 0.0)
    return float(np.sqrt(beyond)) / max(middle, 1.0)


def _floor(name: str) -> float:
    """Chance a family may take if its differences were normal; over all families 5 %.

    Most pairs lie closer together than the normal distribution has it and a few much further
    off; a reach from the data alone would then be too short for ordinary pairs.
    """
    if name == "rubbing":
        return _NORMAL_RUBBING
    return (FAMILY_WISE - _NORMAL_RUBBING) / (len(FAMILIES) - 1)


def no_shorter(other: dict[str, Between], alike: dict[str, Between]) -> dict[str, Between]:
    """Terms for different phones whose reaches are no shorter than those for one phone.

    Tails are known from few pairs, and another phone cannot make them lighter.
    """
    return {
        name: replace(one, reach=max(one.reach, alike[name].reach)) for name, one in other.items()
    }


def _ratios(identical, terms: dict[str, Between]) -> dict[str, np.ndarray]:
    """Differences over their standard errors by family, NaN where there is none."""
    usable = _usable(identical)
    found = {}
    for family in FAMILIES:
        column = np.full(len(usable), np.nan)
        for at, one in enumerate(usable):
            got = estimate(*one.sides, family, terms[family.name])
            if got is not None:
                column[at] = got.difference_db / got.error_db
        found[family.name] = column
    return found


def _quantile(freedom: float, chance: float) -> float:
    from scipy.special import ndtri, stdtrit

    if np.isinf(freedom):
        return float(ndtri(1.0 - chance / 2.0))
    return float(stdtrit(freedom, 1.0 - chance / 2.0))


def _fit_family(family: Family, identical, rubbing) -> Between:
    at = feature_places(family)
    differences, within = _together(identical, at)
    covariance = _between(differences, within)
    direction = np.ones(len(at))
    if family.name == "rubbing":
        risen, _ = _together(rubbing, at)
        sign = np.array([_SIGNS[one] for one in family.features])
        direction = sign * np.maximum(sign * risen.mean(axis=0) / RISE_DB, 0.0)
    return Between(direction, covariance, 1.0, _FREEDOM[1])


def _between(differences: np.ndarray, within: np.ndarray) -> np.ndarray:
    """Covariance between takes, of one take, shape (k, k).

    Pairs far out count less, as in the maximum likelihood of a multivariate t (K. L. Lange,
    R. J. A. Little, J. M. G. Taylor, J. Am. Stat. Assoc. 84, 1989, 881; from memory): what the
    ordinary pair does sets the scale, and the reach makes up for the others.
    """
    n, k = differences.shape
    found = np.eye(k)
    for _ in range(_ROUNDS):
        total = 2.0 * found + within
        far = np.einsum("ni,nij,nj->n", differences, np.linalg.inv(total), differences)
        weight = (_TAILS + k) / (_TAILS + far)
        scatter = np.einsum("n,ni,nj->ij", weight, differences, differences) / n
        value, vector = np.linalg.eigh((scatter - within.mean(axis=0)) / 2.0)
        found = (vector * np.maximum(value, LEAST_DB**2)) @ vector.T
    return found


def student(ratio: np.ndarray) -> tuple[float, float]:
    """Scale and degrees of freedom of Student's t about zero, by maximum likelihood."""
    best = max(np.geomspace(*_FREEDOM, 25), key=lambda v: _likelihood(ratio, v)[0])
    return _likelihood(ratio, best)[1], float(best)


def _likelihood(ratio: np.ndarray, freedom: float) -> tuple[float, float]:
    """Greatest log likelihood over the scale, and that scale."""
    from scipy.stats import t

    scales = np.geomspace(0.2, 3.0, 80) * max(float(np.sqrt(np.mean(ratio**2))), 1e-6)
    values = [float(t.logpdf(ratio / s, freedom).sum() - ratio.size * np.log(s)) for s in scales]
    best = int(np.argmax(values))
    return values[best], float(scales[best])


def _usable(pairs: Sequence[PairFeatures]) -> list[PairFeatures]:
    return [one for one in pairs if one.sides is not None]


def _together(pairs: Sequence[PairFeatures], at: list[int]) -> tuple[np.ndarray, np.ndarray]:
    """Differences (n, k) and the sums of their covariances within the takes (n, k, k)."""
    differences, within = [], []
    for one in _usable(pairs):
        first, second = one.sides
        if not (first.have(at).all() and second.have(at).all()):
            continue
        differences.append(second.value[0, at] - first.value[0, at])
        within.append(sum(side.within[0][np.ix_(at, at)] for side in one.sides))
    return np.array(differences).reshape(-1, len(at)), np.array(within).reshape(
        -1, len(at), len(at)
    )


def terms_json(
    terms: dict[str, dict[str, Between]], counts: dict[str, dict[str, int]], code: str
) -> str:
    """The text of ``between.json``.

    Parameters
    ----------
    terms : dict
        "other" (different phones) and "alike" (one phone) -> terms by family.
    counts : dict
        The same -> how many pairs of each sort they rest on.
    code : str
        Digest of the code that measured them.
    """
    written = {
        phones: {
            name: {
                "direction": [round(float(x), 4) for x in one.direction],
                "covariance": [[round(float(x), 4) for x in row] for row in one.covariance],
                "reach": round(one.reach, 4),
                "freedom": round(one.freedom, 2),
                "scale": round(one.scale, 3),
            }
            for name, one in families.items()
        }
        for phones, families in terms.items()
    }
    how = "python -m chatter.lab.pairs --fit --write; simulated pairs, development seeds"
    held = {"made_by": how, "code": code, "pairs": counts, "terms": written}
    return json.dumps(held, indent=1) + "\n"
