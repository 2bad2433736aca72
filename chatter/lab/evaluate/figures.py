"""Figures of merit of verdicts, each a function of the cases' weights."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from chatter.findings import CAUSES
from chatter.lab.evaluate.calibration import expected_error
from chatter.lab.evaluate.cases import JudgedCase
from chatter.lab.evaluate.intervals import union

#: Confidence from which a wrong answer is a confident wrong answer.
CONFIDENT = 0.8


@dataclass(frozen=True)
class Proportion:
    """A figure with its 95 % interval and the recordings it rests on."""

    value: float
    low: float
    high: float
    recordings: int


@dataclass(frozen=True)
class CaseTable:
    """Cases as arrays of shape (n,), for figures that are asked for again and again."""

    weight: np.ndarray
    recording: np.ndarray
    truth: np.ndarray  # index into CAUSES
    answered: np.ndarray
    right: np.ndarray
    defensible: np.ndarray
    confident: np.ndarray
    cut: np.ndarray
    chatters: np.ndarray
    said_chatter: np.ndarray
    confidence: np.ndarray

    @classmethod
    def of(cls, cases: Sequence[JudgedCase]) -> CaseTable:
        """Arrays of a sequence of cases."""
        return cls(
            weight=np.array([c.weight for c in cases], float),
            recording=np.array([c.recording for c in cases], int),
            truth=np.array([CAUSES.index(c.truth) for c in cases], int),
            answered=np.array([c.answered for c in cases], bool),
            right=np.array([c.right for c in cases], bool),
            defensible=np.array([c.defensible for c in cases], bool),
            confident=np.array([c.confidence >= CONFIDENT for c in cases], bool),
            cut=np.array([c.cut for c in cases], bool),
            chatters=np.array(["chatter" in c.holds for c in cases], bool),
            said_chatter=np.array(["chatter" in c.answers for c in cases], bool),
            confidence=np.array([c.confidence for c in cases], float),
        )


def _share(weights: np.ndarray, hit: np.ndarray, among: np.ndarray) -> float:
    total = float(weights[among].sum())
    return float(weights[among & hit].sum()) / total if total > 0 else math.nan


def _balanced(weights: np.ndarray, t: CaseTable, hit: np.ndarray) -> float:
    """Mean over the true verdicts of the share of answers that are right."""
    shares = [_share(weights, hit, t.answered & (t.truth == i)) for i in range(len(CAUSES))]
    known = [one for one in shares if not math.isnan(one)]
    return float(np.mean(known)) if known else math.nan


#: Name -> (what it is, the figure as a function of weights and table).
FIGURES: dict[str, tuple[str, Callable[[np.ndarray, CaseTable], float]]] = {
    "balanced_accuracy": (
        "mean over the five true verdicts of the share of answers that name the gravest cause",
        lambda w, t: _balanced(w, t, t.right)),
    "balanced_defensible": (
        "the same, counting an answer that names any cause that holds",
        lambda w, t: _balanced(w, t, t.defensible)),
    "accuracy": (
        "share of answers that name the gravest cause",
        lambda w, t: _share(w, t.right, t.answered)),
    "coverage": (
        "share of true passes that were found and got an answer",
        lambda w, t: _share(w, t.answered, t.cut)),
    "chatter_recall": (
        "of the passes that chatter and got an answer, share in which chatter was named",
        lambda w, t: _share(w, t.said_chatter, t.chatters & t.answered)),
    "chatter_recall_of_all": (
        "the same, a pass without an answer counting as missed",
        lambda w, t: _share(w, t.said_chatter, t.chatters)),
    "false_alarms": (
        "of the answers where nothing chatters, share that name chatter",
        lambda w, t: _share(w, t.said_chatter, ~t.chatters & t.answered)),
    "confident_wrong": (
        "answers at 0.8 or more that name no cause that holds, as a share of all cases",
        lambda w, t: _share(w, t.confident & t.answered & ~t.defensible, t.weight > 0)),
    "confident_not_gravest": (
        "the same, counting answers that miss the gravest cause",
        lambda w, t: _share(w, t.confident & t.answered & ~t.right, t.weight > 0)),
    "calibration_error": (
        "mean distance of the confidence of answers from the share that name a cause that holds",
        lambda w, t: expected_error(
            t.confidence[t.answered], t.defensible[t.answered], w[t.answered])),
}  # fmt: skip


def figures(cases: Sequence[JudgedCase], *, names: Sequence[str] = (), draws: int = 400) -> dict:
    """Figures with intervals.

    Parameters
    ----------
    cases : sequence of JudgedCase
    names : sequence of str
        Keys of ``FIGURES``; all when empty.
    draws : int
        Bootstrap draws; 0 for none.

    Returns
    -------
    dict
        Name -> Share.
    """
    table = CaseTable.of(cases)
    made = {}
    for name in names or FIGURES:
        _, figure = FIGURES[name]
        value = figure(table.weight, table) if len(cases) else math.nan
        low = high = math.nan
        if draws and len(cases):
            low, high = union(
                lambda w, f=figure: f(w, table), value, table.weight, table.recording, draws=draws
            )
        made[name] = Proportion(value, low, high, len(np.unique(table.recording)))
    return made


def confusion(cases: Sequence[JudgedCase]) -> dict[str, dict[str, float]]:
    """Truth -> answer -> recordings (sum of weights); "not_found" apart from "cannot_tell"."""
    table: dict[str, dict[str, float]] = {}
    for one in cases:
        lost = one.found_pass is None and one.cut
        row = table.setdefault(one.truth, {})
        answer = "not_found" if lost else one.answer
        row[answer] = row.get(answer, 0.0) + one.weight
    return table
