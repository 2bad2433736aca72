"""Sound to hold a pass against, of the same take and of another."""

from __future__ import annotations

import numpy as np
import pytest

from chatter.listening.reference import Reference, idle_reference
from chatter.listening.spans import Span
from chatter.sound.spectrum import power_frames
from tests.listening.cuts_made import RATE_HZ, sine
from tests.listening.speed_made import track_of

N = 4096


def idling(rng, seconds=8.0):
    return 0.02 * rng.standard_normal(round(seconds * RATE_HZ)) + sine(seconds, 700.0, 0.01)


def mean_of(track):
    blocks = [block for _, block in power_frames(track.read, 0, track.n, n=N, hop=N // 2)]
    return np.concatenate(blocks).mean(axis=0)


@pytest.mark.parametrize("gain", [0.05, 20.0])
def test_another_take_is_scaled_to_the_pass_by_its_noise(rng, gain):
    """Another recording has another gain: what counts is how far a line stands out of its own."""
    track = track_of(idling(rng))
    other = idle_reference(track, track_of(gain * idling(rng)), ())
    mean = mean_of(track)
    like = other.like(mean, N)
    assert np.median(like) == pytest.approx(np.median(mean), rel=0.05)  # 5 % of the power: 0.2 dB
    line = round(700.0 * N / RATE_HZ)
    assert 10 * np.log10(like[line] / mean[line]) == pytest.approx(0.0, abs=0.5)


def test_the_same_take_keeps_its_level(rng):
    x = np.concatenate([idling(rng), 10.0 * idling(rng)])
    idle = idle_reference(track_of(x), None, (Span(0.0, 8.0),))
    loud = mean_of(track_of(x[8 * RATE_HZ :]))
    assert np.median(loud / idle.like(loud, N)) == pytest.approx(100.0, rel=0.1)


def test_what_is_too_short_is_no_reference(rng):
    track = track_of(idling(rng))
    assert idle_reference(track, None, (Span(1.0, 1.5),)) is None  # its borders are left out
    assert Reference(track, (Span(0.0, 0.1),)).like(mean_of(track), N) is None
