"""What the models of a pass are asked about: everything measured of it, as one flat set."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from chatter.listening.closer import ClosePass
from chatter.listening.cuts import FoundCut
from chatter.listening.line_measures import LineMeasures, held_against_others
from chatter.listening.observation import Observation
from chatter.listening.trees import forest

#: Measures of segments that a line is seen with.
_BESIDE_A_LINE = (
    *("comb_sound_z", "comb_envelope_z", "comb_apart_z", "comb_turn_z", "comb_turn_sound_z"),
    *("speed_spread_log", "turns", "under_loudest_db", "unrest_db"),
)
#: Measures of segments that a pass takes over, the largest of its segments'.
_OF_THE_PASS = (
    *("over_quietest_db", "most_rise_db", "comb_sound_z", "comb_envelope_z", "comb_apart_z"),
    *("comb_turn_z", "comb_turn_sound_z", "unrest_db", "under_loudest_db"),
    *("rise_low_db", "rise_middle_db", "rise_high_db"),
)
#: Places and strengths that differ from recording to recording for no cause.
_LEFT_OUT = frozenset(("hump_hz", "tone_hz", "revolutions"))
#: Two lines nearer than this share of their frequency are one.
_SAME_LINE = 0.03
_MOST_MARGIN = 50.0


@dataclass(frozen=True)
class WeighedLine:
    """A line with the log odds that it is chatter, and what it was asked by."""

    line: LineMeasures
    case: dict[str, float]
    odds: float


def weigh_lines(
    observation: Observation, cutting: np.ndarray
) -> tuple[tuple[WeighedLine, ...], ...]:
    """All lines of all segments with their log odds of being chatter.

    Parameters
    ----------
    observation : Observation
    cutting : ndarray, shape (segments,)
        Probability that each segment is a cut.
    """
    cases, flat = line_cases(observation, cutting)
    odds = forest("line").log_odds(cases)
    weighed: list[list[WeighedLine]] = [[] for _ in observation.sounds]
    for line, case, log_odds in zip(flat, cases, odds, strict=True):
        weighed[line.segment].append(WeighedLine(line, case, float(log_odds)))
    return tuple(tuple(lines) for lines in weighed)


def line_cases(
    observation: Observation, cutting: np.ndarray
) -> tuple[list[dict[str, float]], list[LineMeasures]]:
    """What the model of lines is asked about, and the lines, in the same order."""
    lengths = np.array([one.span.length_s for one in observation.sounds])
    levels = np.array([s.get("under_loudest_db", 0.0) for s in observation.segments])
    elsewhere = _margin_elsewhere(observation)
    cases, flat = [], []
    for lines in observation.lines:
        for line in lines:
            beside = observation.segments[line.segment]
            case = dict(line.values) | held_against_others(line, lengths, levels)
            case |= {f"seg_{name}": beside.get(name, math.nan) for name in _BESIDE_A_LINE}
            case["seg_cutting"] = float(cutting[line.segment])
            case["margin_elsewhere"] = elsewhere
            cases.append(case)
            flat.append(line)
    return cases, flat


def _margin_elsewhere(observation: Observation) -> float:
    """How much better a speed fits that no slip explains: lines on its grid seem off the dial's."""
    return float(np.clip(observation.speed.margin_elsewhere, -_MOST_MARGIN, _MOST_MARGIN))


def likeliest_lines(
    cut: FoundCut, weighed: tuple[tuple[WeighedLine, ...], ...]
) -> tuple[WeighedLine, ...]:
    """The lines of a pass, likeliest chatter first."""
    inside = [one for i in cut.segments for one in weighed[i]]
    return tuple(sorted(inside, key=lambda one: -one.odds))


def pass_case(
    observation: Observation,
    cutting: np.ndarray,
    cut: FoundCut,
    close: ClosePass,
    lines: tuple[WeighedLine, ...],
) -> dict[str, float]:
    """Everything measured of one pass.

    Parameters
    ----------
    observation : Observation
    cutting : ndarray, shape (segments,)
    cut : FoundCut
    close : ClosePass
    lines : tuple of WeighedLine
        Of the pass, likeliest chatter first.
    """
    case = {name: value for name, value in close.measures.items() if name not in _LEFT_OUT}
    if lines:
        first = lines[0]
        case["line_odds"] = first.odds
        f = first.line.frequency_hz
        others = [one for one in lines if abs(one.line.frequency_hz - f) > _SAME_LINE * f]
        case["line_odds_second"] = others[0].odds if others else math.nan
    numbers = list(cut.segments)
    lengths = np.array([observation.sounds[i].span.length_s for i in numbers])
    mean = float(np.average(cutting[numbers], weights=lengths))
    case["cut_odds"] = math.log(mean + 1e-4) - math.log(1.0 - mean + 1e-4)
    for name in _OF_THE_PASS:
        known = [observation.segments[i].get(name, math.nan) for i in numbers]
        known = [one for one in known if one == one]
        case[f"seg_{name}"] = max(known) if known else math.nan
    case["length_s"] = cut.span.length_s
    case["margin"] = min(observation.speed.margin, _MOST_MARGIN)
    case["margin_elsewhere"] = _margin_elsewhere(observation)
    return case
