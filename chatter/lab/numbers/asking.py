"""What the weighing of numbers says of each statement, from what was measured once."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from chatter.lab.numbers.cases import NumbersCase, Statement, one_of_each
from chatter.listening.hypotheses import Fitted
from chatter.listening.numbers import AUDIBLE, FOUND, find_speed, find_teeth, weigh_numbers
from chatter.listening.rates import Rates
from chatter.listening.spindle import SLIP


@dataclass(frozen=True)
class StatementAnswer:
    """One statement of one recording, and what was said of it.

    ``outcome`` is "right" (the number that is right was named, or nothing was doubted where
    nothing was wrong), "other" (another number was named, or a right one doubted) or "silent";
    ``held``: no verdict may be confident.
    """

    case: NumbersCase
    statement: Statement
    outcome: str
    held: bool
    audible: bool
    turns: float


def ask_numbers(
    cases: Sequence[NumbersCase],
    rates: Sequence[Rates],
    weights: dict[str, dict[str, Fitted]] | None = None,
) -> list[StatementAnswer]:
    """Ask one statement of each sort of every case.

    Parameters
    ----------
    cases : sequence of NumbersCase
    rates : sequence of Rates
        Of each.
    weights : dict, optional
        Maker to the weights that were fitted without it.
    """
    made = []
    for case, one in zip(cases, rates, strict=True):
        known = None if weights is None else weights[case.maker]
        heard = audible(case, one)
        turns = one.length_s * case.true_rev_min / 60.0
        for said in one_of_each(case):
            made.append(StatementAnswer(case, said, *outcome(case, one, said, known), heard, turns))
    return made


def audible(case: NumbersCase, rates: Rates) -> bool:
    """Whether the strokes of the teeth stand out at the true speed, in sound or envelope."""
    import numpy as np

    from chatter.listening.hypotheses import Pair, curves_for, score_pairs
    from chatter.listening.tooth_curves import TOOTH_NAMES

    true = Pair(case.true_rev_min, case.teeth)
    (scored,) = score_pairs(rates, curves_for(rates, [true]), [true], turns=False)
    near = np.abs(scored.slip) < 0.004
    combs = [i for i, name in enumerate(TOOTH_NAMES) if "_all_" in name]
    return bool(near.any() and scored.tooth[combs][:, near].max() >= AUDIBLE)


def outcome(
    case: NumbersCase, rates: Rates, said: Statement, known: dict[str, Fitted] | None = None
) -> tuple[str, bool]:
    """What is said of a statement, and whether verdicts are held back: see ``StatementAnswer``."""
    if said.rev_min is None and said.teeth is None:
        return "silent", True
    if said.rev_min is None:
        first = find_speed(rates, said.teeth, case.card, known)[:1]
        if not first or first[0].probability < FOUND:
            return "silent", True
        return ("right" if first[0].rev_min == case.dial_rev_min else "other"), False
    if said.teeth is None:
        told = find_teeth(rates, said.rev_min, known)[:1]
        if not told or told[0].probability < FOUND:
            return "silent", True
        return ("right" if told[0].teeth == case.teeth else "other"), False
    speeds = case.card if said.listed else ()
    found = weigh_numbers(
        rates, rev_min=said.rev_min, teeth=said.teeth, speeds=speeds, weights=known
    )
    doubted = found.rev_min is not None or found.count is not None
    if said.name.startswith("right"):
        return ("other" if doubted else "right"), found.held
    if not doubted:
        return "silent", found.held
    speed = said.rev_min != case.dial_rev_min and _near(found.rev_min, case)
    return ("right" if speed or found.count == case.teeth else "other"), True


def _near(rev_min: float | None, case: NumbersCase) -> bool:
    """Whether a speed is the right one of the machine, or the true one within its slip."""
    return rev_min is not None and abs(math.log(rev_min / case.true_rev_min)) < SLIP
