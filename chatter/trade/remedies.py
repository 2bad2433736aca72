"""From findings to ranked suggestions, by the table in ``remedies.toml``.

This module only walks the table: which rules fire, in which order, with which words.  What
to do stands in the table; what is known of a pass in :mod:`chatter.trade.situation`.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace

from chatter import findings
from chatter.job.cut import Job
from chatter.job.system import system_of
from chatter.trade import speed_facts
from chatter.trade.modes import Mode
from chatter.trade.rules import Rule, Value, rule_table
from chatter.trade.situation import Situation, of_pass

#: Verdicts that something is wrong with the cut.
FAULTS = ("side_rubbing", "chatter", "uneven_teeth")

#: Causes below this probability get no suggestions, unless they are the verdict.
WORTH_ACTING = 0.3


def suggest(
    passes: tuple[findings.Pass, ...],
    job: Job,
    *,
    complaints: Sequence[findings.Complaint] = (),
    modes: Sequence[Mode] = (),
    system: str = "metric",
    most: int = 8,
) -> tuple[findings.Suggestion, ...]:
    """Rank what to do next.

    Each cause is answered once, from the pass that shows it best.  What is free comes before
    what must be bought, in the order of the table's costs; within one cost counts probability
    of the cause x how directly it hits x expected gain.  Of two that pull one lever opposite
    ways only the first is given.

    Parameters
    ----------
    passes : tuple of findings.Pass
        As judged; may be empty.
    job : Job
        What the machinist stated.
    complaints : sequence of findings.Complaint
        Faults of the recording (``Fitness.complaints``), answered when it cannot be told.
    modes : sequence of Mode
        From a tap test of this set-up.
    system : str
        "metric" or "inch", for the quantities in the sentences, unless the cards speak one of
        the two only.
    most : int
        Longest list returned; if it has to be cut, two of one cost at most.

    Returns
    -------
    tuple of findings.Suggestion
        Ranked from 1.  Never a spindle speed above the handbook range or the cutter's
        marking, never climb milling with (or with unknown) backlash.
    """
    rules = rule_table()
    system = system_of(job) or system
    scored: dict[tuple[str, Value], tuple[float, findings.Suggestion]] = {}
    for cause, worst in _worst_passes(passes).items():
        base = of_pass(worst, job, modes, system)
        base.facts["probability"] = worst.probabilities.get(cause, 1.0)
        asked = [rule for rule in rules.rules if rule.cause in (cause, "any")]
        unequal = _asks(asked, "pitch_gain", base)
        base = speed_facts.with_speeds(base, worst, job, modes, system, unequal=unequal)
        better = speed_facts.better_steps(base, worst, job, modes, system)
        heard_in = _heard_in(cause, passes)
        for rule in asked:
            for here in _variations(rule, base, better, complaints):
                if not all(condition.holds(here.facts) for condition in rule.when):
                    continue
                score, suggestion = _apply(rule, here, heard_in)
                key = (suggestion.name, suggestion.quantity or suggestion.action)
                if key not in scored or scored[key][0] < score:
                    scored[key] = (score, suggestion)
    # What is known comes before what is not: a told fault before "record again".
    fault_named = any(_holds(cause, p) for cause in FAULTS for p in passes)
    last = {rule.name for rule in rules.rules if fault_named and rule.cause == "cannot_tell"}
    ranked = [
        suggestion
        for _, suggestion in sorted(
            scored.values(),
            key=lambda pair: (pair[1].name in last, rules.costs[pair[1].cost], -pair[0]),
        )
    ]
    kept = agreeing(ranked, job)
    if len(kept) > most:
        kept = _two_of_each_cost(kept, rules.costs)[:most]
    return tuple(replace(suggestion, rank=i) for i, suggestion in enumerate(kept, 1))


def agreeing(ranked: Sequence[findings.Suggestion], job: Job) -> list[findings.Suggestion]:
    """Leave out what pulls a lever the other way than a suggestion before it."""
    ways: dict[str, float] = {}
    kept = []
    for suggestion in ranked:
        way = direction(suggestion, job)
        if way is not None and ways.setdefault(suggestion.lever or "", way) != way:
            continue
        kept.append(suggestion)
    return kept


def direction(suggestion: findings.Suggestion, job: Job) -> float | None:
    """Which way a suggestion pulls its lever: -1, 0 or +1; None when it pulls none."""
    now = {
        "set_speed": job.cut.speed_rev_min,
        "set_feed": job.cut.feed_m_s,
        "scale_depth": 1.0,
        "lubricate": 0.5,
        "set_direction": 0.0,
    }.get(suggestion.lever or "")
    if now is None or suggestion.quantity is None:
        return None
    apart = suggestion.quantity - now
    return 0.0 if abs(apart) <= 1e-9 * max(1.0, abs(now)) else math.copysign(1.0, apart)


def _two_of_each_cost(
    ranked: Sequence[findings.Suggestion], places: Mapping[str, int]
) -> list[findings.Suggestion]:
    """The first two of each place in the order, so that a long list stays whole in kind."""
    seen: Counter[int] = Counter()
    kept = []
    for suggestion in ranked:
        seen[places[suggestion.cost]] += 1
        if seen[places[suggestion.cost]] <= 2:
            kept.append(suggestion)
    return kept


def _worst_passes(passes: Sequence[findings.Pass]) -> dict[str, findings.Pass]:
    """For each cause worth acting on, the pass that shows it best."""
    worst: dict[str, findings.Pass] = {}
    for cause in findings.VERDICTS:
        holding = [p for p in passes if _holds(cause, p)]
        if holding:
            worst[cause] = max(holding, key=lambda p: p.probabilities.get(cause, 0.0))
    if any(c in worst for c in FAULTS):
        worst.pop("normal", None)  # "leave it" beside a fault would confuse
        worst.pop("machine_only", None)
    return worst


def _holds(cause: str, one_pass: findings.Pass) -> bool:
    if cause in (one_pass.verdict, *one_pass.also):
        return cause != "chatter" or one_pass.chatter is not None
    if one_pass.verdict in ("cannot_tell", "normal", "machine_only"):
        return False
    return (
        cause in ("side_rubbing", "uneven_teeth")
        and one_pass.probabilities.get(cause, 0.0) >= WORTH_ACTING
    )


def _heard_in(cause: str, passes: Sequence[findings.Pass]) -> str:
    if len(passes) < 2:
        return ""
    indices = [p.index for p in passes if _holds(cause, p)]
    if len(indices) == len(passes):
        return "Heard in every pass. "
    shown = ", ".join(map(str, indices[:6])) + (" and more" if len(indices) > 6 else "")
    return f"Heard in {len(indices)} of {len(passes)} passes ({shown}). "


def _asks(rules: Sequence[Rule], fact: str, here: Situation) -> bool:
    """Whether any rule would look at ``fact``: all its other conditions hold."""
    return any(
        all(c.holds(here.facts) for c in rule.when if c.fact != fact)
        for rule in rules
        if any(c.fact == fact for c in rule.when)
    )


def _variations(
    rule: Rule,
    base: Situation,
    better: Sequence[Situation],
    complaints: Sequence[findings.Complaint],
) -> tuple[Situation, ...]:
    if rule.each == "complaints":
        return tuple(_of_complaint(base, c) for c in complaints)
    if rule.each == "steps":
        return tuple(better)
    # A rule fired once sees the best step, so that it can ask whether there is any.
    return (
        (Situation({**base.facts, "step": better[0].facts["step"]}, base.words),)
        if better
        else (base,)
    )


def _of_complaint(base: Situation, complaint: findings.Complaint) -> Situation:
    facts = {
        **base.facts,
        "complaint": complaint.name,
        "complaint_gain": 1.0 if complaint.fatal else 0.7,
    }
    words = {
        **base.words,
        "complaint_advice": complaint.advice,
        "complaint_sentence": complaint.sentence,
    }
    return Situation(facts, words)


def _apply(rule: Rule, here: Situation, heard_in: str) -> tuple[float, findings.Suggestion]:
    probability = 1.0 if rule.cause == "any" else float(here.facts["probability"] or 0.0)
    score = probability * rule.hits * _number(rule.gain, here)
    lead = "" if rule.cause == "any" else heard_in
    return score, findings.Suggestion(
        rank=0,
        name=rule.name,
        action=rule.action.format_map(here.words),
        reason=lead + rule.reason.format_map(here.words),
        expect=rule.expect.format_map(here.words),
        caution=rule.caution.format_map(here.words),
        cost=rule.cost,
        lever=rule.lever,
        quantity=None if rule.quantity is None else _number(rule.quantity, here),
    )


def _number(value: float | str, here: Situation) -> float:
    """A number of the table, or the fact it names."""
    return float(here.facts[value] or 0.0) if isinstance(value, str) else float(value)
