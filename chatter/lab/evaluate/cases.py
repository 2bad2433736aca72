"""Cases: what is scored.  One case is one true pass, or one stretch where nothing was cut.

Decisions, all on the strict side:

* A pass that was not found is a case without an answer: it lowers coverage.
* A pass found where nothing was cut is a case whose truth is ``machine_only``; a
  recording without cutting in which no pass was found is a case answered "can't tell".
* Pieces and fusions of true passes are counted under pass finding, not judged again.
* Marginal passes (the simulator says that either answer is defensible) are no cases for
  verdicts; they are counted apart.
* Every recording weighs the same: a case of a recording with k cases weighs 1/k.
* An answer is *right* when it names the gravest cause that holds; it is *defensible* when
  it names any cause that holds.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from chatter.findings import CAUSES
from chatter.lab.evaluate.matching import match_passes
from chatter.lab.evaluate.outcome import FoundPass, RecordingOutcome
from chatter.lab.simulate import TruePass


@dataclass(frozen=True)
class JudgedCase:
    """One case."""

    recording: int
    kind: str
    weight: float
    truth: str  # gravest cause that holds, or "machine_only"
    holds: frozenset[str]  # all that hold
    answer: str  # one of VERDICTS; "cannot_tell" when not found
    answers: frozenset[str]  # the verdict and what holds beside it; empty without an answer
    confidence: float
    probabilities: dict[str, float]  # empty when nothing was found
    conditions: dict
    true_pass: TruePass | None
    found_pass: FoundPass | None
    outcome: RecordingOutcome

    @property
    def answered(self) -> bool:
        """Whether there is a verdict at all."""
        return self.answer != "cannot_tell"

    @property
    def right(self) -> bool:
        """The gravest cause is named."""
        return self.answer == self.truth

    @property
    def defensible(self) -> bool:
        """A cause that holds is named."""
        return self.answer in self.holds

    @property
    def cut(self) -> bool:
        """Something was being cut."""
        return self.true_pass is not None


@dataclass(frozen=True)
class Cases:
    """Everything that a run yields for scoring."""

    cases: tuple[JudgedCase, ...]
    marginal: tuple[JudgedCase, ...]
    outcomes: tuple[RecordingOutcome, ...]


def judged_cases(outcomes: list[RecordingOutcome]) -> Cases:
    """Make the cases of a run.

    Parameters
    ----------
    outcomes : list of RecordingOutcome

    Returns
    -------
    Cases
    """
    kept: list[JudgedCase] = []
    marginal: list[JudgedCase] = []
    for outcome in outcomes:
        found = match_passes(outcome)
        whole = [_case(outcome, t, f) for t, f in found.pairs]
        whole += [_case(outcome, t, None) for t in found.missed]
        doubtful = [one for one in whole if one.true_pass.marginal]
        sure = [one for one in whole if not one.true_pass.marginal]
        sure += [_case(outcome, None, f) for f in found.false]
        if not outcome.truth and not outcome.found:
            sure.append(_case(outcome, None, None))
        kept += _weighed(sure)
        marginal += _weighed(doubtful)
    return Cases(tuple(kept), tuple(marginal), tuple(outcomes))


def _weighed(cases: list[JudgedCase]) -> list[JudgedCase]:
    return [replace(one, weight=1.0 / len(cases)) for one in cases]


def _case(outcome: RecordingOutcome, true: TruePass | None, found: FoundPass | None) -> JudgedCase:
    truth = "machine_only" if true is None else true.verdict
    holds = {truth} if true is None else {truth, *true.also}
    answer = "cannot_tell" if found is None else found.verdict
    answers = set() if answer == "cannot_tell" else {answer, *found.also}
    return JudgedCase(
        recording=outcome.index,
        kind=outcome.kind,
        weight=1.0,
        truth=truth,
        holds=frozenset(holds),
        answer=answer,
        answers=frozenset(answers),
        confidence=found.confidence if found else 0.0,
        probabilities=(
            {name: found.probabilities.get(name, 0.0) for name in CAUSES} if found else {}
        ),
        conditions=outcome.conditions,
        true_pass=true,
        found_pass=found,
        outcome=outcome,
    )
