"""Table: rates with their intervals, as printed by ``python -m chatter.lab.pairs``."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from chatter.lab.evaluate.intervals import wilson
from chatter.lab.pairs.draw import RISE_DB
from chatter.lab.pairs.run import PairOutcome


def with_share(hits: int, total: int) -> str:
    """A share with its Wilson interval: "3 of 200, 1.5 % (0.5 to 4.3)"."""
    if total == 0:
        return "none"
    low, high = wilson(hits, total)
    return f"{hits} of {total}, {100 * hits / total:.1f} % ({100 * low:.1f} to {100 * high:.1f})"


def identical_lines(found: Sequence[PairOutcome]) -> list[str]:
    """What was said of pairs of takes of the same cut."""
    claimed = [one for one in found if one.verdict == "difference"]
    told = [one for one in found if one.verdict != "cannot_tell"]
    clean = [one for one in found if not one.processed]
    by = Counter(name for one in claimed for name in one.shown)
    kinds = Counter(one.kind for one in claimed)
    lines = [
        f"The same cut, recorded twice: {len(found)} pairs",
        f"  any difference claimed           {with_share(len(claimed), len(found))}",
        f"  ... of those that could be told  {with_share(len(claimed), len(told))}",
        "  ... phones without automatic gain or noise suppression",
        f"                                   "
        f"{with_share(sum(one.verdict == 'difference' for one in clean), len(clean))}",
        f"  can't tell                       {with_share(len(found) - len(told), len(found))}",
    ]
    if by:
        lines.append("  claimed: " + ", ".join(f"{name} {n}" for name, n in by.most_common()))
        lines.append("  in: " + ", ".join(f"{name} {n}" for name, n in kinds.most_common()))
    return lines


def rubbing_lines(found: Sequence[PairOutcome]) -> list[str]:
    """What was said of pairs of which the second rubs louder."""
    clean = [one for one in found if not one.processed]
    wrong = sum("rubbing" in one.shown and not one.found for one in found)
    values = sorted(one.rubbing_db for one in found if one.rubbing_db is not None)
    covered = [one for one in found if one.rubbing_db is not None]
    inside = sum(abs(one.rubbing_db - RISE_DB) <= one.rubbing_half_db for one in covered)
    return [
        f"The second rubs {RISE_DB:g} dB louder: {len(found)} pairs",
        f"  more rubbing shown               {with_share(sum(o.found for o in found), len(found))}",
        "  ... phones without automatic gain or noise suppression",
        f"                                   {with_share(sum(o.found for o in clean), len(clean))}",
        f"  less rubbing shown               {with_share(wrong, len(found))}",
        f"  {RISE_DB:g} dB within the interval        {with_share(inside, len(covered))}",
        f"  half of the estimates lie within {_quartiles(values)}",
    ]


def _quartiles(values: list[float]) -> str:
    if len(values) < 4:
        return "–"
    low, high = values[len(values) // 4], values[3 * len(values) // 4]
    return f"{low:.1f} to {high:.1f} dB"
