"""Which stretches of the recording are cuts: plateaus of level, asked for their teeth, and
other ways to part it where the teeth prefer them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from chatter.job.cut import Job
from chatter.listening.passes import Plateaus, Span, cutting_level
from chatter.listening.rivals import better_spans
from chatter.listening.speed import HEARD_Z, Heard, comb_score, hear_speed
from chatter.listening.track import Track
from chatter.sound.frames import Frames
from chatter.sound.modulation import moving_mean


@dataclass(frozen=True)
class Cuts:
    """Stretches of cutting, and the speed heard over the longest of them."""

    spans: tuple[Span, ...]
    longest: Span
    heard: Heard


def find_cuts(track: Track, job: Job, plateaus: Plateaus) -> Cuts:
    """Find the passes of a recording; a stated time span is taken as the one pass.

    Parameters
    ----------
    track : Track
    job : Job
    plateaus : Plateaus
        Of the same recording.
    """
    if job.take.span_s is not None:
        start, stop = job.take.span_s
        span = Span(max(0.0, start), min(stop, track.n / track.rate_hz))
        return Cuts((span,), span, _listen_to(track, job, span))
    spindle_hz = job.cut.speed_rev_min / 60.0
    first = min(1, len(plateaus.thresholds_db))
    spans = plateaus.spans_above(first, spindle_hz=spindle_hz)
    spans = spans or plateaus.spans_above(0, spindle_hz=spindle_hz)
    longest = max(spans, key=lambda s: s.length_s)
    heard = _listen_to(track, job, longest)

    def teeth_in(span: Span) -> float:
        a, b = track.samples(span)
        return comb_score(
            track.read, a, b, track.rate_hz, spindle_hz=heard.spindle_hz, teeth=job.cutter.teeth
        )

    level = cutting_level(
        plateaus, spindle_hz=spindle_hz, tooth_score=teeth_in, heard_score=HEARD_Z
    )
    best = spans
    if level != first:
        best = plateaus.spans_above(level, spindle_hz=spindle_hz) or spans
    best = better_spans(
        plateaus, best, spindle_hz=spindle_hz, tooth_score=teeth_in, heard_score=HEARD_Z
    )
    if best == spans:
        return Cuts(spans, longest, heard)
    longest = max(best, key=lambda s: s.length_s)
    return Cuts(best, longest, _listen_to(track, job, longest))


def _listen_to(track: Track, job: Job, span: Span) -> Heard:
    a, b = track.samples(span)
    return hear_speed(
        track.read,
        a,
        b,
        track.rate_hz,
        stated_hz=job.cut.speed_rev_min / 60.0,
        teeth=job.cutter.teeth,
    )


def speed_of(track: Track, job: Job, span: Span, start: int, stop: int, cuts: Cuts) -> Heard:
    """Speed of one pass, samples [start, stop): its own, or, where the pass alone is too
    short to tell, that of the longest pass."""
    if span == cuts.longest:
        return cuts.heard
    heard = hear_speed(
        track.read,
        start,
        stop,
        track.rate_hz,
        stated_hz=job.cut.speed_rev_min / 60.0,
        teeth=job.cutter.teeth,
    )
    whole = cuts.heard
    if heard.heard or not whole.heard:
        return heard
    middle = 0.5 * (start + stop) / track.rate_hz
    return Heard(
        whole.spindle_hz,
        whole.low_hz,
        whole.high_hz,
        heard.score,
        heard.turn_score,
        True,
        ((middle, whole.spindle_hz),),
        whole.other_hz,
        whole.relative_error,
    )


def course_measures(
    frames: Frames, plateaus: Plateaus, span: Span, rest: tuple[Span, ...], cuts: Cuts
) -> dict[str, float]:
    """Measures of a pass that come from the level's course over the whole recording."""
    return {
        "contrast_db": contrast_db(plateaus, span, rest),
        "unrest_db": unrest_db(frames, span, 1.0 / cuts.heard.spindle_hz),
    }


def contrast_db(plateaus: Plateaus, span: Span, rest: tuple[Span, ...]) -> float:
    """Level of a pass over the rest of the recording [dB]; 0 when there is no rest: it is no
    louder than anything else that was heard."""
    time, level = plateaus.time_s, plateaus.activity_db
    inside = level[(time >= span.start_s) & (time <= span.end_s)]
    outside = [level[(time >= s.start_s) & (time <= s.end_s)] for s in rest]
    if not outside or not inside.size:
        return 0.0
    return float(np.median(inside) - np.median(np.concatenate(outside)))


def unrest_db(frames: Frames, span: Span, turn_s: float) -> float:
    """How much the band levels change between times a whole number of turns apart [dB].

    What repeats with the turn cancels: a cut gives 1 to 3 dB, speech and music 5 and more.
    NaN when the pass is too short to say.

    Parameters
    ----------
    frames : Frames
    span : Span
    turn_s : float
        Time of one revolution.
    """
    inside = (frames.time_s >= span.start_s) & (frames.time_s <= span.end_s)
    lag = turn_s * np.ceil(0.35 / turn_s)
    step = max(1, round(lag / frames.step_s))
    width = max(1, round(0.12 / frames.step_s))
    power = frames.power[inside][:, frames.edges_hz[:-1] >= 200.0]
    if power.shape[0] < 2 * step + width:
        return float("nan")
    level = 10.0 * np.log10(moving_mean(power.T, width) + 1e-14)
    change = np.abs(level[:, step:] - level[:, :-step])
    return float(np.median(1.4826 * np.median(change, axis=1) / np.sqrt(2.0)))
