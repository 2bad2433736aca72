"""Teach each shop with some labels, and score it on later days."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from chatter.findings import CAUSES
from chatter.lab.evaluate.calibration import expected_error
from chatter.lab.shops.draw import Shop, ShopCut, draw_shop
from chatter.teaching.applying import least
from chatter.teaching.cases import LABEL_ERROR
from chatter.teaching.tuning import Lesson, Tuning, learn

#: Labelled passes a shop gives, and passes of later days that it is scored on.
LABELS = (0, 8, 16, 40)
LATER = 1500
#: Share of labels that are wrong.
WRONG = 0.11
CONFIDENT = 0.8


@dataclass(frozen=True)
class Score:
    """One shop after some labels, on later days."""

    accuracy: float  # of answered
    confident_wrong: float  # of all
    calibration: float
    answered: float


@dataclass(frozen=True)
class Row:
    """Untaught and taught on the same later days: mean over shops with 95 % interval."""

    labels: int
    figure: str
    untaught: tuple[float, float, float]
    taught: tuple[float, float, float]
    change: tuple[float, float, float]  # taught less untaught
    taken: float  # share of shops in which a correction was taken


def one_shop(seed: int, shop: int, wrong: float = WRONG) -> dict[int, tuple[Score, Score, str]]:
    """Labels -> (untaught, taught, kind of correction) of one shop."""
    rng = np.random.default_rng([seed, shop])
    drawn = draw_shop(rng)
    told = list(drawn.cuts(rng, 0, max(LABELS)))
    later = list(drawn.cuts(rng, 1000, LATER))
    return taught_and_scored(rng, drawn, told, later, wrong)


def taught_and_scored(
    rng: np.random.Generator,
    shop: Shop,
    told: Sequence[ShopCut],
    later: Sequence[ShopCut],
    wrong: float,
) -> dict[int, tuple[Score, Score, str]]:
    """Labels -> (untaught, taught, kind of correction).

    Parameters
    ----------
    rng : Generator
    shop : Shop
        Whose mix of cuts wrong labels follow.
    told, later : sequence of ShopCut
        What is labelled, and what is scored.
    wrong : float
        Share of labels that are wrong.
    """
    labels = [_label(rng, cut, shop, wrong) for cut in told]
    untaught = scored(later, Tuning("", "none"))
    made = {}
    for count in LABELS:
        lessons = [
            Lesson(
                "m",
                f"{cut.day:05d}",
                cut.probabilities,
                label,
                LABEL_ERROR["heard"],
                None if cut.verdict == "cannot_tell" else cut.verdict == label,
            )
            for cut, label in zip(told[:count], labels, strict=False)
        ]
        tuning = learn(lessons, "m", "the mill") if lessons else Tuning("", "none")
        made[count] = (untaught, scored(later, tuning), tuning.kind)
    return made


def _label(rng: np.random.Generator, cut: ShopCut, shop: Shop, wrong: float) -> str:
    """What somebody says it was: sometimes another class, by how common each is there."""
    if rng.random() >= wrong:
        return cut.truth
    mix = shop.mix * np.array([cause != cut.truth for cause in CAUSES])
    return CAUSES[int(rng.choice(len(CAUSES), p=mix / mix.sum()))]


def scored(cuts: Sequence[ShopCut], tuning: Tuning) -> Score:
    """Figures of some cuts under a tuning, by the same rules as ``teaching.applying``."""
    sure, right = [], []
    bounds = {cause: least(cause) for cause in CAUSES}
    for cut in cuts:
        if cut.verdict == "cannot_tell":
            continue
        p = tuning.probabilities(cut.probabilities)[cut.verdict]
        if tuning.kind != "none" and p < bounds[cut.verdict]:
            continue
        sure.append(p)
        right.append(cut.verdict == cut.truth)
    p, held = np.array(sure), np.array(right, bool)
    if not len(p):
        return Score(math.nan, 0.0, math.nan, 0.0)
    return Score(
        accuracy=float(held.mean()),
        confident_wrong=float(np.sum((p >= CONFIDENT) & ~held) / len(cuts)),
        calibration=expected_error(p, held, np.ones(len(p))),
        answered=len(p) / len(cuts),
    )


def learning_table(
    shops: Sequence[dict[int, tuple[Score, Score, str]]], seed: int = 0
) -> list[Row]:
    """Means over shops; intervals by drawing shops again."""
    rng = np.random.default_rng(seed)
    drawn = rng.integers(len(shops), size=(1000, len(shops)))
    rows = []
    for labels in LABELS:
        taken = float(np.mean([one[labels][2] != "none" for one in shops]))
        for figure in ("accuracy", "confident_wrong", "calibration", "answered"):
            before = np.array([getattr(one[labels][0], figure) for one in shops])
            after = np.array([getattr(one[labels][1], figure) for one in shops])
            rows.append(
                Row(
                    labels,
                    figure,
                    *(_mean(x, drawn) for x in (before, after, after - before)),
                    taken=taken,
                )
            )
    return rows


def _mean(x: np.ndarray, drawn: np.ndarray) -> tuple[float, float, float]:
    means = np.nanmean(x[drawn], axis=1)
    low, high = np.quantile(means, [0.025, 0.975])
    return float(np.nanmean(x)), float(low), float(high)
