"""Matching: which found pass is which true pass."""

from __future__ import annotations

from dataclasses import dataclass

from chatter.lab.evaluate.outcome import FoundPass, RecordingOutcome
from chatter.lab.simulate import TruePass

#: Overlap over union from which a found pass is a true one.  A third lets a pass that
#: started while the phone was being put down still count as found.
MATCH = 1.0 / 3.0
#: Share of a found pass inside true passes from which it is a piece (or a fusion) of
#: them rather than something heard where nothing was cut.
PIECE = 0.5


@dataclass(frozen=True)
class Matching:
    """Pairs, and what is left over on either side."""

    pairs: tuple[tuple[TruePass, FoundPass], ...]
    missed: tuple[TruePass, ...]
    pieces: tuple[FoundPass, ...]  # more than half inside true passes, but no match
    false: tuple[FoundPass, ...]  # heard where nothing was cut


def match_passes(outcome: RecordingOutcome) -> Matching:
    """Match passes one to one, the best overlap first.

    Parameters
    ----------
    outcome : RecordingOutcome

    Returns
    -------
    Matching
    """
    overlaps = sorted(
        (
            (_over_union(true, found), t, f)
            for t, true in enumerate(outcome.truth)
            for f, found in enumerate(outcome.found)
        ),
        reverse=True,
    )
    true_of: dict[int, int] = {}
    found_of: dict[int, int] = {}
    for overlap, t, f in overlaps:
        if overlap >= MATCH and t not in found_of and f not in true_of:
            true_of[f], found_of[t] = t, f
    rest = [one for f, one in enumerate(outcome.found) if f not in true_of]
    inside = {id(one): _inside(one, outcome.truth) for one in rest}
    return Matching(
        pairs=tuple((outcome.truth[t], outcome.found[f]) for t, f in sorted(found_of.items())),
        missed=tuple(one for t, one in enumerate(outcome.truth) if t not in found_of),
        pieces=tuple(one for one in rest if inside[id(one)] >= PIECE),
        false=tuple(one for one in rest if inside[id(one)] < PIECE),
    )


def _over_union(true: TruePass, found: FoundPass) -> float:
    shared = min(true.end_s, found.end_s) - max(true.start_s, found.start_s)
    union = max(true.end_s, found.end_s) - min(true.start_s, found.start_s)
    return max(shared, 0.0) / union if union > 0 else 0.0


def _inside(found: FoundPass, truth: tuple[TruePass, ...]) -> float:
    shared = sum(
        max(0.0, min(one.end_s, found.end_s) - max(one.start_s, found.start_s)) for one in truth
    )
    return shared / max(found.end_s - found.start_s, 1e-9)
