"""Each measure of a line: a made signal that has the thing, and one that only looks like it."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from chatter.listening.evidence import pieces
from chatter.listening.line_measures import LineMeasures, held_against_others, measure_lines
from chatter.listening.segment_sound import segment_sound
from chatter.listening.spans import Span
from tests.listening.pass_sounds import (
    FREE,
    HALF_TOOTH,
    IDLE_S,
    IDLING,
    ON_TOOTH,
    ON_TURN,
    PASSES,
    SECONDS,
    TEETH,
    TOOTH_HZ,
    TURN_HZ,
    idle_noise,
    tone,
)
from tests.listening.speed_made import known_speed, track_of

PLACES = {
    "on a tooth order": ON_TOOTH,
    "on a turn order": ON_TURN,
    "teeth, on the turn": ON_TURN,
    "on a half order": HALF_TOOTH,
}


@cache
def lines_of(name: str, idle_name: str = "", alone: bool = False) -> tuple[LineMeasures, ...]:
    rng = np.random.default_rng(20240917)
    before = IDLING.get(name, idle_noise)(rng)
    x = PASSES[name](rng)
    track = track_of(x if alone else np.r_[before, x])
    at = 0.0 if alone else IDLE_S
    spans = (Span(at, at + SECONDS),) if alone else (Span(0.0, at), Span(at, at + SECONDS))
    sounds = tuple(segment_sound(track, span, tooth_hz=TOOTH_HZ) for span in spans)
    idle = None
    if idle_name:
        quiet = idle_noise(rng) + (tone(a=0.02, seconds=IDLE_S) if idle_name == "with it" else 0.0)
        idle = segment_sound(track_of(quiet), Span(0.0, IDLE_S), tooth_hz=TOOTH_HZ)
    speed = known_speed(TURN_HZ, TEETH)
    return measure_lines(track, sounds, len(sounds) - 1, speed, idle=idle)


def values_of(name: str, idle_name: str = "", alone: bool = False) -> dict[str, float]:
    """Measures of the line in question; a resonance's line is the highest of its bumps."""
    reach = 25.0 if "resonance" in name else 2.0
    place = PLACES.get(name, FREE)
    near = [
        line for line in lines_of(name, idle_name, alone) if abs(line.frequency_hz - place) < reach
    ]
    assert near, f"{name}: no line at {place:.0f} Hz"
    best = max(near, key=lambda line: line.values["prominence_db"])
    lengths = np.array([SECONDS] if alone else [IDLE_S, SECONDS])
    return best.values | held_against_others(best, lengths, np.arange(lengths.size, dtype=float))


#: Measure, what has the thing, what only looks like it, and by how much more it must have.
TABLE = [
    ("prominence_db", "strong", "weak", 10.0),
    ("gap_db", "strong", "beside a stronger", 6.0),
    ("share_db", "strong", "weak", 10.0),
    ("added_share_db", "strong", "there while idling", 6.0),
    ("near_share_db", "strong", "among others", 2.0),
    ("over_quietest_db", "strong", "there while idling", 15.0),
    ("over_all_least_db", "strong", "there while idling", 15.0),
    ("over_all_mean_db", "strong", "there while idling", 15.0),
    ("over_all_loudest_db", "strong", "there while idling", 15.0),
    ("stands_over_quietest_db", "strong", "there while idling", 15.0),
    ("stands_over_middle_db", "strong", "there while idling", 15.0),
    ("stands_share", "strong", "in flashes", 0.3),
    ("flicker_db", "resonance", "strong", 1.0),
    ("late_over_early_db", "late", "strong", 6.0),
    ("with_whole", "swells with all", "steady in what swells", 0.4),
    ("off_tooth", "strong", "on a tooth order", 0.2),
    ("off_tooth_odds", "strong", "on a tooth order", 2.0),
    ("off_turn", "strong", "on a turn order", 0.3),
    ("off_turn_odds", "strong", "on a turn order", 2.0),
    ("off_half_tooth", "strong", "on a half order", 0.15),
    ("off_half_tooth_odds", "strong", "on a half order", 2.0),
    ("family_db", "family", "strong", 8.0),
    ("family_over_half_db", "family", "family of halves", 8.0),
    ("fine_family_db", "family", "family of halves", 8.0),
    ("turn_family_db", "turn family", "strong", 8.0),
    ("over_teeth_db", "strong", "loud teeth", 6.0),
    ("second_db", "harmonics", "strong", 8.0),
    ("third_db", "harmonics", "strong", 8.0),
    ("half_db", "its half", "strong", 8.0),
    ("second_under_first_db", "harmonics", "strong", 6.0),
    ("width_log_hz", "resonance", "strong", 1.0),
    ("swing_db", "fed by the teeth", "strong", 3.0),
    ("tooth_swing_db", "fed by the teeth", "swings elsewhere", 10.0),
    ("tooth_swing_stands_db", "fed by the teeth", "swings elsewhere", 10.0),
    ("second_swing_stands_db", "fed twice a tooth", "swings elsewhere", 6.0),
    ("turn_swing_db", "fed by the turn", "swings elsewhere", 10.0),
    ("turn_swing_stands_db", "fed by the turn", "swings elsewhere", 10.0),
    ("repeats_turn", "strong", "resonance", 0.3),
    ("repeats_teeth", "strong", "resonance", 0.3),
    ("sound_clock_z", "teeth", "strong", 2.0),
    ("shift_envelope", "teeth", "teeth, on the turn", 0.8),
    ("shift_sound", "teeth", "teeth, on the turn", 0.8),
    ("shift_most", "teeth", "teeth, on the turn", 0.8),
    ("shift_least", "teeth", "teeth, on the turn", 0.8),
    ("on_turn_envelope", "teeth, on the turn", "teeth", 0.8),
    ("on_turn_sound", "teeth, on the turn", "teeth", 0.8),
    ("three_off_turn", "teeth", "teeth, on the turn", 0.2),
    ("clocks_apart", "two clocks", "teeth", 2.0),
    ("noise_repeats", "hiss once a turn", "strong", 0.3),
]


@pytest.mark.parametrize(("measure", "has", "looks", "margin"), TABLE, ids=lambda one: str(one))
def test_what_has_it_has_more_of_it(measure, has, looks, margin):
    more, less = values_of(has)[measure], values_of(looks)[measure]
    assert np.isfinite(more) and np.isfinite(less)
    assert more > less + margin


def test_new_against_an_idle_recording():
    quiet, there = values_of("strong", "without it"), values_of("strong", "with it")
    assert quiet["over_idle_db"] > there["over_idle_db"] + 15.0
    assert "over_idle_db" not in values_of("strong")


def test_the_table_names_every_measure_and_every_piece():
    named = {row[0] for row in TABLE} | {"over_idle_db"}
    # the clock of the envelopes is looked for so near the known speed that its standard score
    # says little by itself: 2.3 with strokes, 2.7 in noise
    named |= {"envelope_clock_z"}
    made = {name for sound in ("strong", "teeth") for name in values_of(sound)}
    assert made <= named
    # what a line is seen with belongs to its segment
    assert {piece.name for piece in pieces("line")} <= named | {"seg_cutting"}


def test_a_line_lies_where_it_was_put():
    for name, place in (("strong", FREE), *PLACES.items()):
        near = min(lines_of(name), key=lambda line, f=place: abs(line.frequency_hz - f))
        assert near.frequency_hz == pytest.approx(place, abs=0.1)  # a bin of 8 s is 0.125 Hz


def test_noise_has_no_lines_worth_asking_about():
    assert all(line.values["prominence_db"] < 10.0 for line in lines_of("noise"))


def test_gain_changes_no_measure():
    rng = np.random.default_rng(3)
    x = np.r_[idle_noise(rng), PASSES["teeth"](rng)]
    spans = (Span(0.0, IDLE_S), Span(IDLE_S, IDLE_S + SECONDS))
    told = []
    for gain in (1.0, 0.02):
        track = track_of(gain * x)
        sounds = tuple(segment_sound(track, span, tooth_hz=TOOTH_HZ) for span in spans)
        lines = measure_lines(track, sounds, 1, known_speed(TURN_HZ, TEETH))
        told.append(min(lines, key=lambda line: abs(line.frequency_hz - FREE)).values)
    assert told[0] == pytest.approx(told[1], rel=0.01, abs=0.02, nan_ok=True)


# ---------------------------------------------------------------- missing is missing


def test_without_a_rest_nothing_is_said_of_newness():
    """No other segment is no evidence that the line is old: absent, never nought."""
    told = values_of("strong", alone=True)
    for name, _, looks, _ in TABLE:
        if looks == "there while idling" and name != "added_share_db":
            assert name not in told
    assert told["added_share_db"] == pytest.approx(told["share_db"], abs=0.5)


def test_a_short_stretch_has_no_grid_of_the_turn():
    rng = np.random.default_rng(5)
    x = (PASSES["teeth"](rng))[: int(0.9 * 16000)]  # 4.3 turns
    track = track_of(x)
    sounds = (segment_sound(track, Span(0.0, 0.9), tooth_hz=TOOTH_HZ),)
    lines = measure_lines(track, sounds, 0, known_speed(TURN_HZ, TEETH))
    told = min(lines, key=lambda line: abs(line.frequency_hz - FREE)).values
    for name in ("shift_most", "sound_clock_z", "noise_repeats", "turn_family_db"):
        assert name not in told
    assert segment_sound(track, Span(0.0, 0.3), tooth_hz=TOOTH_HZ) is None


def test_an_unknown_speed_covers_the_grid():
    rng = np.random.default_rng(5)
    track = track_of(PASSES["strong"](rng))
    sounds = (segment_sound(track, Span(0.0, SECONDS), tooth_hz=TOOTH_HZ),)
    (line,) = measure_lines(track, sounds, 0, known_speed(TURN_HZ, TEETH, spread=0.03))
    assert line.values["off_tooth_odds"] == line.values["off_turn_odds"] == 0.0
    assert np.isnan(line.values["off_tooth"]) and np.isnan(line.values["off_turn"])


def line_with(levels, stands, segment):
    return LineMeasures(segment, 900.0, np.array(levels), np.array(stands), {})


def test_held_against_others_on_paper():
    line = line_with([10.0, 40.0, 30.0, 0.0], [3.0, 25.0, 20.0, np.nan], 1)
    told = held_against_others(
        line, np.array([2.0, 5.0, 2.0, 0.5]), np.array([-30.0, 0.0, -5.0, -20.0])
    )
    assert told["over_quietest_db"] == 30.0  # the quietest segment, not where the line is weakest
    assert told["over_all_loudest_db"] == 10.0
    assert told["over_all_mean_db"] == pytest.approx(40.0 - 40.0 / 3)
    assert told["over_all_least_db"] == 30.0  # half a second stands for no machine
    assert told["stands_over_quietest_db"] == 22.0
    assert told["stands_over_middle_db"] == pytest.approx(25.0 - 11.5)


def test_held_against_nothing_says_nothing():
    assert held_against_others(line_with([9.0], [9.0], 0), np.array([4.0]), np.array([0.0])) == {}


def test_held_against_short_segments_only_is_missing_not_nought():
    told = held_against_others(
        line_with([9.0, 3.0], [9.0, 3.0], 0), np.array([4.0, 0.5]), np.array([0.0, -9.0])
    )
    assert np.isnan(told["over_all_least_db"]) and told["over_quietest_db"] == 6.0
