"""Speed of one pass and its course, from what the whole recording says of the speed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from chatter.listening.clocks import envelope_gains, sound_gains
from chatter.listening.spans import Span
from chatter.listening.spindle import SLIP, SpeedPosterior
from chatter.listening.track import Track

#: Speeds a window of a pass may differ by from the pass, and how freely from the last window.
_STRAY, _STEPS, _JUMP = 0.015, 121, 0.0015
_MOST_WINDOWS = 8
_WINDOW_TURNS, _WINDOW_S = 10.0, (1.0, 14.0)
_SOUND_LINES, _ENVELOPE_LINES = 24, 8
#: What a comb's place is off by beyond its own statistics, as half a 95 % interval: the shaft
#: wanders within a window.
_OFF = 1.2e-3


@dataclass(frozen=True)
class SpeedEstimate:
    """Spindle frequency of a pass [Hz], all figures of the spindle, not the teeth.

    Attributes
    ----------
    spindle_hz, low_hz, high_hz : float
        With its 95 % interval.
    score, turn_score : float
        Standard scores of the combs of the teeth and of the turn in the pass; NaN where the
        pass is too short for any.
    heard : bool
        Whether the sound tells the speed; otherwise it is the likeliest near the dial.
    course : tuple of (time [s], frequency [Hz])
    other_hz : float or None
        A speed outside slip that fits far better.
    relative_error : float
        Standard error, for placing lines.
    """

    spindle_hz: float
    low_hz: float
    high_hz: float
    score: float
    turn_score: float
    heard: bool
    course: tuple[tuple[float, float], ...]
    other_hz: float | None
    relative_error: float


def estimate_speed(
    track: Track, span: Span, speed: SpeedPosterior, segments: tuple[Span, ...]
) -> SpeedEstimate:
    """The speed of one pass.

    Parameters
    ----------
    track : Track
    span : Span
        The pass.
    speed : SpeedPosterior
        Of the recording.
    segments : tuple of Span
        The segments that the pass is made of.
    """
    scores = [speed.scores(one) for one in segments]
    tooth = _largest([s[k] for s in scores for k in ("sound", "envelope", "apart")])
    turn = _largest([s[k] for s in scores for k in ("turn", "turn_sound")])
    longest = max(segments, key=lambda one: one.length_s, default=span)
    centre = speed.ratio_in(longest) * speed.stated_hz
    if not speed.heard:
        low, high = speed.stated_hz * (1 - SLIP), speed.stated_hz * (1 + SLIP)
        alone = ((0.5 * (span.start_s + span.end_s), centre),)
        error = max(speed.spread, 5e-4)
        return SpeedEstimate(centre, low, high, tooth, turn, False, alone, None, error)
    course = _course(track, span, centre, speed)
    mean = float(np.mean([f for _, f in course]))
    scatter = float(np.std([f for _, f in course])) / mean / np.sqrt(len(course))
    half = float(np.hypot(1.96 * max(speed.spread, scatter, 5e-5), _OFF))
    error = max(speed.spread, 5e-5)
    return SpeedEstimate(
        mean, mean * (1 - half), mean * (1 + half), tooth, turn, True, course, None, error
    )


def _largest(scores: list[float]) -> float:
    known = [one for one in scores if one == one]
    return max(known) if known else float("nan")


def _course(
    track: Track, span: Span, centre_hz: float, speed: SpeedPosterior
) -> tuple[tuple[float, float], ...]:
    """Speed at each window: the smoothest path through the windows' own combs."""
    teeth, rate = speed.teeth, track.rate_hz
    start, stop = track.samples(span)
    n = int(min(np.clip(_WINDOW_TURNS / centre_hz, *_WINDOW_S) * rate, stop - start))
    middle = 0.5 * (span.start_s + span.end_s)
    count = int(np.clip(np.ceil(1.5 * (stop - start) / n) - 1, 1, _MOST_WINDOWS))
    if count < 2 or n < 0.25 * rate:
        return ((middle, centre_hz),)
    offsets = np.linspace(-_STRAY, _STRAY, _STEPS)
    spacing = centre_hz * teeth * (1.0 + offsets)
    gains, times = [], []
    for at in np.linspace(start, stop - n, count).astype(int):
        x = track.read(int(at), int(at) + n)
        sound = sound_gains(x, rate, floor_hz=min(2.0 * teeth * centre_hz, 80.0))
        gain = 0.3 * sound.comb(spacing, np.arange(1, _SOUND_LINES + 1))
        swings = envelope_gains(x, rate, spindle_hz=centre_hz, tooth_hz=teeth * centre_hz)
        if swings is not None:
            gain = gain + swings.comb(spacing, np.arange(1, _ENVELOPE_LINES + 1))
        gains.append(gain)
        times.append((at + n / 2) / rate)
    jump = -0.5 * ((offsets[:, None] - offsets[None, :]) / _JUMP) ** 2
    score = gains[0] - 0.5 * (offsets / 0.005) ** 2
    back = []
    for gain in gains[1:]:
        options = score[:, None] + jump
        back.append(np.argmax(options, axis=0))
        score = options.max(axis=0) + gain
    path = [int(np.argmax(score))]
    for step in reversed(back):
        path.append(int(step[path[-1]]))
    path.reverse()
    return tuple(
        (float(t), float(centre_hz * (1.0 + offsets[i]))) for t, i in zip(times, path, strict=True)
    )
