"""All that is measured of a recording before anything is judged: segments, speed, lines."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from chatter.listening.line_measures import HIGHEST_HZ, LOWEST_HZ, LineMeasures, measure_lines
from chatter.listening.segment_sound import SegmentSound, segment_sound
from chatter.listening.segments import find_segments
from chatter.listening.spans import Span
from chatter.listening.spindle import SpeedPosterior, weigh_speeds
from chatter.listening.track import Track
from chatter.sound.frames import Frames
from chatter.sound.spectrum import db

#: Groups of bands in which a cut may rise over the machine [Hz].
_GROUPS = {"low": (110.0, 500.0), "middle": (500.0, 2000.0), "high": (2000.0, 9000.0)}
#: A segment this long may stand for the machine at rest.
_REST_S = 0.8
#: Lines are measured in so many segments, the loudest by what they add; a recording of hundreds
#: of alike passes is not made clearer by more.
_MOST_SEGMENTS = 40
#: Segments whose frames are kept; of hundreds those beyond are read again where they are measured.
_MOST_WHOLE = 40
#: Lag over which band levels are compared for unrest [s].
_UNREST_S = 0.35


@dataclass(frozen=True)
class Observation:
    """What was measured of a recording.

    Attributes
    ----------
    frames : Frames
    sounds : tuple of SegmentSound
        The segments that are long enough to be measured, in order.
    speed : SpeedPosterior
    segments : tuple of dict
        Measures of each of ``sounds``: name -> number, NaN where it cannot be had.
    lines : tuple of tuple of LineMeasures
        The lines of each.
    levels_db : ndarray, shape (segments, bands)
        Mean level of each in the bands of the frames that are measured.
    """

    frames: Frames
    sounds: tuple[SegmentSound, ...]
    speed: SpeedPosterior
    segments: tuple[dict[str, float], ...]
    lines: tuple[tuple[LineMeasures, ...], ...]
    levels_db: np.ndarray

    @property
    def spans(self) -> tuple[Span, ...]:
        """The segments as stretches of time."""
        return tuple(one.span for one in self.sounds)


def observe(
    track: Track,
    frames: Frames,
    *,
    stated_hz: float,
    teeth: int,
    idle_track: Track | None = None,
    within: Span | None = None,
    progress: Callable[[float], None] | None = None,
) -> Observation:
    """Measure a recording.

    Parameters
    ----------
    track : Track
    frames : Frames
        Band levels of the whole track.
    stated_hz : float
        Spindle frequency by the dial.
    teeth : int
    idle_track : Track, optional
        The same machine idling, in another recording.
    within : Span, optional
        A stated stretch: segments end at its edges; what lies beside it is measured too, to
        hold it against.
    progress : callable, optional
        Called with the share done.
    """
    tooth_hz = stated_hz * teeth
    stretches = find_segments(frames, turn_s=1.0 / stated_hz)
    if within is not None:
        stretches = _split(stretches, within)
    sounds = _read(track, stretches, tooth_hz)
    spans = tuple(one.span for one in sounds)
    levels = np.array([_band_levels(frames, span) for span in spans])
    speed = weigh_speeds(track, spans, _weights(levels), stated_hz=stated_hz, teeth=teeth)
    idle = _idle_sound(idle_track, track, tooth_hz)
    chosen = _worth_measuring(sounds)
    lines = []
    for i in range(len(sounds)):
        if i in chosen:
            whole = (*sounds[:i], _whole(sounds[i], track, tooth_hz), *sounds[i + 1 :])
            lines.append(measure_lines(track, whole, i, speed, idle=idle))
        else:
            lines.append(())
        if progress is not None:
            progress((i + 1) / len(sounds))
    segments = _segment_measures(frames, sounds, levels, speed)
    heard = frames.edges_hz[:-1] >= LOWEST_HZ
    bands = levels[:, heard] if sounds else np.zeros((0, int(heard.sum())))
    return Observation(frames, sounds, speed, segments, tuple(lines), bands)


def _read(track: Track, spans: tuple[Span, ...], tooth_hz: float) -> tuple[SegmentSound, ...]:
    """The sounds of those segments that are long enough; beyond so many without their frames."""
    sounds: list[SegmentSound] = []
    for span in spans:
        sound = segment_sound(track, span, tooth_hz=tooth_hz)
        if sound is not None:
            whole = len(sounds) < _MOST_WHOLE
            sounds.append(sound if whole else replace(sound, power=np.empty((0, 0), np.float32)))
    return tuple(sounds)


def _whole(sound: SegmentSound, track: Track, tooth_hz: float) -> SegmentSound:
    """A sound with its frames, read again where they were let go of."""
    if sound.power.size:
        return sound
    return segment_sound(track, sound.span, tooth_hz=tooth_hz) or sound


def _split(spans: tuple[Span, ...], within: Span) -> tuple[Span, ...]:
    """The same spans, cut at the edges of a stretch."""
    parts = []
    for span in spans:
        inner = [t for t in (within.start_s, within.end_s) if span.start_s < t < span.end_s]
        edges = [span.start_s, *inner, span.end_s]
        parts += [Span(a, b) for a, b in itertools.pairwise(edges) if b > a]
    return tuple(parts)


def _band_levels(frames: Frames, span: Span) -> np.ndarray:
    """Mean level of each band of the frames in a span [dB], shape (bands,)."""
    inside = (frames.time_s >= span.start_s) & (frames.time_s <= span.end_s)
    if not inside.any():
        inside = np.abs(frames.time_s - 0.5 * (span.start_s + span.end_s)) <= frames.step_s
    return np.asarray(db(frames.power[inside].mean(axis=0) + 1e-14))


def _weights(levels: np.ndarray) -> np.ndarray:
    """How likely each segment is a cut, by level alone: for weighing the speed only."""
    if not levels.size:  # a stated stretch too short to be measured
        return np.zeros(0)
    whole = np.asarray(db(np.sum(10.0 ** (levels / 10.0), axis=1)))
    return np.clip((whole - whole.min()) / max(float(np.ptp(whole)), 3.0), 0.05, 1.0)


def _idle_sound(idle: Track | None, track: Track, tooth_hz: float) -> SegmentSound | None:
    if idle is None or idle.rate_hz != track.rate_hz:
        return None
    return segment_sound(idle, Span(0.0, idle.n / idle.rate_hz), tooth_hz=tooth_hz)


def _worth_measuring(sounds: tuple[SegmentSound, ...]) -> set[int]:
    added = [-one.level(LOWEST_HZ, HIGHEST_HZ) * min(one.span.length_s, 4.0) for one in sounds]
    return set(np.argsort(added)[:_MOST_SEGMENTS].tolist())


def _segment_measures(
    frames: Frames,
    sounds: tuple[SegmentSound, ...],
    levels: np.ndarray,
    speed: SpeedPosterior,
) -> tuple[dict[str, float], ...]:
    """What tells a cut from the rest of the recording, of each segment."""
    if not sounds:
        return ()
    lengths = np.array([sound.span.length_s for sound in sounds])
    scores = [speed.scores(sound.span) for sound in sounds]
    long = lengths >= _REST_S
    rest = levels[long] if long.any() else levels
    bands = frames.edges_hz[:-1] >= LOWEST_HZ
    whole = np.asarray(db(np.sum(10.0 ** (levels[:, bands] / 10.0), axis=1)))
    quiet = float(whole[long].min() if long.any() else whole.min())
    order = np.argsort(whole)
    middle = float(whole[order][np.searchsorted(np.cumsum(lengths[order]), 0.5 * lengths.sum())])
    several = len(sounds) > 1
    measures = []
    for i, sound in enumerate(sounds):
        values = {
            "length_s": lengths[i],
            "turns": lengths[i] * speed.spindle_hz,
            "share_of_recording": lengths[i] / lengths.sum(),
            "unrest_db": _unrest(frames, sound.span, 1.0 / speed.spindle_hz),
            "speed_spread_log": math.log(max(speed.spread, 1e-5)),
        }
        if several:
            rise = levels[i] - rest.min(axis=0)
            values |= {
                "over_quietest_db": whole[i] - quiet,
                "under_loudest_db": whole[i] - whole.max(),
                "over_middle_db": whole[i] - middle,
                "most_rise_db": float(np.sort(rise[bands])[-3:].mean()),
                "before_db": whole[i] - whole[i - 1] if i else math.nan,
                "after_db": whole[i] - whole[i + 1] if i + 1 < len(sounds) else math.nan,
                "at_start": float(i == 0),
                "at_end": float(i + 1 == len(sounds)),
            }
            for name, (low, high) in _GROUPS.items():
                inside = (frames.edges_hz[:-1] >= low) & (frames.edges_hz[1:] <= high)
                values[f"rise_{name}_db"] = float(rise[inside].mean()) if inside.any() else math.nan
        for kind, z in scores[i].items():
            values[f"comb_{kind}_z"] = z
            known = [s[kind] for s in scores if s[kind] == s[kind]]
            values[f"comb_{kind}_best_z"] = max(known) if known else math.nan
        values |= speed.elsewhere(sound.span)
        measures.append({name: float(v) for name, v in values.items()})
    return tuple(measures)


def _unrest(frames: Frames, span: Span, turn_s: float) -> float:
    """How much band levels change between times a whole number of turns apart [dB].

    What repeats with the turn cancels: a cut gives 1 to 3 dB, speech and music 5 and more.
    """
    inside = (frames.time_s >= span.start_s) & (frames.time_s <= span.end_s)
    lag = turn_s * np.ceil(_UNREST_S / turn_s)
    step = max(1, round(lag / frames.step_s))
    width = max(1, round(0.12 / frames.step_s))
    power = frames.power[inside][:, frames.edges_hz[:-1] >= 200.0]
    count = power.shape[0] // width
    if count * width < step + 2 * width or count < 3:
        return math.nan
    mean = power[: count * width].reshape(count, width, -1).mean(axis=1)
    level = np.asarray(db(mean + 1e-14))
    apart = max(1, round(step / width))
    if apart >= count:
        return math.nan
    return float(np.median(np.abs(level[apart:] - level[:-apart])))
