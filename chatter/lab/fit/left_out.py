"""Each maker left out in turn: what the models say of recordings of a kind they never met."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from chatter.lab.evaluate.intervals import wilson
from chatter.lab.fit.gather import Gathered
from chatter.lab.fit.labels import pass_label, segment_labels
from chatter.lab.fit.mixed import OVER
from chatter.lab.fit.stages import STATEMENTS, Answers, Models, ask, fit_chain
from chatter.listening.judging import calibrated

#: Makers with fewer recordings than this are shown, but no sureness is fitted to them.
FEWEST = 60
NAMED_FALSE, POSSIBLE_FALSE = 0.03, 0.10


@dataclass(frozen=True)
class LeftOutAnswer:
    """A recording, and what models without its maker said of it."""

    one: Gathered
    answers: Answers


def leave_out(gathered: Sequence[Gathered]) -> tuple[list[LeftOutAnswer], dict[str, Models]]:
    """Answers about every recording, by models fitted without its maker; and those models.

    Recordings reworked from those of makers A and B, written A+B, are left out with either, and
    asked about nothing.
    """
    told, models = [], {}
    for maker in sorted({one.truth.maker for one in gathered if len(one.truth.makers) == 1}):
        models[maker] = fit_chain([one for one in gathered if maker not in one.truth.makers])
        mine = [one for one in gathered if one.truth.maker == maker]
        told += [LeftOutAnswer(one, ask(models[maker], one)) for one in mine]
    return told, models


def leave_parts_out(gathered: Sequence[Gathered], parts: int) -> list[LeftOutAnswer]:
    """Answers about every recording, by models that know its maker but not the recording.

    What was reworked from a recording, its cut or its rest, is left out with it.
    """
    told = []
    plain = sorted(
        {(g.truth.maker, g.truth.path.stem) for g in gathered if len(g.truth.makers) == 1}
    )
    part_of = {key: number % parts for number, key in enumerate(plain)}
    for part in range(parts):
        train, mine = [], []
        for one in gathered:
            makers = one.truth.makers
            stems = one.truth.path.stem.split(OVER)[: len(makers)]  # a number may follow
            away = part in {part_of[key] for key in zip(makers, stems, strict=True)}
            if not away:
                train.append(one)
            elif len(makers) == 1:
                mine.append(one)
        models = fit_chain(train)
        told += [LeftOutAnswer(one, ask(models, one)) for one in mine]
    return told


def fit_calibration(told: Sequence[LeftOutAnswer]) -> dict[str, dict[str, float]]:
    """Offset and slope of each statement's log odds, every maker weighing the same."""
    from scipy.optimize import minimize

    made = {}
    for name in STATEMENTS:
        odds, y, weight = _answered(told, name)
        if not odds.size:
            made[name] = {"offset": 0.0, "slope": 1.0}
            continue

        def loss(p: np.ndarray, x=odds, y=y, w=weight) -> float:
            z = p[0] + p[1] * x
            shrunk = 0.02 * (p[0] ** 2 + (p[1] - 1.0) ** 2)
            return float(np.average(np.logaddexp(0.0, z) - y * z, weights=w)) + shrunk

        found = minimize(loss, np.array([0.0, 1.0]), method="Nelder-Mead")
        offset, slope = (round(float(one), 4) for one in found.x)
        made[name] = {"offset": offset, "slope": slope}
    return made


def _answered(
    told: Sequence[LeftOutAnswer], name: str
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    counts: dict[str, int] = {}
    for each in told:
        counts[each.one.truth.maker] = counts.get(each.one.truth.maker, 0) + 1
    odds, y, weight = [], [], []
    for each in told:
        maker = each.one.truth.maker
        if counts[maker] < FEWEST:
            continue
        labels = [pass_label(each.one, run, name) for run in each.one.runs]
        known = [i for i, label in enumerate(labels) if label is not None]
        for i in known:
            odds.append(float(each.answers.odds[name][i]))
            y.append(labels[i])
            weight.append(1.0 / counts[maker] / len(known))
    return np.array(odds), np.array(y, float), np.array(weight)


def chatter_probability(each: LeftOutAnswer, calibration: dict[str, dict[str, float]]) -> float:
    """Probability of chatter in the recording: the likeliest of its runs."""
    cutting, chatter = (
        calibrated(each.answers.odds[name], calibration[name]) for name in ("cutting", "chatter")
    )
    return float((cutting * chatter).max(initial=0.0))


def limits(
    told: Sequence[LeftOutAnswer], calibration: dict[str, dict[str, float]]
) -> dict[str, float]:
    """Probabilities that so many recordings without chatter reach, every maker the same."""
    makers = sorted({each.one.truth.maker for each in told})
    found = []
    for maker in makers:
        calm = [
            chatter_probability(each, calibration)
            for each in told
            if each.one.truth.maker == maker and each.one.truth.chatter is False
        ]
        if len(calm) >= FEWEST * 0.5:
            found.append(np.quantile(calm, (1.0 - NAMED_FALSE, 1.0 - POSSIBLE_FALSE)))
    named, possible = np.median(found, axis=0) if found else (0.5, 0.3)
    return {
        "chatter_named": round(float(np.clip(named, 0.3, 0.5)), 3),
        "chatter_possible": round(float(np.clip(possible, 0.15, 0.35)), 3),
    }


def left_out_table(told: Sequence[LeftOutAnswer], calibration: dict[str, dict[str, float]]) -> str:
    """Figures of every maker left out: chatter by recording, and segments told apart."""
    head = (
        "maker, left out of the fit | recordings | chatter | area | recall at 3 % false | at 5 % |"
    )
    rows = [head + " segments right", "-" * 96]
    for maker in sorted({each.one.truth.maker for each in told}):
        mine = [each for each in told if each.one.truth.maker == maker]
        for name, part in (
            (maker, mine),
            (f"{maker} < 300", [m for m in mine if m.one.truth.slow]),
        ):
            rows.append(_row(name, part, calibration))
    return "\n".join(row for row in rows if row)


def _row(name: str, part: Sequence[LeftOutAnswer], calibration: dict[str, dict[str, float]]) -> str:
    known = [each for each in part if each.one.truth.chatter is not None]
    p = np.array([chatter_probability(each, calibration) for each in known])
    yes = np.array([bool(each.one.truth.chatter) for each in known])
    if not yes.any() or yes.all():
        return ""
    calm = np.sort(p[~yes])[::-1]
    area = float(np.mean(p[yes][:, None] > calm[None, :]))
    recalls = []
    for false in (0.03, 0.05):
        limit = calm[min(int(false * calm.size), calm.size - 1)]
        caught = int((p[yes] > limit).sum())
        low, high = wilson(caught, int(yes.sum()))
        recalls.append(f"{caught / yes.sum():.2f} ({low:.2f} to {high:.2f})")
    right = total = 0.0
    for each in part:
        labels = segment_labels(each.one)
        for label, cut, span in zip(
            labels, each.answers.cutting, each.one.observation.spans, strict=True
        ):
            if label is not None:
                total += span.length_s
                right += span.length_s * ((cut >= 0.5) == bool(label))
    share = f"{right / total:.2f}" if total else "-"
    return (
        f"{name:26s} | {len(known):5d} | {int(yes.sum()):4d} | {area:.3f} | "
        f"{recalls[0]} | {recalls[1]} | {share}"
    )
