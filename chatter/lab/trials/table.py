"""Table: outcomes of the trials for people and for programs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from chatter.lab.trials.run import TrialOutcome, tried_rules, why_not_tried
from chatter.plain import to_json


@dataclass(frozen=True)
class RuleRow:
    """One rule over all of its cases; the counts after ``fired`` are among these."""

    rule: str
    lever: str
    cases: int
    fired: int
    improved: int
    confirmed: int
    untold: int


def rows(outcomes: Sequence[TrialOutcome]) -> tuple[RuleRow, ...]:
    """Count outcomes by rule, in the order they were first tried."""
    made = []
    for name in dict.fromkeys(one.rule for one in outcomes):
        mine = [one for one in outcomes if one.rule == name]
        made.append(
            RuleRow(
                rule=name,
                lever=mine[0].lever,
                cases=len(mine),
                fired=sum(one.fired for one in mine),
                improved=sum(one.improved for one in mine),
                confirmed=sum(one.confirmed for one in mine),
                untold=sum(one.untold for one in mine),
            )
        )
    return tuple(made)


def trial_lines(outcomes: Sequence[TrialOutcome]) -> list[str]:
    """The table as lines of text."""
    head = ("rule", "lever", "cases", "fired", "truth better", "next shows it", "can't tell")
    cells = [head] + [
        (r.rule, r.lever, *(str(n) for n in (r.cases, r.fired, r.improved, r.confirmed, r.untold)))
        for r in rows(outcomes)
    ]
    wide = [max(len(row[i]) for row in cells) for i in range(len(head))]
    made = [
        "  ".join(
            text.ljust(w) if i < 2 else text.rjust(w)
            for i, (text, w) in enumerate(zip(row, wide, strict=True))
        )
        for row in cells
    ]
    made.insert(1, "  ".join("-" * w for w in wide))
    fired = [one for one in outcomes if one.fired]
    better, shown, untold = (
        sum(getattr(one, name) for one in fired) for name in ("improved", "confirmed", "untold")
    )
    made += [
        "",
        f"All rules: fired {len(fired)} of {len(outcomes)}; of these the true cut got better in "
        f"{better}.",
        f"The next recording showed what the rule said in {shown}; in {untold} it was not clear "
        "enough to tell.",
        "Truth better: chatter gone or 1.1 times the room; rubbing 3 dB less; tooth forces 0.7 "
        "times as",
        "uneven; for recordings: the truth is now told.",
    ]
    made += ["", f"Tried: {len(tried_rules())} rules.  Not tried, and why:"]
    made += [f"  {name}: {why}" for name, why in why_not_tried().items()]
    return made


def each_line(one: TrialOutcome) -> str:
    """One outcome as a line."""
    marks = "".join(
        letter if value else "."
        for letter, value in (("F", one.fired), ("T", one.improved), ("R", one.confirmed))
    )
    quantity = "" if one.quantity is None else f" {one.quantity:.4g}"
    return f"{marks} {one.rule}{quantity} [{one.group} {one.seed}] {one.note}"


def outcomes_json(outcomes: Sequence[TrialOutcome]) -> str:
    """Every outcome and the counts, as JSON text."""
    data = {
        "rows": rows(outcomes),
        "outcomes": outcomes,
        "not_tried": why_not_tried(),
    }
    return to_json(data, indent=1) + "\n"
