"""What the listening makes of the speed of a sound that is one cut."""

from __future__ import annotations

import numpy as np

from chatter.listening.pass_speed import SpeedEstimate, estimate_speed
from chatter.listening.spans import Span
from chatter.listening.spindle import SpeedPosterior, log_ratios, weigh_speeds
from chatter.listening.track import Track
from tests.listening.cuts_made import Made, reader


def track_of(x: np.ndarray, rate_hz: int = 16000) -> Track:
    return Track(reader(x), len(x), rate_hz)


def weighed(made: Made, stated_rev_min: float, teeth: int) -> SpeedPosterior:
    """All speeds weighed over a sound that is one segment."""
    track = track_of(made.x, made.rate_hz)
    whole = Span(0.0, made.x.size / made.rate_hz)
    return weigh_speeds(track, (whole,), np.ones(1), stated_hz=stated_rev_min / 60, teeth=teeth)


def heard_in(made: Made, stated_rev_min: float, teeth: int) -> SpeedEstimate:
    """The same, and the speed of the one pass."""
    whole = Span(0.0, made.x.size / made.rate_hz)
    speed = weighed(made, stated_rev_min, teeth)
    return estimate_speed(track_of(made.x, made.rate_hz), whole, speed, (whole,))


def known_speed(spindle_hz: float, teeth: int, *, spread: float = 5e-5) -> SpeedPosterior:
    """A speed that is known beforehand, and is not looked for again in the sound."""
    log_p = np.zeros(log_ratios().size)
    return SpeedPosterior(spindle_hz, teeth, 1.0, spread, log_p, {})
