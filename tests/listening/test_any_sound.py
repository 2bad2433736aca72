"""Any sound at all gives whole findings, and what is no cut is not taken for one."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest

from chatter.findings import CAUSES, VERDICTS
from chatter.job.cut import Cut, Job, Take
from chatter.job.cutter import Cutter
from chatter.job.machine import Machine
from chatter.listening.hearing import hear
from chatter.listening.track import Track
from tests.listening.cuts_made import RATE_HZ, cut, melody, reader, sine


def job(rev_min=600.0, teeth=4):
    return Job(Cutter(teeth), Cut(rev_min), Machine())


DEGENERATE = {
    "all zero": lambda _: np.zeros(3 * RATE_HZ),
    "faint noise": lambda rng: 1e-6 * rng.standard_normal(3 * RATE_HZ),
    "a pure tone": lambda _: sine(3.0, 1000.0, 0.5),
    "a tone on the teeth": lambda _: sine(3.0, 40.0, 0.5),
    "clipped square wave": lambda _: np.sign(sine(3.0, 50.0, 1.0)) * 0.99,
    "an offset": lambda _: np.full(3 * RATE_HZ, 0.3),
    "one click": lambda _: np.r_[np.zeros(RATE_HZ), 1.0, np.zeros(2 * RATE_HZ)],
    "0.3 s": lambda rng: 0.1 * rng.standard_normal(int(0.3 * RATE_HZ)),
    "0.11 s": lambda rng: 0.1 * rng.standard_normal(int(0.11 * RATE_HZ)),
    "shorter than a frame": lambda rng: 0.1 * rng.standard_normal(100),
    "one sample": lambda _: np.array([0.5]),
    "half silence": lambda rng: np.r_[np.zeros(2 * RATE_HZ), 0.1 * rng.standard_normal(RATE_HZ)],
}


def no_nan(value):
    if isinstance(value, float):
        return math.isfinite(value)
    if isinstance(value, dict):
        return all(no_nan(v) for v in value.values())
    if isinstance(value, (tuple, list)):
        return all(no_nan(v) for v in value)
    if hasattr(value, "__dataclass_fields__"):
        return all(no_nan(getattr(value, name)) for name in value.__dataclass_fields__)
    return True


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("sound", DEGENERATE)
@pytest.mark.parametrize(("rev_min", "teeth"), [(57.0, 48), (3000.0, 2), (600.0, 1)])
def test_degenerate_sounds_give_whole_passes(rng, sound, rev_min, teeth):
    x = DEGENERATE[sound](rng).astype(np.float32)
    hearing = hear(Track(reader(x), x.size, RATE_HZ), job(rev_min, teeth), progress=lambda *_: None)
    for one in hearing.passes:
        assert no_nan(one), one
        assert one.verdict in VERDICTS and set(one.probabilities) == set(CAUSES)
        assert one.end_s >= one.start_s
        assert one.verdict != "chatter" or one.chatter is not None
        edges = [(m.start_s, m.end_s) for m in one.timeline]
        assert all(a[1] == b[0] for a, b in itertools.pairwise(edges))


@pytest.mark.parametrize("rate", [8000, 11025, 22050])
def test_low_rates(rng, rate):
    made = cut(rng, 8.0, 235.0, 12, rate_hz=rate, ticks=0.3)
    hearing = hear(
        Track(reader(made.x), made.x.size, rate), job(235.0, 12), progress=lambda *_: None
    )
    (one,) = hearing.passes
    assert no_nan(one) and one.spindle.heard
    assert one.spindle.rev_min == pytest.approx(235.0, rel=2e-3)
    assert max(line.frequency_hz for line in one.lines) < rate / 2


@pytest.mark.parametrize("span", [(0.0, 0.001), (1.0, 1.002), (1.0, 1.05), (7.9, 9.0)])
def test_tiny_spans(rng, span):
    made = cut(rng, 8.0, 235.0, 12, ticks=0.3)
    hearing = hear(
        Track(reader(made.x), made.x.size, RATE_HZ),
        replace(job(235.0, 12), take=Take(span_s=span)),
        progress=lambda *_: None,
    )
    for one in hearing.passes:  # or none at all: then nothing is judged
        assert one.verdict == "cannot_tell" and one.reason and no_nan(one)


_GAP = pytest.mark.xfail(strict=False, reason="known gap: music has steady lines too")


@pytest.mark.parametrize(
    ("rev_min", "teeth"),
    [
        (57, 48),
        (1656, 6),
        pytest.param(9000, 5, marks=_GAP),
        pytest.param(250, 1, marks=_GAP),
    ],
)
def test_music_is_no_cut(rng, rev_min, teeth):
    """Steady tones, much louder than what lies between them: all that chatter has, but a
    cutter."""
    notes = melody(rng, 10.0)
    x = np.r_[0.01 * rng.standard_normal(2 * RATE_HZ), notes].astype(np.float32)
    track = Track(reader(x), x.size, RATE_HZ)
    found = hear(track, job(float(rev_min), teeth), progress=lambda *_: None)
    assert {one.verdict for one in found.passes} <= {"machine_only", "cannot_tell"}
