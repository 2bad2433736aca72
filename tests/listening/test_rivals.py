"""Where the level fails: gain that flattens it, and louder things than the cut."""

from __future__ import annotations

import numpy as np
import pytest

from chatter.job.cut import Cut, Job, Take
from chatter.job.cutter import Cutter
from chatter.listening.courses import explained, leading_courses, rises_db
from chatter.listening.cuts import find_cuts
from chatter.listening.passes import busy, find_plateaus, rest_of
from chatter.listening.rivals import better_spans
from chatter.listening.track import Track
from chatter.sound.frames import make_frames
from chatter.sound.modulation import moving_mean
from tests.listening.cuts_made import RATE_HZ, cut, high_pass, reader, sine


def passes_of(x, rev_min, teeth, span_s=None):
    track = Track(reader(x), len(x), RATE_HZ)
    job = Job(Cutter(teeth), Cut(rev_min), take=Take(span_s=span_s))
    frames = make_frames(track.read, track.n, RATE_HZ)
    plateaus = find_plateaus(frames, spindle_hz=rev_min / 60)
    return find_cuts(track, job, plateaus).spans, plateaus


def rumble(rng, seconds, level, *, hiss=0.05, top_hz=600.0):
    """Idling: noise, nearly all of it below ``top_hz``, and a gear's tone."""
    noise = rng.standard_normal(round(seconds * RATE_HZ))
    low = noise - high_pass(noise, top_hz, RATE_HZ)
    return level * (low / low.std() + hiss * noise) + sine(seconds, 437.0, 0.3 * level)


def zig_zag(rng, count, length_s, gap_s, rev_min, teeth, *, idle=0.01, low_hz=100.0, **rest):
    """Passes of one length over idling, and their edges [s]."""
    x = rumble(rng, gap_s + count * (length_s + gap_s), idle, **rest)
    edges = []
    for i in range(count):
        at = gap_s + i * (length_s + gap_s)
        piece = cut(rng, length_s, rev_min, teeth, ticks=0.5, low_hz=low_hz).x
        a = round(at * RATE_HZ)
        x[a : a + piece.size] += piece
        edges.append((at, at + length_s))
    return x, np.array(edges)


def flattened(rng):
    """Six passes that sound above 1 kHz over idling that sounds below, both equally loud:
    what one half of the bands gains the other loses."""
    made = {"idle": 0.03, "hiss": 0.3, "top_hz": 1000.0, "low_hz": 1000.0}
    x, edges = zig_zag(rng, 6, 2.0, 1.0, 1500.0, 4, **made)
    return levelled(x), edges


def levelled(x, over_s=0.15):
    """What a phone's gain leaves: every moment equally loud."""
    loudness = np.sqrt(moving_mean(np.asarray(x, float) ** 2, round(over_s * RATE_HZ)))
    return 0.1 * x / np.maximum(loudness, 1e-9)


def talk(rng, seconds, level):
    """Syllables: noise of 300 to 3000 Hz in bursts of irregular length, four a second."""
    n = round(seconds * RATE_HZ)
    noise = high_pass(rng.standard_normal(n), 300.0, RATE_HZ)
    noise -= high_pass(noise, 3000.0, RATE_HZ)
    swell, at = np.zeros(n), 0
    while at < n:
        length = round(rng.uniform(0.12, 0.3) * RATE_HZ)
        burst = np.hanning(length)[: n - at]
        swell[at : at + burst.size] = burst
        at += length + round(rng.uniform(0.0, 0.08) * RATE_HZ)
    return level * noise / noise.std() * swell


def test_zig_zag_under_gain_that_flattens_the_level(rng):
    x, edges = flattened(rng)
    spans, _ = passes_of(x, 1510.0, 4)
    found = np.array([(s.start_s, s.end_s) for s in spans])
    assert found.shape == edges.shape
    np.testing.assert_allclose(found, edges, atol=0.15)


def test_gaps_under_flattened_level_serve_as_idling(rng):
    x, edges = flattened(rng)
    spans, plateaus = passes_of(x, 1510.0, 4)
    rest = rest_of(plateaus, busy(plateaus, spans, spindle_hz=25.0))
    assert len(rest) == len(edges) + 1
    # seven gaps of a second; the gain and a level averaged over 0.08 s eat 0.15 s at each edge
    assert 7 * 0.7 <= sum(s.length_s for s in rest) <= 7 * 1.0


def test_talk_between_passes_does_not_join_them(rng):
    x, edges = zig_zag(rng, 9, 1.6, 0.8, 9000.0, 3)
    for i in (2, 5):  # louder than the gap, softer than the cut
        a = round((edges[i, 1] - 0.2) * RATE_HZ)
        said = talk(rng, 1.2, 0.05)
        x[a : a + said.size] += said
    spans, _ = passes_of(x, 9050.0, 3)
    assert len(spans) == len(edges)
    found = np.array([(s.start_s, s.end_s) for s in spans])
    np.testing.assert_allclose(found, edges, atol=0.25)


def test_a_cut_under_talk_stays_one_pass(rng):
    """Talk over a third of the cut: the louder third is no pass of its own."""
    x = rumble(rng, 26.0, 0.003)
    piece = cut(rng, 15.0, 300.0, 12, ticks=0.5).x.astype(float)
    said = talk(rng, 5.0, 0.5)
    piece[4 * RATE_HZ : 4 * RATE_HZ + said.size] += said
    x[5 * RATE_HZ : 5 * RATE_HZ + piece.size] += piece
    (span,), _ = passes_of(levelled(x, 1.0), 303.0, 12)
    assert span.start_s == pytest.approx(5.0, abs=0.5)
    assert span.end_s == pytest.approx(20.0, abs=0.5)


def test_a_cut_that_grows_louder_stays_one_pass(rng):
    made = cut(rng, 20.0, 300.0, 12, ticks=0.5)
    grows = 10.0 ** (np.linspace(-15.0, 0.0, made.x.size) / 20.0)
    (span,), plateaus = passes_of(made.x * grows, 303.0, 12)
    assert plateaus.thresholds_db == ()
    assert span.start_s < 0.3 and span.end_s > 19.7


def test_a_stated_span_stays_the_one_pass(rng):
    x, _ = flattened(rng)
    spans, _ = passes_of(x, 1510.0, 4, span_s=(0.5, 12.0))
    assert [(s.start_s, s.end_s) for s in spans] == [(0.5, 12.0)]


def asked(x, score):
    """Passes by rivals when the teeth answer ``score(span)``, and those by level."""
    frames = make_frames(reader(x), len(x), RATE_HZ)
    plateaus = find_plateaus(frames, spindle_hz=25.0)
    now = plateaus.spans_above(0, spindle_hz=25.0)
    best = better_spans(plateaus, now, spindle_hz=25.0, tooth_score=score, heard_score=8.0)
    return best, now


def test_the_teeth_decide(rng):
    """The same sound, four answers of the teeth; three passes are too few to go by length."""
    x, edges = zig_zag(rng, 3, 2.0, 1.0, 1500.0, 4)
    x = levelled(x)

    def cutting(span):
        middle = 0.5 * (span.start_s + span.end_s)
        return bool(np.any((edges[:, 0] < middle) & (middle < edges[:, 1])))

    best, now = asked(x, lambda span: 20.0 if cutting(span) else 2.0)
    assert len(best) == 3
    best, now = asked(x, lambda _: 20.0)  # heard as well between: one cut, other things on it
    assert best == now
    best, now = asked(x, lambda span: 20.0 if cutting(span) else 14.0)  # not clearer enough
    assert best == now
    best, now = asked(x, lambda span: 3.0 if cutting(span) else 1.0)  # nothing heard
    assert best == now


def test_evenly_long_passes_need_no_teeth(rng):
    """Four passes or more of one length, half of the change explained, clearly louder."""
    hiss = 0.14  # over the passes' own 0.1: 0.56 to 0.59 of what changes is theirs
    for count, length_s, found in ((6, 2.0, 6), (3, 2.0, 1)):
        x, _ = zig_zag(rng, count, length_s, 1.0, 1500.0, 4)
        best, _ = asked(x + hiss * rng.standard_normal(x.size), lambda _: 0.0)
        assert len(best) == found


def test_leading_courses_of_a_made_change(rng):
    """Gain moves every band alike: the course of shape does not see it."""
    n = 4000
    inside = (np.arange(n) // 500) % 2 == 1
    gain = 10.0 * np.sin(np.arange(n) / 90.0)
    shape = np.linspace(-3.0, 3.0, 12)[:, None] * inside
    bands = gain + shape + 0.2 * rng.standard_normal((12, n))
    whole, _, form, opposite = leading_courses(bands)
    np.testing.assert_array_equal(opposite, -form)
    assert abs(np.corrcoef(whole, gain)[0, 1]) > 0.99
    assert abs(np.corrcoef(form, inside)[0, 1]) > 0.98
    # root mean square over the bands, by hand: of -3 .. 3 in twelve steps
    step = abs(form[inside].mean() - form[~inside].mean())
    assert step == pytest.approx(np.sqrt(np.mean(shape[:, inside][:, 0] ** 2)), rel=0.02)


def test_explained_of_a_made_change(rng):
    """Steps of height 2 a half of the time: variance 1, over noise of variance 0.25."""
    n = 4000
    inside = np.arange(n) % 80 < 40
    sign = np.array([1.0, -1.0] * 5)[:, None]
    bands = sign * 2.0 * inside + 0.5 * rng.standard_normal((10, n))
    assert explained(bands, inside) == pytest.approx(1.0 / 1.25, abs=0.02)
    assert explained(bands, rng.random(n) < 0.5) < 0.01
    assert explained(bands, np.ones(n, bool)) == 0.0


def test_rises_by_two_views():
    inside = np.array([False, False, True, True])
    bands = np.zeros((5, 4))
    bands[0] += 30.0 * inside  # one band up by 30 dB: all power up by (1000 + 4) / 5
    power = 10.0 * np.log10(1004.0 / 5.0)
    assert rises_db(bands, inside) == pytest.approx((0.0, power))
    assert rises_db(bands + 6.0 * ~inside, inside) == pytest.approx((-6.0, power - 6.0))
    assert rises_db(bands, np.ones(4, bool)) == (0.0, 0.0)
