"""Score: everything that is said of a run, as plain frozen data."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from chatter.lab.evaluate.calibration import Reliability, reliabilities
from chatter.lab.evaluate.cases import Cases, judged_cases
from chatter.lab.evaluate.figures import Proportion, confusion, figures
from chatter.lab.evaluate.measured import Errors, Finding, error_figures, pass_finding
from chatter.lab.evaluate.outcome import RecordingOutcome
from chatter.lab.evaluate.splits import SplitRow, splits


@dataclass(frozen=True)
class Counts:
    """What the figures rest on."""

    recordings: int
    cases: int
    marginal: int
    refused: int  # files the listener refused with a sentence
    crashed: int
    audio_s: float
    make_s: float  # summed over processes
    listen_s: float


@dataclass(frozen=True)
class RunScore:
    """The scores of a run."""

    counts: Counts
    figures: dict[str, Proportion]
    marginal: dict[str, Proportion]
    confusion: dict[str, dict[str, float]]
    reliability: dict[str, Reliability]
    measured: dict[str, Errors]
    finding: Finding
    splits: dict[str, dict[str, SplitRow]]
    no_cutting: dict[str, int]


#: The targets: figure -> (bound, "least" or "most").
TARGETS = {
    "balanced_accuracy": (0.95, "least"),
    "coverage": (0.85, "least"),
    "chatter_recall": (0.97, "least"),
    "false_alarms": (0.02, "most"),
    "confident_wrong": (0.01, "most"),
    "calibration_error": (0.03, "most"),
}


def score_run(outcomes: Sequence[RecordingOutcome], *, draws: int = 400) -> RunScore:
    """Score a run.

    Parameters
    ----------
    outcomes : sequence of RecordingOutcome
    draws : int
        Bootstrap draws for the headline figures; a quarter of it for the splits.
    """
    cases = judged_cases(list(outcomes))
    return RunScore(
        counts=_counts(cases),
        figures=figures(cases.cases, draws=draws),
        marginal=figures(
            cases.marginal, names=("coverage", "balanced_defensible", "confident_wrong"),
            draws=draws // 4,
        ),
        confusion=confusion(cases.cases),
        reliability=reliabilities(cases.cases),
        measured=error_figures(cases),
        finding=pass_finding(cases),
        splits=splits(cases.cases, draws=draws // 4),
        no_cutting=no_cutting(outcomes),
    )  # fmt: skip


def no_cutting(outcomes: Sequence[RecordingOutcome]) -> dict[str, int]:
    """Recordings in which nothing was cut, and how many got a confident wrong verdict.

    Only "can't tell" and "machine only" are right; any other verdict of the recording at
    0.8 or more is a confident wrong one.
    """
    from chatter.lab.evaluate.figures import CONFIDENT

    silent = [one for one in outcomes if not one.truth]
    wrong = [one for one in silent if one.verdict not in ("cannot_tell", "machine_only")]
    return {
        "recordings": len(silent),
        "confident": sum(one.confidence >= CONFIDENT for one in wrong),
        "wrong": len(wrong),
    }


def _counts(cases: Cases) -> Counts:
    outcomes = cases.outcomes
    return Counts(
        recordings=len(outcomes),
        cases=len(cases.cases),
        marginal=len(cases.marginal),
        refused=sum(one.error is not None for one in outcomes),
        crashed=sum(one.crash is not None for one in outcomes),
        audio_s=float(np.sum([one.duration_s for one in outcomes])),
        make_s=float(np.sum([one.make_s for one in outcomes])),
        listen_s=float(np.sum([one.listen_s for one in outcomes])),
    )
