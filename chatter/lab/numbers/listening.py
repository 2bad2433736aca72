"""What a user would be told with wrong and missing numbers: the whole listening, kept.

A statement that the weighing of numbers doubts gets no verdict; only the others are listened to.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from chatter.errors import ChatterError
from chatter.lab.evaluate.code import HEARING, code_digest
from chatter.lab.evaluate.labelled.units import CONFIDENT
from chatter.lab.evaluate.parallel import spread_calls, watched
from chatter.lab.numbers.asking import outcome
from chatter.lab.numbers.cases import NumbersCase, Statement, first_of_each, one_of_each
from chatter.lab.numbers.table import share_cell
from chatter.listening.rates import Rates
from chatter.plain import from_plain, to_json


@dataclass(frozen=True)
class StatementVerdict:
    """What a user was told of one statement."""

    maker: str
    statement: str
    verdict: str
    confidence: float
    accepted: bool  # the verdict is not wrong
    doubted: bool
    listened: bool = True
    error: str | None = None

    @property
    def confident(self) -> bool:
        """Whether a verdict was given at 0.8 or more."""
        return self.confidence >= CONFIDENT and self.verdict != "cannot_tell"


def hear_statements(
    cases: Sequence[NumbersCase], rates: Sequence[Rates], most: int, cache: Path, *, jobs: int = 1
) -> list[StatementVerdict]:
    """What was told of one statement of each sort of the first recordings of every maker."""
    store = cache / f"told-{code_digest((*HEARING, 'job'))}.jsonl"
    known = _kept(store)
    made, todo = [], []
    for i in first_of_each(cases, most):
        case, one = cases[i], rates[i]
        for said in one_of_each(case):
            key = f"{case.maker}/{case.path.name}/{said.rev_min}/{said.teeth}"
            complete = said.rev_min is not None and said.teeth is not None
            named = said.name != "right" and complete and outcome(case, one, said)[0] != "silent"
            if named:
                made.append(
                    StatementVerdict(
                        case.maker, said.name, "cannot_tell", 0.0, False, True, listened=False
                    )
                )
            elif key in known:
                made.append(known[key])
            else:
                todo.append((key, case, said))
    for key, told in watched(spread_calls(hear_statement, todo, jobs=jobs), "listening", len(todo)):
        made.append(told)
        store.parent.mkdir(parents=True, exist_ok=True)
        with store.open("a", encoding="utf-8") as out:
            out.write(to_json({"key": key, "told": told}, indent=None) + "\n")
    return made


def hear_statement(key: str, case: NumbersCase, said: Statement) -> tuple[str, StatementVerdict]:
    """Listen as the command does."""
    from chatter.job.build import read_statement
    from chatter.listening.finding import find_job
    from chatter.listening.front import listen_to, taken_in

    listed = ", ".join(f"{one:g}" for one in case.card)
    stated = {"machine.speeds": listed, "cut.speed": said.rev_min, "cutter.teeth": said.teeth}
    try:
        values = read_statement({k: None if v is None else str(v) for k, v in stated.items()})
        with taken_in(case.path) as sound:
            whole = find_job(sound, values)
            found = listen_to(sound, whole.job, numbers=whole.numbers).findings
    except ChatterError as refused:
        return key, StatementVerdict(
            case.maker, said.name, "cannot_tell", 0.0, False, False, error=str(refused)
        )
    doubted = any(one.spindle.contradiction is not None for one in found.passes)
    accepted = found.verdict in case.accept
    return key, StatementVerdict(
        case.maker, said.name, found.verdict, round(found.confidence, 3), accepted, doubted
    )


def _kept(store: Path) -> dict[str, StatementVerdict]:
    """What was heard earlier; a line torn by a kill is passed over."""
    known = {}
    for line in store.read_text(encoding="utf-8").splitlines() if store.is_file() else ():
        try:
            plain = json.loads(line)
            known[plain["key"]] = from_plain(StatementVerdict, plain["told"])
        except (ValueError, TypeError, KeyError):
            continue
    return known


def verdict_lines(told: Sequence[StatementVerdict]) -> list[str]:
    """The table of verdicts as text."""
    lines = ["", f"verdicts, {sum(one.listened for one in told)} listens"]
    heads = ("doubted or asked", "confident, right", "confident, wrong", "held back")
    lines.append(f"{'stated':16} {'n':>4}  " + " ".join(f"{one:20}" for one in heads))
    for name in dict.fromkeys(one.statement for one in told):
        of = [one for one in told if one.statement == name]
        asked = sum(one.verdict == "cannot_tell" for one in of)
        right = sum(one.confident and one.accepted for one in of)
        wrong = sum(one.confident and not one.accepted for one in of)
        counts = (asked, right, wrong, len(of) - asked - right - wrong)
        shares = " ".join(f"{share_cell(count, len(of)):20}" for count in counts)
        lines.append(f"{name:16} {len(of):4}  {shares}")
    return lines
