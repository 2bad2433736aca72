"""A pass over time: what it is where it does not chatter."""

from __future__ import annotations

import numpy as np
import pytest

from chatter.findings import Chatter
from chatter.listening.judging import Opinion
from chatter.listening.spans import Span
from chatter.listening.timeline import timeline
from chatter.listening.tones import frame_spectra
from tests.listening.cuts_made import RATE_HZ, reader, sine

SECONDS, START_S, HZ = 12.0, 6.0, 950.0


def moments_of(rng, verdict, also):
    """Noise, over which a tone begins half-way through the pass."""
    late = sine(SECONDS, HZ, 0.2)
    late[: round(START_S * RATE_HZ)] = 0.0
    x = 0.1 * rng.standard_normal(round(SECONDS * RATE_HZ)) + late
    spectra = frame_spectra(reader(x), 0, x.size, RATE_HZ, spindle_hz=5.0, teeth=8)
    chatter = Chatter(HZ, START_S, 0.5, "hopf", HZ / 40.0, 20.0)
    opinion = Opinion(verdict, also, 0.9, {}, None)
    return timeline(spectra, chatter, opinion, Span(0.0, SECONDS))


@pytest.mark.parametrize(("also", "before"), [((), "normal"), (("side_rubbing",), "side_rubbing")])
def test_before_the_chatter_stands_what_else_the_pass_is(rng, also, before):
    first, second = moments_of(rng, "chatter", also)
    assert (first.state, second.state) == (before, "chatter")
    assert (first.start_s, second.end_s) == (0.0, SECONDS) and first.end_s == second.start_s
    assert second.start_s == pytest.approx(START_S, abs=0.3)  # frames of 0.4 s
    assert second.chatter_db > first.chatter_db + 10.0


def test_too_few_frames_to_part_are_one_moment(rng):
    x = 0.1 * rng.standard_normal(800)
    spectra = frame_spectra(reader(x), 0, x.size, RATE_HZ, spindle_hz=5.0, teeth=8)
    few = type(spectra)(
        spectra.step_hz, spectra.frame_s, spectra.time_s[:2], spectra.power[:2], spectra.mean,
        spectra.floor, spectra.averages,
    )  # fmt: skip
    (whole,) = timeline(few, None, Opinion("normal", (), 0.9, {}, None), Span(0.0, 0.05))
    assert (whole.start_s, whole.end_s, whole.state) == (0.0, 0.05, "normal")
    assert np.all(few.power >= 0.0)
