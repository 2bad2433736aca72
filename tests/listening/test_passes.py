"""Where the cutter is in the work: plateaus, passes, gaps, and what is left beside them."""

from __future__ import annotations

import numpy as np
import pytest

from chatter.job.cut import Cut, Job, Take
from chatter.job.cutter import Cutter
from chatter.listening.cuts import find_cuts
from chatter.listening.passes import Span, close_gaps, find_plateaus, rest_of
from chatter.listening.track import Track
from chatter.sound.frames import make_frames
from tests.listening.cuts_made import RATE_HZ, cut, reader, sine


def passes_of(x, rev_min, teeth, span_s=None):
    track = Track(reader(x), len(x), RATE_HZ)
    job = Job(Cutter(teeth), Cut(rev_min), take=Take(span_s=span_s))
    frames = make_frames(track.read, track.n, RATE_HZ)
    plateaus = find_plateaus(frames, spindle_hz=rev_min / 60)
    return find_cuts(track, job, plateaus), plateaus


def recording(rng, seconds, pieces, *, idle=0.01):
    """Idling (noise and a gear's tone) with pieces {start [s]: sound} laid over it."""
    x = idle * rng.standard_normal(round(seconds * RATE_HZ)) + sine(seconds, 437.0, idle)
    for start, piece in pieces.items():
        a = round(start * RATE_HZ)
        x[a : a + piece.size] += piece
    return x


def test_idle_cut_idle(rng):
    x = recording(rng, 30.0, {8.0: cut(rng, 14.0, 120.0, 30, ticks=0.3).x})
    cuts, plateaus = passes_of(x, 122.0, 30)
    (span,) = cuts.spans
    # the level is averaged over a turn, half a second: the edges are known to half of that
    assert span.start_s == pytest.approx(8.0, abs=0.3)
    assert span.end_s == pytest.approx(22.0, abs=0.3)
    before, after = rest_of(plateaus, cuts.spans)
    assert before.start_s < 0.1 and before.end_s == span.start_s
    assert after.start_s == span.end_s and after.end_s > 29.8


def test_twenty_passes_with_gaps_of_six_tenths(rng):
    """A fast end mill: passes of 0.7 to 1.1 s."""
    pieces, edges, at = {}, [], 0.6
    for i in range(20):
        length = 0.7 + 0.02 * i
        pieces[at] = cut(rng, length, 9000.0, 3, ticks=0.5).x
        edges.append((at, at + length))
        at += length + 0.6
    x = recording(rng, at, pieces)
    cuts, _ = passes_of(x, 9100.0, 3)
    assert len(cuts.spans) == 20
    found = np.array([(s.start_s, s.end_s) for s in cuts.spans])
    np.testing.assert_allclose(found, edges, atol=0.1)


def test_chatter_that_starts_inside_a_cut_does_not_split_it(rng):
    made = cut(rng, 16.0, 280.0, 12, ticks=0.5)  # 56 Hz: teeth at 60 Hz are masked with hum
    x = made.x.astype(float)
    loud = sine(8.0, 913.0, 0.9)  # 16 dB over the cut, from 8 s to the end
    x[-loud.size :] += loud
    cuts, _ = passes_of(x, 283.0, 12)
    (span,) = cuts.spans
    assert span.start_s < 0.3 and span.end_s > 15.7


def test_chatter_after_idling_stays_one_pass(rng):
    piece = (
        cut(rng, 12.0, 300.0, 12, ticks=0.5).x + np.r_[np.zeros(6 * RATE_HZ), sine(6.0, 913.0, 0.6)]
    )
    x = recording(rng, 24.0, {6.0: piece})
    cuts, _ = passes_of(x, 303.0, 12)
    (span,) = cuts.spans
    assert span.start_s == pytest.approx(6.0, abs=0.3)
    assert span.end_s == pytest.approx(18.0, abs=0.3)


def test_a_recording_that_is_one_cut(rng):
    made = cut(rng, 20.0, 57.0, 48, ticks=0.3)
    cuts, plateaus = passes_of(made.x, 58.0, 48)
    assert plateaus.thresholds_db == ()
    (span,) = cuts.spans
    assert span.length_s > 19.5


def test_idling_alone_has_no_plateaus_to_part(rng):
    _, plateaus = passes_of(recording(rng, 15.0, {}), 120.0, 30)
    assert plateaus.thresholds_db == ()


def test_a_stated_span_is_taken_as_it_is(rng):
    x = recording(rng, 12.0, {3.0: cut(rng, 6.0, 200.0, 20, ticks=0.3).x})
    cuts, _ = passes_of(x, 200.0, 20, span_s=(4.0, 99.0))
    assert cuts.spans == (Span(4.0, 12.0),)


def test_gain_moves_no_pass(rng):
    x = recording(rng, 20.0, {5.0: cut(rng, 10.0, 120.0, 30, ticks=0.3).x})
    loud, _ = passes_of(x, 120.0, 30)
    quiet, _ = passes_of(0.05 * x, 120.0, 30)
    assert [s.start_s for s in loud.spans] == pytest.approx([s.start_s for s in quiet.spans])


def test_a_thump_is_no_pass(rng):
    x = recording(rng, 20.0, {5.0: cut(rng, 10.0, 120.0, 30, ticks=0.3).x})
    x[17 * RATE_HZ : 17 * RATE_HZ + 400] += rng.standard_normal(400)
    cuts, _ = passes_of(x, 120.0, 30)
    assert len(cuts.spans) == 1


def naive_close(on, longest):
    out = list(on)
    for i in range(len(on)):
        if on[i]:
            continue
        left = [j for j in range(i) if on[j]]
        right = [j for j in range(i + 1, len(on)) if on[j]]
        if left and right and right[0] - left[-1] - 1 <= longest:
            out[i] = True
    return np.array(out)


def test_close_gaps_against_its_plain_twin(rng):
    for _ in range(60):
        on = rng.random(rng.integers(1, 30)) < 0.5
        for longest in (0, 1, 3):
            np.testing.assert_array_equal(close_gaps(on, longest), naive_close(on, longest))


def test_a_blow_at_the_very_end_is_no_pass(rng):
    """One frame above the limit where the recording stops: too short to be listened to."""
    x = recording(rng, 12.0, {3.0: cut(rng, 6.0, 300.0, 10, ticks=0.5).x})
    x[-600:] += 0.9 * rng.standard_normal(600)
    x[:600] += 0.9 * rng.standard_normal(600)
    cuts, _ = passes_of(x, 303.0, 10)
    assert all(one.length_s > 0.25 for one in cuts.spans)
    assert any(abs(one.start_s - 3.0) < 0.3 and abs(one.end_s - 9.0) < 0.3 for one in cuts.spans)
