"""What is measured of made samples before any number is stated."""

from __future__ import annotations

import numpy as np

from chatter.listening.rates import Rates, measure_rates
from chatter.listening.track import Track
from chatter.sound.frames import make_frames
from tests.listening.cuts_made import RATE_HZ


def rates_of(samples: np.ndarray) -> Rates:
    """Of samples at ``RATE_HZ``."""
    x = np.asarray(samples, np.float32)
    track = Track(lambda a, b: x[a:b], x.size, RATE_HZ)
    return measure_rates(track, make_frames(track.read, track.n, RATE_HZ))
