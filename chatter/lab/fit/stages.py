"""The three stages of the fit: segments, lines, passes; each learns from the last one's answers
about recordings that it had not seen."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from chatter.lab.fit.boosting import LINE, PASS, SEGMENT, fit_forest
from chatter.lab.fit.gather import Gathered
from chatter.lab.fit.labels import line_label, pass_label, segment_labels
from chatter.lab.fit.truths import CAUSES
from chatter.listening.cuts import cutting_probability, segment_cases
from chatter.listening.pass_case import WeighedLine, likeliest_lines, line_cases, pass_case
from chatter.listening.together import together_cases
from chatter.listening.trees import Forest, forest_from, probability_of

STATEMENTS = ("cutting", *CAUSES)
#: Chatter lines together weigh this much of all others.
_LINES_WEIGH = 0.6
_FOLDS = 3


@dataclass(frozen=True)
class Models:
    """All forests, in the plain form of ``model.json``."""

    plain: dict[str, dict[str, Any]]

    def forest(self, name: str) -> Forest:
        """One of them, ready to be asked."""
        return forest_from(self.plain[name])


@dataclass(frozen=True)
class Answers:
    """What models say of one recording that they have not seen."""

    cutting: np.ndarray  # (segments,)
    lines: np.ndarray  # (lines,) log odds of being chatter
    cases: tuple[dict[str, float], ...]  # one a run
    odds: dict[str, np.ndarray]  # statement -> (runs,)


def fit_chain(train: Sequence[Gathered]) -> Models:
    """Fit all models on some recordings."""
    alone: dict[int, list[dict[str, float]]] = {}  # each segment by itself
    cases = [segment_cases(one.observation.segments) for one in train]
    for inside, outside in _folds(train):
        model = forest_from(_fit_segments([(train[i], cases[i]) for i in inside]))
        for i in outside:
            alone[i] = together_cases(train[i].observation, cases[i], model.log_odds(cases[i]))
    cutting: dict[int, np.ndarray] = {}  # held against the others
    for inside, outside in _folds(train):
        model = forest_from(_fit_segments([(train[i], alone[i]) for i in inside]))
        for i in outside:
            cutting[i] = probability_of(model.log_odds(alone[i]))
    odds: dict[int, np.ndarray] = {}
    for inside, outside in _folds(train):
        model = forest_from(_fit_lines([(train[i], cutting[i]) for i in inside]))
        for i in outside:
            odds[i] = model.log_odds(line_cases(train[i].observation, cutting[i])[0])
    plain = {
        "segment": _fit_segments(list(zip(train, cases, strict=True))),
        "together": _fit_segments([(one, alone[i]) for i, one in enumerate(train)]),
    }
    plain["line"] = _fit_lines([(one, cutting[i]) for i, one in enumerate(train)])
    runs = [run_cases(one, cutting[i], odds[i]) for i, one in enumerate(train)]
    for name in STATEMENTS:
        plain[name] = _fit_passes(train, runs, name)
    return Models(plain)


def ask(models: Models, one: Gathered) -> Answers:
    """What the models say of one recording."""
    cutting = cutting_probability(one.observation, models.forest)
    odds = models.forest("line").log_odds(line_cases(one.observation, cutting)[0])
    cases = run_cases(one, cutting, odds)
    told = {name: models.forest(name).log_odds(cases) for name in STATEMENTS}
    return Answers(cutting, odds, tuple(cases), told)


def run_cases(one: Gathered, cutting: np.ndarray, odds: np.ndarray) -> list[dict[str, float]]:
    """What the models of passes are asked about each run."""
    seen = one.observation
    cases, flat = line_cases(seen, cutting)
    weighed: list[list[WeighedLine]] = [[] for _ in seen.sounds]
    for line, case, value in zip(flat, cases, odds, strict=True):
        weighed[line.segment].append(WeighedLine(line, case, float(value)))
    lines = tuple(tuple(group) for group in weighed)
    made = []
    for run in one.runs:
        near = _Near(run.measures)
        made.append(pass_case(seen, cutting, run.cut, near, likeliest_lines(run.cut, lines)))
    return made


@dataclass(frozen=True)
class _Near:
    """All that a case asks of a pass listened to closely."""

    measures: dict[str, float]


def _folds(train: Sequence[Gathered]) -> list[tuple[list[int], list[int]]]:
    """Recordings parted by a digest of their names, so that a fold stays a fold."""
    at = [
        int(hashlib.md5(f"{one.truth.maker}/{one.truth.path.name}".encode()).hexdigest(), 16)
        % _FOLDS
        for one in train
    ]
    return [
        ([i for i, f in enumerate(at) if f != fold], [i for i, f in enumerate(at) if f == fold])
        for fold in range(_FOLDS)
    ]


def _fit_segments(
    train: Sequence[tuple[Gathered, Sequence[dict[str, float]]]],
) -> dict[str, Any]:
    asked, y, weight = [], [], []
    for one, cases in train:
        labels = segment_labels(one)
        for case, label, span in zip(cases, labels, one.observation.spans, strict=True):
            if label is not None:
                asked.append(case)
                y.append(label)
                weight.append(min(span.length_s, 5.0))
    return fit_forest(asked, np.array(y), np.array(weight), **SEGMENT)


def _fit_lines(train: Sequence[tuple[Gathered, np.ndarray]]) -> dict[str, Any]:
    cases, y, of = [], [], []
    for number, (one, cutting) in enumerate(train):
        for case, line in zip(*line_cases(one.observation, cutting), strict=True):
            label = line_label(one, line)
            if label is not None:
                cases.append(case)
                y.append(label)
                of.append((number, label))
    count = Counter(of)
    weight = np.array([1.0 / count[key] for key in of])
    labels = np.array(y)
    chatter = labels == 1
    weight[chatter] *= _LINES_WEIGH * weight[~chatter].sum() / max(weight[chatter].sum(), 1e-9)
    return fit_forest(cases, labels, weight / weight.mean(), **LINE)


def _fit_passes(
    train: Sequence[Gathered], cases: Sequence[Sequence[dict[str, float]]], name: str
) -> dict[str, Any]:
    asked, y, of = [], [], []
    for number, (one, made) in enumerate(zip(train, cases, strict=True)):
        for run, case in zip(one.runs, made, strict=True):
            label = pass_label(one, run, name)
            if label is not None:
                asked.append(case)
                y.append(label)
                of.append(number)
    count = Counter(of)
    weight = np.array([count[number] ** -0.7 for number in of])
    return fit_forest(asked, np.array(y), weight / weight.mean(), **PASS)
