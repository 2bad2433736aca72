"""Each measure of a pass, and of a segment: what has the thing, and what only looks like it."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from chatter.listening.closer import look_closely
from chatter.listening.evidence import pieces
from chatter.listening.measures import _tone_measures
from chatter.listening.observation import observe
from chatter.listening.pass_case import _OF_THE_PASS
from chatter.listening.reference import References, idle_reference
from chatter.listening.spans import Span
from chatter.listening.spindle import weigh_speeds
from chatter.listening.tones import find_tones, frame_spectra
from chatter.sound.frames import make_frames
from tests.listening.cuts_made import RATE_HZ, cut, high_pass, reader, sine
from tests.listening.pass_sounds import (
    IDLE_S,
    IDLING,
    PASSES,
    SECONDS,
    TEETH,
    TURN_HZ,
    idle_noise,
    noise,
    resonance,
    swing,
)
from tests.listening.speed_made import known_speed, track_of


def test_a_squeal_is_another_line_than_the_one_that_may_be_chatter(rng):
    """Both above 1 kHz, free of the teeth, and without a family."""
    x = 0.02 * rng.standard_normal(6 * RATE_HZ) + sine(6.0, 2024.0, 0.1)
    levels = []
    for squeal in (0.0, 0.05):
        whole = x + sine(6.0, 3137.0, squeal)
        spectra = frame_spectra(reader(whole), 0, x.size, RATE_HZ, spindle_hz=10.0, teeth=6)
        tones = find_tones(spectra, spindle_hz=10.0, speed_error=1e-5, teeth=6)
        tone = next(t for t in tones if abs(t.frequency_hz - 2024.0) < 1.0)
        levels.append(_tone_measures(tones, tone)["squeal_db"])
    alone, beside = levels
    assert not alone > tone.prominence_db - 15.0  # or not a number: none there
    assert beside == pytest.approx(tone.prominence_db - 6.0, abs=1.0)  # half the amplitude


@cache
def values_of(name: str, other: str = "", weighed: bool = False) -> dict[str, float]:
    """Measures of a pass after idling, with or without another pass behind it."""
    rng = np.random.default_rng(20240917)
    parts = [IDLING.get(name, idle_noise)(rng), PASSES[name](rng)]
    span, spans = Span(IDLE_S, IDLE_S + SECONDS), [Span(IDLE_S, IDLE_S + SECONDS)]
    if other:
        parts += [idle_noise(rng), PASSES[other](rng)]
        spans.append(Span(2 * IDLE_S + SECONDS, 2 * (IDLE_S + SECONDS)))
    track = track_of(np.concatenate(parts))
    idle = idle_reference(track, None, (Span(0.0, IDLE_S),))
    speed = known_speed(TURN_HZ, TEETH)
    if weighed:
        speed = weigh_speeds(track, (span,), np.ones(1), stated_hz=TURN_HZ, teeth=TEETH)
    references = References.of(track, tuple(spans), idle)
    return look_closely(track, span, (span,), speed, references).measures


#: Measure, what has the thing, what only looks like it, and by how much more it must have.
TABLE = [
    ("prominence_db", "strong", "weak", 10.0),
    ("dominance_db", "strong", "loud teeth", 6.0),
    ("share_db", "strong", "weak", 10.0),
    ("flicker_db", "resonance", "strong", 1.0),
    ("freedom", "strong", "on a tooth order", 2.0),
    ("family_db", "family", "strong", 5.0),
    ("tone_rise_db", "strong", "there while idling", 15.0),
    ("tone_time_share", "strong", "late", 0.3),
    ("half_order", "on a half order", "strong", 0.5),
    ("mains_line", "on the mains", "strong", 0.5),
    ("fold_free_z", "weak family", "noise", 2.0),
    ("fold_half_z", "weak half family", "weak family", 3.0),
    ("fold_tooth_z", "weak teeth", "weak family", 3.0),
    ("fold_tone_z", "tone and weak family", "strong", 3.0),
    ("hump_prominence_db", "resonance", "noise", 5.0),
    ("hump_rise_db", "resonance", "resonance while idling", 6.0),
    ("hump_free_db", "resonance", "teeth on a mode", 3.0),
    ("hump_sharpness", "resonance", "dull resonance", 5.0),
    ("hump_onset_db", "late resonance", "resonance", 5.0),
    ("hump_harmonic_db", "resonance with harmonics", "resonance", 3.0),
    ("hump_pitch", "high resonance", "resonance", 0.8),
    ("turn_high_db", "rubs", "strokes", 6.0),
    ("turn_low_db", "rubs", "strokes", 6.0),
    ("turn_high_z", "rubs", "strokes", 6.0),
    ("turn_over_tooth_db", "rubs", "strokes", 6.0),
    ("turn_slope_db", "rubs up high", "rubs", 3.0),
    ("tooth_high_db", "strokes", "rubs", 6.0),
    ("tooth_low_db", "strokes", "rubs", 6.0),
    ("tooth_z", "strokes", "rubs", 6.0),
    ("side_high_db", "eccentric", "strokes", 6.0),
    ("side_low_db", "eccentric", "strokes", 4.0),
    ("side_z", "eccentric", "strokes", 6.0),
    ("sync_share", "strokes", "noise", 0.1),
    ("teeth_spread", "one high tooth", "strokes", 0.1),
    ("teeth_f_db", "one high tooth", "strokes", 8.0),
    ("teeth_top_db", "one high tooth", "strokes", 1.5),
    ("teeth_once", "eccentric", "one high tooth", 0.1),
    ("comb_share", "ticks", "strokes", 0.1),
]
#: The same where the speed is weighed from the sound, not known beforehand.
WEIGHED = [
    ("speed_z", "ticks", "noise", 3.0),
    ("turn_z", "uneven ticks", "noise", 1.5),
    ("speed_error_log", "noise", "ticks", 0.5),
]
#: Against another pass behind it: only here, or there too.
AGAINST_OTHERS = [
    ("tone_other_db", "strong", "noise", "strong", 10.0),
    ("hump_other_db", "resonance", "noise", "resonance", 5.0),
]
#: What is missing in what only looks like it.
ABSENT = [("onset_rise_db", "late", 8.0, "strong"), ("squeal_db", "squeal", 12.0, "strong")]


@pytest.mark.parametrize(("measure", "has", "looks", "margin"), TABLE, ids=str)
def test_what_has_it_has_more_of_it(measure, has, looks, margin):
    more, less = values_of(has)[measure], values_of(looks)[measure]
    assert np.isfinite(more) and np.isfinite(less)
    assert more > less + margin


def measures_at(x, rev_min, teeth):
    """Of a pass at another speed, alone."""
    track, span = track_of(x), Span(0.0, len(x) / RATE_HZ)
    speed = known_speed(rev_min / 60, teeth)
    return look_closely(
        track, span, (span,), speed, References.of(track, (span,), None)
    ).measures  # fmt: skip


def test_a_hump_that_swells_with_the_turn_of_a_saw(rng):
    """Frames of 16 teeth must be short against the turn: 48 teeth at 57 rev/min."""
    mode = resonance(rng)
    steady = measures_at(noise(rng) + mode, 57.0, 48)["hump_turn_db"]
    swells = measures_at(noise(rng) + swing(57.0 / 60, 0.9) * mode, 57.0, 48)["hump_turn_db"]
    assert swells > steady + 5.0
    assert np.isnan(values_of("resonance")["hump_turn_db"])  # 12 teeth: frames of a whole turn


def test_orders_of_the_turn_between_those_of_the_teeth(rng):
    """Frames of 24 turns part them where the shaft is fast: 6 teeth at 1656 rev/min."""
    heights = 1 + 0.4 * np.cos(2 * np.pi * np.arange(6) / 6)
    even = cut(rng, 8.0, 1656.0, 6, ticks=1.5).x
    uneven = cut(rng, 8.0, 1656.0, 6, ticks=1.5, heights=heights).x
    told = [measures_at(x, 1656.0, 6)["revolution_share_db"] for x in (uneven, even)]
    assert told[0] > told[1] + 6.0
    assert np.isnan(values_of("ticks")["revolution_share_db"])


@pytest.mark.parametrize(("measure", "has", "looks", "margin"), WEIGHED, ids=str)
def test_what_the_weighed_speed_tells(measure, has, looks, margin):
    more, less = (values_of(name, weighed=True)[measure] for name in (has, looks))
    assert more > less + margin


@pytest.mark.parametrize(("measure", "name", "without", "too", "margin"), AGAINST_OTHERS, ids=str)
def test_what_the_other_passes_tell(measure, name, without, too, margin):
    assert values_of(name, without)[measure] > values_of(name, too)[measure] + margin
    assert np.isnan(values_of(name)[measure])  # a single pass has no others: missing


@pytest.mark.parametrize(("measure", "has", "least", "lacks"), ABSENT, ids=str)
def test_what_is_not_there_is_missing_not_nought(measure, has, least, lacks):
    assert values_of(has)[measure] > least
    assert np.isnan(values_of(lacks).get(measure, np.nan))


def test_without_a_rest_nothing_is_said_of_newness():
    rng = np.random.default_rng(1)
    track = track_of(PASSES["strong"](rng))
    span = Span(0.0, SECONDS)
    near = look_closely(
        track, span, (span,), known_speed(TURN_HZ, TEETH), References.of(track, (span,), None)
    )
    for name in ("tone_rise_db", "hump_rise_db", "tone_other_db", "hump_other_db"):
        assert np.isnan(near.measures.get(name, np.nan)), name


def test_three_turns_have_no_tooth_map():
    rng = np.random.default_rng(1)
    track = track_of(PASSES["eccentric"](rng)[: int(0.62 * RATE_HZ)])
    span = Span(0.0, 0.62)
    near = look_closely(
        track, span, (span,), known_speed(TURN_HZ, TEETH), References.of(track, (span,), None)
    )
    assert near.sight.turning is None
    for name in ("teeth_spread", "turn_high_db", "side_z", "comb_share"):
        assert np.isnan(near.measures[name]), name


# ---------------------------------------------------------------- segments


def speech(rng, seconds):
    """Syllables of irregular length, four a second."""
    n = round(seconds * RATE_HZ)
    sound = high_pass(rng.standard_normal(n), 300.0, RATE_HZ)
    swell, at = np.full(n, 0.01), 0
    while at < n:
        length = round(rng.uniform(0.12, 0.3) * RATE_HZ)
        burst = np.hanning(length)[: n - at]
        swell[at : at + burst.size] = burst
        at += length + round(rng.uniform(0.0, 0.08) * RATE_HZ)
    return 0.05 * sound * swell


def band(rng, seconds, low_hz, high_hz, level):
    x = high_pass(rng.standard_normal(round(seconds * RATE_HZ)), low_hz, RATE_HZ)
    x = x - high_pass(x, high_hz, RATE_HZ)
    return level * x / x.std()


@cache
def segments_of(what: str) -> tuple[dict[str, float], ...]:
    """Idling, the sound, idling: the segments' measures."""
    rng = np.random.default_rng(7)
    made = {
        "cut": lambda: PASSES["ticks"](rng),
        "weak cut": lambda: 0.3 * PASSES["ticks"](rng),
        "eccentric cut": lambda: PASSES["uneven ticks"](rng),
        "speech": lambda: speech(rng, SECONDS),
        "hiss": lambda: band(rng, SECONDS, 100.0, 7900.0, 0.1),
        "low": lambda: band(rng, SECONDS, 110.0, 500.0, 0.05),
        "middle": lambda: band(rng, SECONDS, 500.0, 2000.0, 0.05),
        "high": lambda: band(rng, SECONDS, 2000.0, 7900.0, 0.05),
    }[what]()
    x = np.r_[idle_noise(rng), made + idle_noise(rng, SECONDS), idle_noise(rng)]
    track = track_of(x)
    frames = make_frames(track.read, track.n, RATE_HZ)
    seen = observe(track, frames, stated_hz=TURN_HZ, teeth=TEETH)
    middle = [i for i, s in enumerate(seen.spans) if s.start_s < IDLE_S + 0.5 * SECONDS < s.end_s]
    return seen.segments[middle[0]], seen.segments[0]


SEGMENT_TABLE = [
    ("over_quietest_db", "cut", "weak cut", 6.0),
    ("most_rise_db", "cut", "weak cut", 6.0),
    ("rise_low_db", "low", "high", 6.0),
    ("rise_middle_db", "middle", "high", 6.0),
    ("rise_high_db", "high", "low", 6.0),
    ("unrest_db", "speech", "cut", 1.2),
    ("comb_sound_z", "cut", "hiss", 3.0),
    ("comb_envelope_z", "cut", "hiss", 3.0),
    ("comb_apart_z", "cut", "hiss", 2.0),
    ("comb_turn_z", "eccentric cut", "hiss", 2.0),
    ("comb_turn_sound_z", "eccentric cut", "hiss", 0.8),
]


@pytest.mark.parametrize(("measure", "has", "looks", "margin"), SEGMENT_TABLE, ids=str)
def test_segments_that_have_it_have_more_of_it(measure, has, looks, margin):
    assert segments_of(has)[0][measure] > segments_of(looks)[0][measure] + margin


def test_a_segment_against_the_loudest_and_its_neighbours():
    cut, idle = segments_of("cut")
    assert cut["under_loudest_db"] == 0.0 and idle["under_loudest_db"] < -10.0
    assert cut["before_db"] > 10.0 and idle["after_db"] < -10.0
    assert np.isnan(idle["before_db"])  # nothing came before it: missing
    assert (idle["at_start"], cut["at_start"]) == (1.0, 0.0)


def test_a_lone_segment_is_held_against_nothing():
    rng = np.random.default_rng(7)
    track = track_of(PASSES["ticks"](rng))
    frames = make_frames(track.read, track.n, RATE_HZ)
    seen = observe(track, frames, stated_hz=TURN_HZ, teeth=TEETH)
    (told,) = seen.segments
    for name in ("over_quietest_db", "most_rise_db", "before_db", "rise_high_db"):
        assert name not in told


def test_the_tables_name_every_piece():
    """What is no measure of its own is tested where it is made: test_judging, test_numbers."""
    named = {row[0] for row in (*TABLE, *WEIGHED, *AGAINST_OTHERS, *ABSENT)}
    segments = {row[0] for row in SEGMENT_TABLE} | {"under_loudest_db"}
    named |= {"runout_share"}  # tests/listening/test_runout.py
    named |= {f"seg_{name}" for name in segments} | {"hump_turn_db", "revolution_share_db"}
    elsewhere = {"line_odds", "line_odds_second", "cut_odds", "length_s", "margin"}
    elsewhere |= {"margin_elsewhere"}  # tests/listening/test_numbers.py
    assert {piece.name for piece in pieces()} <= named | elsewhere
    assert set(_OF_THE_PASS) <= segments
    made = set(values_of("resonance")) | set(values_of("strong", "noise"))
    assert made <= named | {"hump_hz", "tone_hz", "revolutions"}
