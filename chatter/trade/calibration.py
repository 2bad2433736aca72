"""The scale that a phone cannot hear: metres for a relative depth of one.

Each "this depth chattered" bounds the scale from above and each "this depth did not" from
below.  Observations that cannot all be true are named instead of averaged away.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from chatter.job import show


@dataclass(frozen=True)
class ObservedCut:
    """A cut that was made with this set-up."""

    rev_min: float
    depth_m: float
    chattered: bool


@dataclass(frozen=True)
class Scale:
    """Depth [m] that stands for a relative limit of one; None where nothing bounds it."""

    low_m: float | None
    high_m: float | None
    against: tuple[ObservedCut, ...]  # observations that contradict each other
    sentence: str

    @property
    def best_m(self) -> float | None:
        """Middle of the interval (geometric), or its one bound; None when inconsistent."""
        if self.against:
            return None
        if self.low_m is not None and self.high_m is not None:
            return (self.low_m * self.high_m) ** 0.5
        return self.high_m if self.low_m is None else self.low_m


def calibrate(
    observations: Sequence[ObservedCut],
    limits: Callable[[float], tuple[float, float]],
    system: str = "metric",
) -> Scale:
    """Bound the scale of a relative stability chart by cuts that were made.

    Parameters
    ----------
    observations : sequence of ObservedCut
    limits : callable
        Spindle speed [rev/min] -> lowest and highest relative limit within the doubt in the
        speed.  The doubt widens the interval: a cut that chattered only shows that its depth
        is above the lowest of these, one that did not only that it is below the highest.
    system : str
        "metric" or "inch", for the sentence.
    """
    if not observations:
        return Scale(None, None, (), "No cut of known depth ties this chart to a depth.")
    upper = [(o.depth_m / limits(o.rev_min)[0], o) for o in observations if o.chattered]
    lower = [(o.depth_m / limits(o.rev_min)[1], o) for o in observations if not o.chattered]
    high = min(upper, key=lambda pair: pair[0], default=None)
    low = max(lower, key=lambda pair: pair[0], default=None)
    if low is not None and high is not None and low[0] > high[0]:
        # Every cut that cannot be true beside the tightest one of the other kind.
        clash = [o for s, o in upper if s < low[0]] + [o for s, o in lower if s > high[0]]
        listed = "; ".join(
            f"{_cut(o, system)} {'chattered' if o.chattered else 'did not'}" for o in clash
        )
        return Scale(
            low[0],
            high[0],
            tuple(clash),
            f"These cuts do not fit one chart: {listed}. Something differed between them (support, "
            "sharpness, material, speed): leave out the ones made with another set-up.",
        )
    low_m, high_m = (None if pair is None else pair[0] for pair in (low, high))
    shown = [show.show_length(end, system, 2) for end in (low_m, high_m) if end is not None]
    side = "" if len(shown) == 2 else "below " if low_m is None else "above "
    bound = side + " to ".join(shown)
    count = f"{len(observations)} cut{'s' if len(observations) > 1 else ''}"
    return Scale(low_m, high_m, (), f"By {count}, the depth stable at the worst speed is {bound}.")


def _cut(cut: ObservedCut, system: str) -> str:
    depth = show.show_length(cut.depth_m, system, 3)
    return f"{depth} at {show.show_spindle_speed(cut.rev_min)}"
