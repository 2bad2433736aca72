"""Decide: what is shown, what is not shown, and what cannot be told; ranks with honest ties."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import numpy as np

from chatter.comparing.contrast import SideFeatures
from chatter.comparing.estimate import Estimate, estimate
from chatter.comparing.families import FAMILIES, Between, Family, between_terms, widening
from chatter.comparing.features import NAMES
from chatter.comparing.results import Difference, Ranking, RankPlace
from chatter.comparing.words import sentence

#: A difference smaller than this is of no use in a shop, however sure.
LEAST_DB = 1.0
#: Rubbing swells below 850 Hz by a quarter of what it does above (measured on development pairs
#: whose second take rubs louder); runout swells everything alike.
DEEP = 0.6
#: Family -> features, and their mean below which there is next to nothing of it [dB]: noise
#: without any swelling gives 1 to 1.5 dB between peak and trough, and tones of 3 dB.
FAINT_DB = {
    "rubbing": (("swell_mid", "swell_high"), 2.0),
    "squeal": (("squeal",), 4.0),
    "chatter": (("chatter",), 4.0),
}
#: Chatter that listening gives at least this chance is never "none heard".
POSSIBLE = 0.15
#: With an interval wider than this to either side nothing worth knowing is excluded.
WIDEST_DB = 15.0
#: Half a 95 % interval over the standard error, of a normal distribution.
_SCALE_REACH = 1.96


def differences(
    names: Sequence[str],
    sides: Sequence[SideFeatures],
    *,
    tones: dict[str, tuple[float, ...]],
    alike: bool,
    chatter_possible: Sequence[float] = (),
) -> tuple[Difference, ...]:
    """All families of all pairs of cutters.

    Parameters
    ----------
    names : sequence of str
    sides : sequence of SideFeatures
    tones : dict
        Frequencies of chatter ("free") and of squeal that were found in any take.
    alike : bool
        Whether all recordings are of one sort, as one phone makes them.
    chatter_possible : sequence of float, optional
        Of each cutter, the greatest chance that listening gives chatter.

    Returns
    -------
    tuple of Difference
        The intervals hold all together with a chance of 95 %, so that a difference where
        there is none is claimed in at most one of twenty comparisons.
    """
    pairs = list(combinations(range(len(sides)), 2))
    pairwise = {
        (i, j, family.name): estimate(sides[i], sides[j], family, between_terms(alike)[family.name])
        for i, j in pairs
        for family in FAMILIES
    }
    return tuple(
        _difference(
            family,
            (names[i], names[j]),
            pairwise[i, j, family.name],
            between_terms(alike)[family.name],
            len(pairs),
            absent=_absent(family, tones) and sides[i].takes > 0 and sides[j].takes > 0,
            possible=_possible(family, (i, j), names, chatter_possible),
            missing=next((names[k] for k in (i, j) if sides[k].takes == 0), None),
            faint=_faint(family, sides[j]),
            deep=family.name == "rubbing" and _deep(sides[i], sides[j]),
        )
        for i, j in pairs
        for family in FAMILIES
    )


def _absent(family: Family, tones: dict[str, tuple[float, ...]]) -> bool:
    """Whether no take holds any tone of this family."""
    key = {"chatter": "free", "squeal": "squeal"}.get(family.name)
    return key is not None and not tones[key]


def _possible(
    family: Family, pair: tuple[int, int], names: Sequence[str], chances: Sequence[float]
) -> tuple[str, float] | None:
    """The cutter of a pair with which chatter is likeliest, where that is worth a word."""
    if family.name != "chatter" or not chances:
        return None
    most = max(pair, key=lambda k: chances[k])
    return (names[most], chances[most]) if chances[most] >= POSSIBLE else None


def _faint(family: Family, side: SideFeatures) -> bool:
    """Whether a side has so little of a family that chance alone would give as much."""
    asked = FAINT_DB.get(family.name)
    if asked is None or side.takes == 0:
        return False
    features, least = asked
    value = side.value[:, [NAMES.index(one) for one in features]].mean()
    return bool(value < least)


def _deep(first: SideFeatures, second: SideFeatures) -> bool:
    """Whether the cutting itself swells with the turn as much as the hiss above it does."""
    if not (first.takes and second.takes):
        return False
    change = second.value.mean(axis=0) - first.value.mean(axis=0)
    low, mid, high = (change[NAMES.index(f"swell_{one}")] for one in ("low", "mid", "high"))
    return bool(low / (0.5 * (mid + high)) > DEEP) if mid + high else False


def _difference(
    family: Family,
    names: tuple[str, str],
    estimated: Estimate | None,
    known: Between,
    pairs: int,
    *,
    absent: bool,
    possible: tuple[str, float] | None,
    missing: str | None,
    faint: bool,
    deep: bool,
) -> Difference:
    if estimated is None:
        said = "not_shown" if absent and possible is None else "cannot_tell"
        words = sentence(
            family, names, said, None, None, absent=absent, possible=possible, missing=missing
        )
        return Difference(family.name, family.title, *names, said, None, None, None, None, words)
    half = estimated.error_db * known.reach * widening(estimated.freedom, pairs)
    value = estimated.difference_db
    if abs(value) > max(half, LEAST_DB):
        said = "shown"
    elif half > WIDEST_DB:
        said = "cannot_tell"
    else:
        said = "not_shown"
    # How many dB it is rests on a scale that differs from plate to plate; that it is more, or
    # less, does not.
    wide = float(np.hypot(half, _SCALE_REACH * known.scale * value))
    half = min(wide, abs(value)) if said == "shown" else wide
    return Difference(
        family.name,
        family.title,
        *names,
        said,
        value,
        value - half,
        value + half,
        estimated.within_db,
        sentence(family, names, said, value, half, faint=faint, deep=deep),
    )


def rankings(names: Sequence[str], differences: Sequence[Difference]) -> tuple[Ranking, ...]:
    """Cutters in order by each family; only a shown difference parts two places."""
    ranked = []
    for family in FAMILIES:
        mine = [difference for difference in differences if difference.family == family.name]
        if any(difference.difference_db is None for difference in mine):
            continue
        re_first = {names[0]: (0.0, 0.0, 0.0)} | {
            difference.second: (difference.difference_db, difference.low_db, difference.high_db)
            for difference in mine
            if difference.first == names[0]
        }
        below = dict.fromkeys(names, 0)  # how many are shown to have less
        for difference in mine:
            if difference.said == "shown":
                below[
                    difference.second if (difference.difference_db or 0.0) > 0 else difference.first
                ] += 1
        order = sorted(names, key=lambda n: (below[n], re_first[n][0]))
        places = tuple(RankPlace(n, 1 + below[n], *re_first[n]) for n in order)
        ranked.append(Ranking(family.name, family.title, places))
    return tuple(ranked)
