"""Ablation: what each piece of evidence brings to each cause."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from chatter.lab.evaluate.fit import Fitted, Sample, log_loss, quality_of, sample_of
from chatter.lab.evaluate.logistic import cross_validated
from chatter.lab.evaluate.outcome import Outcome


@dataclass(frozen=True)
class Worth:
    """What changes without one piece (cross-validated); positive = the piece helps."""

    cause: str
    piece: str
    reach: float  # log odds between its least and its greatest value
    log_loss: float  # rise of the mean log loss when the piece is left out [nats]
    low: float  # 95 % interval, by recording
    high: float
    balanced: float  # fall of the balanced accuracy at 0.5
    alone: float  # fall of the log loss from no evidence to this piece alone


def ablate(outcomes: Sequence[Outcome], models: dict[str, Fitted]) -> list[Worth]:
    """Leave out each piece in turn, and use each alone.

    Parameters
    ----------
    outcomes : sequence of Outcome
    models : dict
        Cause -> its fit, whose penalty is used throughout.
    """
    table: list[Worth] = []
    for cause, model in models.items():
        sample = sample_of(outcomes, cause)
        whole = _predicted(sample, model.ridge)
        base = float(np.average(sample.y, weights=sample.weights))
        nothing = log_loss(sample, np.full(len(sample.y), base))
        balanced = quality_of(sample, whole).balanced
        for at, name in enumerate(sample.names):
            rest = _predicted(_columns(sample, sample.owner != at), model.ridge)
            alone = _predicted(_columns(sample, sample.owner == at), model.ridge)
            low, high = _interval(sample, whole, rest)
            table.append(
                Worth(
                    cause,
                    name,
                    float(np.ptp(model.worths[name].adds)),
                    log_loss(sample, rest) - log_loss(sample, whole),
                    low,
                    high,
                    balanced - quality_of(sample, rest).balanced,
                    nothing - log_loss(sample, alone),
                )
            )
    return table


def _predicted(sample: Sample, ridge: float) -> np.ndarray:
    return cross_validated(
        sample.x, sample.y, sample.weights, sample.signs, sample.groups, ridge=ridge
    )


def _columns(sample: Sample, keep: np.ndarray) -> Sample:
    return replace(sample, owner=sample.owner[keep], signs=sample.signs[keep], x=sample.x[:, keep])


def _interval(sample: Sample, whole: np.ndarray, rest: np.ndarray) -> tuple[float, float]:
    """Interval of the rise in loss: recordings drawn with replacement."""
    from chatter.lab.evaluate.intervals import by_recording

    def losses(p: np.ndarray) -> np.ndarray:
        p = np.clip(p, 1e-9, 1 - 1e-9)
        return -np.where(sample.y > 0.5, np.log(p), np.log(1 - p))

    rise = losses(rest) - losses(whole)
    return by_recording(
        lambda w: float((w * rise).sum() / w.sum()), sample.weights, sample.groups, draws=200
    )
