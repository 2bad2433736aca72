"""The fitted numbers: one additive model per cause, over the measures of a pass.

The log odds of a cause are a bias plus what each measure adds: straight lines between a
few knots, level beyond the outer ones, so that no single piece can decide alone, and
rising or falling only where physics says so.  Everything is measured from a typical pass,
to which each piece adds nothing; so does a measure that cannot be had.
"""

from __future__ import annotations

import json
import math
from bisect import bisect_right
from dataclasses import dataclass
from functools import cache
from importlib.resources import files


@dataclass(frozen=True)
class Worth:
    """What one measure adds to the log odds of a cause: ``adds`` at the knots ``at``."""

    at: tuple[float, ...]
    adds: tuple[float, ...]

    def of(self, value: float) -> float:
        """Log odds added by a value; 0 when it is NaN."""
        if math.isnan(value):
            return 0.0
        i = bisect_right(self.at, value)
        if i == 0:
            return self.adds[0]
        if i == len(self.at):
            return self.adds[-1]
        share = (value - self.at[i - 1]) / (self.at[i] - self.at[i - 1])
        return self.adds[i - 1] + share * (self.adds[i] - self.adds[i - 1])


@dataclass(frozen=True)
class Cause:
    """Model of one cause."""

    bias: float
    worths: dict[str, Worth]

    def adds(self, name: str, value: float) -> float:
        """Log odds that the measure ``name`` adds; 0 when the cause does not use it."""
        return self.worths[name].of(value) if name in self.worths else 0.0

    def log_odds(self, measures: dict[str, float]) -> float:
        """Log odds that the cause holds."""
        return self.bias + sum(
            worth.of(measures.get(name, math.nan)) for name, worth in self.worths.items()
        )

    def probability(self, measures: dict[str, float]) -> float:
        """Probability that the cause holds."""
        return 1.0 / (1.0 + math.exp(-max(min(self.log_odds(measures), 30.0), -30.0)))


@cache
def model() -> dict[str, Cause]:
    """The models by cause: "cutting", the three faults, and "tone" (is this line the chatter?)."""
    raw = json.loads(files("chatter.listening").joinpath("model.json").read_text("utf-8"))
    return {
        name: Cause(
            one["bias"],
            {n: Worth(tuple(w["at"]), tuple(w["adds"])) for n, w in one["worths"].items()},
        )
        for name, one in raw["causes"].items()
    }
