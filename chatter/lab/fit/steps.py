"""Which step loses the worst answers: the truth is given one step at a time.

Of each recording of makers left out the probability of what is true in it is taken as heard;
with its true passes given; with true speed and tooth count given too.  The first step that brings
it over a half is the one that lost it; where none does, the models of lines or passes did.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from chatter.lab.evaluate.labelled.hearing import Answer
from chatter.lab.evaluate.labelled.reading import LabelledRecording
from chatter.lab.evaluate.labelled.units import match_labels
from chatter.lab.fit.gather import Gathered, MeasuredRun, gather_runs
from chatter.lab.fit.labels import line_label, pass_label
from chatter.lab.fit.left_out import LeftOutAnswer
from chatter.lab.fit.stages import Answers, Models, ask
from chatter.lab.fit.truths import CAUSES, TrueRecording
from chatter.listening.judging import probabilities_by
from chatter.listening.pass_case import line_cases

_HALF = 0.5


@dataclass(frozen=True)
class LostStep:
    """One recording, and the probability of its true label as more of the truth is given.

    Attributes
    ----------
    name, label, answer : str
        Recording, what is true, and what was told.
    heard, passes, numbers : float
        Probability as heard, with true passes, and with true speed and tooth count as well.
    line : float or None
        Log odds of the likeliest true line of chatter; None where none was measured.
    step : str
        The step that lost it.
    """

    name: str
    label: str
    answer: str
    heard: float
    passes: float
    numbers: float
    line: float | None
    step: str


def lost_steps(
    recordings: Sequence[LabelledRecording],
    heard: Sequence[Answer],
    told: Sequence[LeftOutAnswer],
    models: Models,
    calibration: Mapping[str, Mapping[str, float]],
    cache: Path,
    count: int,
) -> list[LostStep]:
    """The recordings whose truth is least likely by what was heard, the worst first.

    Parameters
    ----------
    recordings, heard : sequences of the same length
        Labelled recordings, and the answers of whole listens by models without their maker.
    told : sequence of LeftOutAnswer
        Answers of the same models with true passes given.
    models : Models
        Fitted without these recordings' maker.
    calibration : dict
        Of the answers about the other makers.
    cache : Path
        Where what is measured is kept.
    count : int
        So many.
    """
    given = {one.one.truth.path.resolve(): one for one in told}
    found = []
    for labelled, answer in zip(recordings, heard, strict=True):
        one = given.get(labelled.path.resolve())
        label = labelled.said.label
        if one is not None and label not in ("", "cannot_tell"):
            found.append((_as_heard(labelled, answer, label), labelled, answer, one))
    found.sort(key=lambda row: row[0])
    return [
        _step(p, labelled, answer, one, models, calibration, cache)
        for p, labelled, answer, one in found[:count]
    ]


def _as_heard(labelled: LabelledRecording, answer: Answer, label: str) -> float:
    """Probability of the label: of its passes as they were found, nought where they were not."""
    if label == "machine_only":
        shares = [one.probabilities.get(label, 0.0) for one in answer.passes]
        return min(shares, default=1.0)
    pairs = match_labels(labelled.passes, answer.passes).pairs
    mine = [found for said, found in pairs if said.said.label == label]
    if not mine:  # no pass is named: all that was found
        mine = list(answer.passes)
    shares = [0.0 if one is None else one.probabilities.get(label, 0.0) for one in mine]
    return float(np.mean(shares)) if shares else 0.0


def _step(
    p_heard: float,
    labelled: LabelledRecording,
    answer: Answer,
    one: LeftOutAnswer,
    models: Models,
    calibration: Mapping[str, Mapping[str, float]],
    cache: Path,
) -> LostStep:
    truth, label = one.one.truth, labelled.said.label
    p_passes = _as_given(one.one, one.answers, label, calibration)
    right = gather_runs(_with_true_numbers(truth), cache)
    answers = ask(models, right)
    p_numbers = _as_given(right, answers, label, calibration)
    line = _true_line(right, answers)
    if p_heard >= _HALF:
        step = "said with too little or too much sureness"
    elif p_passes >= _HALF:
        step = "passes"
    elif p_numbers >= _HALF:
        step = "speed or tooth count"
    elif label == "chatter" and line is None:
        step = "line not measured"
    elif label == "chatter" and line < 0.0:
        step = "line weighed"
    else:
        step = "pass weighed"
    return LostStep(
        f"{labelled.folder}/{labelled.path.name}",
        label,
        answer.verdict,
        p_heard,
        p_passes,
        p_numbers,
        line,
        step,
    )


def _as_given(
    one: Gathered, answers: Answers, label: str, calibration: Mapping[str, Mapping[str, float]]
) -> float:
    """Probability of the label in the true passes; that nothing is cut, in the likeliest cut."""
    every = probabilities_by(answers.odds, calibration)
    if label == "machine_only":
        return min((each[label] for each in every), default=1.0)
    shares = [
        each[label] for run, each in zip(one.runs, every, strict=True) if _holds(one, run, label)
    ]
    return float(np.mean(shares)) if shares else 0.0


def _holds(one: Gathered, run: MeasuredRun, label: str) -> bool:
    """Whether a label is known to hold in a run: a cause, or for a normal cut none of them."""
    if label != "normal":
        return pass_label(one, run, label) == 1
    return run.true is not None and all(pass_label(one, run, cause) == 0 for cause in CAUSES)


def _true_line(one: Gathered, answers: Answers) -> float | None:
    """Log odds of the likeliest line that is truly chatter."""
    _, lines = line_cases(one.observation, answers.cutting)
    odds = [
        float(odds)
        for line, odds in zip(lines, answers.lines, strict=True)
        if line_label(one, line) == 1
    ]
    return max(odds, default=None)


def _with_true_numbers(truth: TrueRecording) -> TrueRecording:
    rev_min = truth.passes[0].rev_min if truth.passes else truth.rev_min
    return replace(truth, rev_min=rev_min, teeth=truth.true_teeth)


def lost_lines(steps: Sequence[LostStep]) -> str:
    """A table, one line each, and how many each step lost."""
    lines = [
        f"{'the worst, truth given step by step':36s} {'true':14s} {'told':14s} {'heard':>6s} "
        f"{'passes':>6s} {'speed':>6s} {'line':>6s}  lost by"
    ]
    for one in steps:
        line = "–" if one.line is None else f"{one.line:.1f}"
        lines.append(
            f"{one.name[:36]:36s} {one.label[:14]:14s} {one.answer[:14]:14s} {one.heard:6.2f} "
            f"{one.passes:6.2f} {one.numbers:6.2f} {line:>6s}  {one.step}"
        )
    names = [one.step for one in steps]
    lines += [f"{names.count(name):4d}  {name}" for name in sorted(set(names), key=names.count)]
    return "\n".join(lines)
