"""Where the sound changes, and which stretches make one pass."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from chatter.job.cut import Cut, Job, Take
from chatter.job.cutter import Cutter
from chatter.listening.cuts import find_cuts, segment_cases
from chatter.listening.measured import measure_recording, rest_of
from chatter.listening.segments import change_points, find_segments
from chatter.listening.spans import Span, close_gaps
from chatter.sound.frames import make_frames
from tests.listening.cuts_made import RATE_HZ, cut, reader, sine
from tests.listening.speed_made import track_of


def segments_of(x, rev_min):
    return find_segments(make_frames(reader(x), len(x), RATE_HZ), turn_s=60.0 / rev_min)


def recording(rng, seconds, pieces, *, idle=0.01):
    """Idling (noise and a gear's tone) with pieces {start [s]: sound} laid over it."""
    x = idle * rng.standard_normal(round(seconds * RATE_HZ)) + sine(seconds, 437.0, idle)
    for start, piece in pieces.items():
        a = round(start * RATE_HZ)
        x[a : a + piece.size] += piece
    return x


def edges_of(spans):
    return np.array([one.end_s for one in spans[:-1]])


def truly_cut(spans, edges):
    """Probabilities as an ear that is never wrong would give them."""
    told = [
        sum(max(0.0, span.shared_s(Span(*one))) for one in edges) > 0.5 * span.length_s
        for span in spans
    ]
    return np.array(told, float)


def passes_of(x, rev_min, edges):
    spans = segments_of(x, rev_min)
    return find_cuts(spans, truly_cut(spans, edges), turn_s=60.0 / rev_min), spans


def test_segments_cover_the_recording_without_gap_or_overlap(rng):
    x = recording(rng, 30.0, {8.0: cut(rng, 14.0, 120.0, 30, ticks=0.3).x})
    spans = segments_of(x, 122.0)
    assert spans[0].start_s == 0.0 and spans[-1].end_s == pytest.approx(30.0, abs=0.05)
    assert all(a.end_s == b.start_s for a, b in itertools.pairwise(spans))


@pytest.mark.parametrize("rev_min", [40.0, 122.0, 900.0])
def test_idle_cut_idle(rng, rev_min):
    x = recording(rng, 30.0, {8.0: cut(rng, 14.0, rev_min, 30, ticks=0.3).x})
    (one,), spans = passes_of(x, rev_min, [(8.0, 22.0)])
    # the stroke of a cutter that turns once in 1.5 s and a block of one second are refined
    assert one.span.start_s == pytest.approx(8.0, abs=0.15)
    assert one.span.end_s == pytest.approx(22.0, abs=0.15)
    before, after = rest_of(spans, (one,))
    assert before.start_s < 0.1 and before.end_s == one.span.start_s
    assert after.start_s == one.span.end_s and after.end_s > 29.8


def test_a_cut_five_decibels_over_a_loud_machine_is_still_an_edge(rng):
    """No threshold of level parts these: the spectrum's shape does."""
    loud = cut(rng, 10.0, 300.0, 12, ticks=0.5, level=0.1).x
    x = recording(rng, 20.0, {5.0: loud}, idle=float(np.std(loud)) / 10 ** (5 / 20))
    edges = edges_of(segments_of(x, 300.0))
    for true in (5.0, 15.0):
        assert np.abs(edges - true).min() < 0.15


def test_twenty_passes_with_gaps_of_six_tenths(rng):
    """A fast end mill: passes of 0.7 to 1.1 s, 5 dB over idling."""
    pieces, edges, at = {}, [], 0.6
    piece = cut(rng, 0.7, 9000.0, 3, ticks=0.5)
    for i in range(20):
        length = 0.7 + 0.02 * i
        pieces[at] = cut(rng, length, 9000.0, 3, ticks=0.5).x
        edges.append((at, at + length))
        at += length + 0.6
    x = recording(rng, at, pieces, idle=float(np.std(piece.x)) / 10 ** (5 / 20) / 1.22)
    cuts, _ = passes_of(x, 9100.0, edges)
    assert len(cuts) == 20
    found = np.array([(one.span.start_s, one.span.end_s) for one in cuts])
    np.testing.assert_allclose(found, edges, atol=0.15)


def test_a_phone_whose_gain_flattens_the_level_hides_no_edge(rng):
    """Six passes above 1 kHz over idling below it, every moment made equally loud."""
    from chatter.sound.modulation import moving_mean
    from tests.listening.cuts_made import high_pass

    noise = rng.standard_normal(19 * RATE_HZ)
    low = noise - high_pass(noise, 1000.0, RATE_HZ)
    x = 0.03 * low / low.std()
    edges = [(1.0 + 3.0 * i, 3.0 + 3.0 * i) for i in range(6)]
    for start, _ in edges:
        piece = cut(rng, 2.0, 1500.0, 4, ticks=0.5, low_hz=1000.0).x
        x[round(start * RATE_HZ) : round(start * RATE_HZ) + piece.size] += piece
    loudness = np.sqrt(moving_mean(x**2, round(0.15 * RATE_HZ)))
    cuts, _ = passes_of(0.1 * x / np.maximum(loudness, 1e-9), 1510.0, edges)
    found = np.array([(one.span.start_s, one.span.end_s) for one in cuts])
    assert found.shape == (6, 2)
    np.testing.assert_allclose(found, edges, atol=0.15)


def test_gain_moves_no_edge(rng):
    x = recording(rng, 20.0, {5.0: cut(rng, 10.0, 120.0, 30, ticks=0.3).x})
    loud, quiet = segments_of(x, 120.0), segments_of(0.05 * x, 120.0)
    assert edges_of(loud) == pytest.approx(edges_of(quiet), abs=0.03)


def test_a_thump_is_no_pass(rng):
    x = recording(rng, 20.0, {5.0: cut(rng, 10.0, 120.0, 30, ticks=0.3).x})
    x[17 * RATE_HZ : 17 * RATE_HZ + 400] += rng.standard_normal(400)
    cuts, _ = passes_of(x, 120.0, [(5.0, 15.0)])
    (one,) = cuts
    assert (one.span.start_s, one.span.end_s) == pytest.approx((5.0, 15.0), abs=0.15)


def test_steady_noise_is_one_segment(rng):
    assert len(segments_of(0.1 * rng.standard_normal(20 * RATE_HZ), 120.0)) == 1


@pytest.mark.parametrize("seconds", [0.05, 0.3, 0.9])
def test_what_is_too_short_to_part_stays_whole(rng, seconds):
    (one,) = segments_of(0.1 * rng.standard_normal(round(seconds * RATE_HZ)), 120.0)
    assert one.start_s == 0.0 and one.end_s == pytest.approx(seconds, abs=0.06)


def naive_cost(level, edges):
    return sum(
        float(((level[a:b] - level[a:b].mean(axis=0)) ** 2).sum())
        for a, b in itertools.pairwise(edges)
    )


def test_change_points_against_every_partition(rng):
    """All 2^13 partitions of short series, counted out."""
    for _ in range(6):
        n, least, penalty = 14, 2, 6.0
        level = np.repeat(rng.normal(0.0, 2.0, (4, 2)), [4, 3, 5, 2], axis=0)
        level = level + rng.standard_normal((n, 2))
        best = min(
            naive_cost(level, (0, *inner, n)) + penalty * len(inner)
            for k in range(n)
            for inner in itertools.combinations(range(1, n), k)
            if min(np.diff((0, *inner, n))) >= least
        )
        edges = change_points(level, penalty=penalty, least=least)
        assert edges[0] == 0 and edges[-1] == n and min(np.diff(edges)) >= least
        assert naive_cost(level, edges) + penalty * (len(edges) - 2) == pytest.approx(best)


# ---------------------------------------------------------------- segments to passes

LONG = tuple(Span(float(i), float(i + 1)) for i in range(6))


def spans_of(cuts):
    return [(one.span.start_s, one.span.end_s, one.segments) for one in cuts]


def test_neighbouring_cuts_are_one_pass_and_the_rest_lies_between():
    cuts = find_cuts(LONG, np.array([0.1, 0.9, 0.6, 0.2, 0.3, 0.8]), turn_s=0.1)
    assert spans_of(cuts) == [(1.0, 3.0, (1, 2)), (5.0, 6.0, (5,))]
    assert rest_of(LONG, cuts) == (Span(0.0, 1.0), Span(3.0, 5.0))


def test_a_short_rest_is_part_of_the_pass_by_seconds_or_turns():
    spans = (Span(0.0, 2.0), Span(2.0, 2.3), Span(2.3, 4.0), Span(4.0, 5.0), Span(5.0, 7.0))
    p = np.array([0.9, 0.1, 0.9, 0.1, 0.9])
    assert [one[2] for one in spans_of(find_cuts(spans, p, turn_s=0.1))] == [(0, 1, 2), (4,)]
    # a saw at 57 rev/min may touch with a few teeth: 1.05 s is one turn
    slow = find_cuts(spans, p, turn_s=1.05)
    assert [one[2] for one in spans_of(slow)] == [(0, 1, 2, 3, 4)]


def test_what_is_shorter_than_two_turns_is_no_pass():
    p = np.array([0.0, 1.0, 0.0, 0.0, 0.0, 0.0])
    assert find_cuts(LONG, p, turn_s=0.45) != ()
    assert find_cuts(LONG, p, turn_s=0.6) == ()
    assert find_cuts(LONG, np.zeros(6), turn_s=0.1) == ()
    assert find_cuts((), np.zeros(0), turn_s=0.1) == ()


def test_even_odds_make_a_cut_and_less_does_not():
    assert find_cuts(LONG[:1], np.array([0.5]), turn_s=0.1) != ()
    assert find_cuts(LONG[:1], np.array([0.499]), turn_s=0.1) == ()


def test_what_is_hardly_less_likely_between_two_cuts_is_part_of_the_pass():
    def passes(middle):
        return [
            one.segments for one in find_cuts(LONG[:3], np.array([0.9, middle, 0.8]), turn_s=0.1)
        ]

    assert passes(0.4) == [(0, 1, 2)]
    assert passes(0.399) == [(0,), (2,)]
    # with nothing measured between them, a second apart
    assert len(find_cuts((Span(0.0, 5.0), Span(6.0, 9.0)), np.array([0.9, 0.8]), turn_s=0.1)) == 2
    # at the end of a pass it is none
    assert [one.segments for one in find_cuts(LONG[:2], np.array([0.9, 0.45]), turn_s=0.1)] == [
        (0,)
    ]


def test_a_segment_is_held_against_its_neighbours_and_the_best():
    def segment(sound, envelope):
        return {
            "comb_sound_z": sound, "comb_envelope_z": envelope,
            "comb_sound_best_z": 7.0, "comb_envelope_best_z": 5.0,
        }  # fmt: skip

    first, middle, last = segment_cases((segment(1.0, 2.0), segment(7.0, 5.0), segment(2.0, 1.0)))
    assert (middle["before_comb_sound_z"], middle["after_comb_sound_z"]) == (6.0, 5.0)
    assert (middle["before_comb_envelope_z"], middle["after_comb_envelope_z"]) == (3.0, 4.0)
    assert (first["comb_sound_rel_z"], middle["comb_sound_rel_z"]) == (-6.0, 0.0)
    # no neighbour there: missing, not nought
    assert "before_comb_sound_z" not in first and "after_comb_sound_z" not in last


# ---------------------------------------------------------------- with the fitted models


def measured(x, rev_min, teeth, span_s=None):
    track = track_of(np.asarray(x, np.float32))
    job = Job(Cutter(teeth), Cut(rev_min), take=Take(span_s=span_s))
    return measure_recording(track, make_frames(track.read, track.n, RATE_HZ), job)


def test_the_models_take_the_cut_for_the_pass(rng):
    x = recording(rng, 24.0, {7.0: cut(rng, 10.0, 300.0, 12, ticks=0.5).x})
    (one,) = measured(x, 303.0, 12).cuts
    assert one.span.start_s == pytest.approx(7.0, abs=0.3)
    assert one.span.end_s == pytest.approx(17.0, abs=0.3)


def test_chatter_that_starts_inside_a_cut_does_not_split_it(rng):
    """After six seconds of idling; a vibration 16 dB over the cut from its middle on."""
    late = np.r_[np.zeros(6 * RATE_HZ), sine(6.0, 913.0, 0.6)]
    x = recording(rng, 24.0, {6.0: cut(rng, 12.0, 280.0, 12, ticks=0.5).x + late})
    (one,) = measured(x, 283.0, 12).cuts
    assert one.span.start_s == pytest.approx(6.0, abs=0.3)
    assert one.span.end_s == pytest.approx(18.0, abs=0.3)


def test_a_stated_span_is_taken_as_it_is(rng):
    x = recording(rng, 12.0, {3.0: cut(rng, 6.0, 200.0, 20, ticks=0.3).x})
    (one,) = measured(x, 200.0, 20, span_s=(4.0, 99.0)).cuts
    assert (one.span.start_s, one.span.end_s) == pytest.approx((4.0, 12.0))


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


def test_a_stated_stretch_is_held_against_the_idling_beside_it(rng):
    """What was stated is the pass; what lies beside it still says what the machine does alone."""
    late = np.r_[np.zeros(4 * RATE_HZ), sine(6.0, 913.0, 0.5)]
    x = recording(rng, 20.0, {6.0: cut(rng, 10.0, 280.0, 12, ticks=0.5).x + late})
    told = measured(x, 283.0, 12, span_s=(11.0, 15.0))
    (one,) = told.cuts
    assert one.span == Span(11.0, 15.0)
    assert all(told.observation.spans[i].shared_s(one.span) > 0 for i in one.segments)
    assert told.rest and all(span.shared_s(Span(6.3, 15.7)) <= 0.3 for span in told.rest)
    assert told.cases[0]["tone_rise_db"] > 20.0
