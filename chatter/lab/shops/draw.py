"""Draw a shop: how its machine, room, phone and cutters shift what the program says."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import numpy as np

from chatter.findings import CAUSES
from chatter.teaching.tuning import LEAST, MOST

#: Parts of the variance of log odds within a class that belong to the shop and to the day; the
#: rest is each pass's own.  Assumed: no recordings of many shops exist to measure it on.
SHOP_PART, DAY_PART = 0.35, 0.10
#: How much surer or less sure the program is in one shop than in another, s.d. of the log.
_SURENESS = 0.25
#: Cuts a day.
_A_DAY = 4


@dataclass(frozen=True)
class Outcomes:
    """Log odds by class, shapes (classes, causes), as measured on strangers."""

    share: np.ndarray
    mean: np.ndarray
    sd: np.ndarray
    silent: float


@cache
def outcome_table() -> Outcomes:
    """The table in ``outcomes.toml``."""
    text = files("chatter.lab.shops").joinpath("outcomes.toml").read_text("utf-8")
    told = tomllib.loads(text)
    if tuple(told["causes"]) != CAUSES:
        raise ValueError("outcomes.toml is of other causes: remake it with --learn")
    rows = [told[cause] for cause in CAUSES]
    share = np.array([row["share"] for row in rows])
    return Outcomes(
        share / share.sum(),
        np.array([row["mean"] for row in rows]),
        np.array([row["sd"] for row in rows]),
        float(told["silent"]),
    )


@dataclass(frozen=True)
class ShopCut:
    """One pass: the truth, and what the untaught program says of it."""

    day: int
    truth: str
    probabilities: dict[str, float]
    verdict: str
    confidence: float


@dataclass(frozen=True)
class Shop:
    """What is of one shop: its mix of cuts, and its shift of the odds of each cause."""

    mix: np.ndarray  # (classes,)
    shift: np.ndarray  # (causes,), in standard deviations within a class
    sureness: float

    def cuts(self, rng: np.random.Generator, first_day: int, count: int) -> Iterator[ShopCut]:
        """Passes from a day on, some a day."""
        table = outcome_table()
        own = np.sqrt(1.0 - SHOP_PART - DAY_PART)
        day = np.arange(count) // _A_DAY
        of_day = np.sqrt(DAY_PART) * rng.standard_normal((count, len(CAUSES)))[day]
        kind = rng.choice(len(CAUSES), count, p=self.mix)
        z = self.shift + of_day + own * rng.standard_normal((count, len(CAUSES)))
        x = self.sureness * (table.mean[kind] + table.sd[kind] * z)
        p = np.clip(1.0 / (1.0 + np.exp(-x)), LEAST, MOST).tolist()
        silent = rng.random(count) < table.silent
        for i in range(count):
            told = dict(zip(CAUSES, p[i], strict=True))
            verdict, sure = ("cannot_tell", 0.0) if silent[i] else judged(told)
            yield ShopCut(first_day + int(day[i]), CAUSES[kind[i]], told, verdict, sure)


def draw_shop(rng: np.random.Generator) -> Shop:
    """One shop, drawn so that the classes' odds vary between shops as assumed."""
    mix = rng.dirichlet(6.0 * outcome_table().share + 0.3)
    shift = np.sqrt(SHOP_PART) * rng.standard_normal(len(CAUSES))
    return Shop(mix, shift, float(np.exp(_SURENESS * rng.standard_normal())))


def judged(p: dict[str, float]) -> tuple[str, float]:
    """Verdict of a pass by its probabilities, as the listening gives it."""
    from chatter.listening.judging import judge

    told = judge(p, revolutions=99.0, turn_s=1.0, contradiction=None, unfit=None)
    return told.verdict, told.confidence
