"""The table of remedies: reading ``remedies.toml`` and asking its conditions.

A condition is one line of the table, ``fact operator value``, for example
``"waves_per_tooth <= 10"``, ``"form in slitting_saw slab"`` or ``"step is known"``.
A comparison with something that is not known never holds; ``is unknown`` and ``is_not`` do.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from chatter.findings import VERDICTS

Value = float | str | bool | None
Facts = Mapping[str, Value]

_ORDER: dict[str, Callable[[float, float], bool]] = {
    "<=": lambda a, b: a <= b,
    ">=": lambda a, b: a >= b,
    "<": lambda a, b: a < b,
    ">": lambda a, b: a > b,
}
_OPERATORS = (*_ORDER, "is", "is_not", "in", "has")


@dataclass(frozen=True)
class Condition:
    """One line of a rule's ``when``."""

    fact: str
    operator: str
    value: str

    def holds(self, facts: Facts) -> bool:
        """Whether it holds; KeyError when the fact is not in the vocabulary."""
        fact = facts[self.fact]
        if self.operator == "is" and self.value in ("known", "unknown"):
            return (fact is None) == (self.value == "unknown")
        if fact is None:
            return self.operator == "is_not"
        if self.operator in _ORDER:
            return _ORDER[self.operator](float(fact), float(self.value))
        word = ("yes" if fact else "no") if isinstance(fact, bool) else str(fact)
        if self.operator == "has":
            return self.value in word
        if self.operator == "is_not":
            return word != self.value
        return word in self.value.split()


@dataclass(frozen=True)
class Rule:
    """One row of the table; see the head of ``remedies.toml`` for the meaning of each."""

    name: str
    cause: str
    when: tuple[Condition, ...]
    action: str
    reason: str
    expect: str
    cost: str
    hits: float
    gain: float | str
    lever: str
    source: str
    quantity: float | str | None = None
    caution: str = ""
    each: str | None = None


@dataclass(frozen=True)
class RuleTable:
    """The whole table."""

    rules: tuple[Rule, ...]
    costs: Mapping[str, int]  # what it takes, and its place in the order
    levers: Mapping[str, str]


def read_condition(text: str) -> Condition:
    """Read one line of ``when``.

    Raises
    ------
    ValueError
        It is not ``fact operator value``.
    """
    fact, operator, value = (*text.split(maxsplit=2), "", "", "")[:3]
    if operator not in _OPERATORS or not value:
        raise ValueError(f"condition {text!r} is not 'fact operator value'")
    return Condition(fact, operator, value)


@cache
def rule_table() -> RuleTable:
    """Read the table that comes with the package, and check that it hangs together."""
    text = files("chatter.trade").joinpath("remedies.toml").read_text(encoding="utf-8")
    data = tomllib.loads(text)
    costs, levers = data["costs"], data["levers"]
    rules = tuple(
        Rule(**{**row, "when": tuple(map(read_condition, row.get("when", ())))})
        for row in data["rule"]
    )
    for rule in rules:
        if (
            rule.cause not in (*VERDICTS, "any")
            or rule.cost not in costs
            or rule.lever not in levers
        ):
            raise ValueError(f"rule {rule.name}: unknown cause, cost or lever")
    return RuleTable(rules, costs, levers)
