"""A recording measured and weighed together, before any verdict."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from chatter.job.cut import Job
from chatter.listening.closer import ClosePass, look_closely
from chatter.listening.cuts import FoundCut, cutting_probability, find_cuts
from chatter.listening.observation import Observation, observe
from chatter.listening.pass_case import WeighedLine, likeliest_lines, pass_case, weigh_lines
from chatter.listening.reference import References, idle_reference
from chatter.listening.spans import Span
from chatter.listening.track import Track
from chatter.sound.frames import Frames

#: Layouts of passes are kept up to so many bytes; of hundreds of passes those beyond are made
#: again when they are named, so that memory does not grow with the recording.
_MOST_HELD = 64_000_000


@dataclass(frozen=True)
class Measured:
    """A recording measured and weighed, before any verdict.

    Attributes
    ----------
    observation : Observation
    cutting : ndarray, shape (segments,)
        Probability that each segment is a cut.
    lines : tuple of tuple of WeighedLine
        The lines of each segment.
    cuts : tuple of FoundCut
    close : tuple of ClosePass
        Each cut listened to closely.
    cases : tuple of dict
        What the models are asked about each cut.
    rest : tuple of Span
    references : References
    """

    observation: Observation
    cutting: np.ndarray
    lines: tuple[tuple[WeighedLine, ...], ...]
    cuts: tuple[FoundCut, ...]
    close: tuple[ClosePass, ...]
    cases: tuple[dict[str, float], ...]
    rest: tuple[Span, ...]
    references: References


def measure_recording(
    track: Track,
    frames: Frames,
    job: Job,
    *,
    idle_track: Track | None = None,
    cuts: Callable[[Observation], tuple[FoundCut, ...]] | None = None,
    progress: Callable[[float], None] | None = None,
) -> Measured:
    """Measure and weigh a recording, without judging it.

    Parameters
    ----------
    track : Track
    frames : Frames
    job : Job
    idle_track : Track, optional
    cuts : callable, optional
        Tells the cuts of an observation instead of the model: a stated stretch, or the truth
        when the models are fitted.
    progress : callable, optional
    """
    stated = stated_span(track, job)
    observation = observe(
        track,
        frames,
        stated_hz=job.cut.speed_rev_min / 60.0,
        teeth=job.cutter.teeth,
        idle_track=idle_track,
        within=stated,
        progress=None if progress is None else lambda share: progress(0.7 * share),
    )
    cutting = cutting_probability(observation)
    passes = cuts(observation) if cuts else _cuts(observation, cutting, stated)
    # beside a stated stretch other cuts may lie, and they are no rest
    beside = () if stated is None else _cuts(observation, cutting, None)
    rest = rest_of(observation.spans, (*passes, *beside))
    lines = weigh_lines(observation, cutting)
    spans = tuple(one.span for one in passes)
    references = References.of(track, spans, idle_reference(track, idle_track, rest))
    close, cases, held = [], [], 0
    for i, cut in enumerate(passes):
        segments = tuple(observation.spans[k] for k in cut.segments)
        near = look_closely(track, cut.span, segments, observation.speed, references)
        case = pass_case(observation, cutting, cut, near, likeliest_lines(cut, lines))
        held += 0 if near.sight is None else near.sight.size_bytes
        close.append(near if held < _MOST_HELD else replace(near, sight=None))
        cases.append(case | {"revolutions": near.measures["revolutions"]})
        if progress is not None:
            progress(0.7 + 0.3 * (i + 1) / len(passes))
    return Measured(
        observation, cutting, lines, passes, tuple(close), tuple(cases), rest, references
    )


def stated_span(track: Track, job: Job) -> Span | None:
    """The stretch that alone is to be judged, within the recording; None for all of it."""
    if job.take.span_s is None:
        return None
    start, stop = job.take.span_s
    return Span(max(0.0, start), min(stop, track.n / track.rate_hz))


def _cuts(
    observation: Observation, cutting: np.ndarray, stated: Span | None
) -> tuple[FoundCut, ...]:
    """The passes: a stated stretch is one; without any cut the whole is judged as one."""
    spans = observation.spans
    if not spans:
        return ()
    if stated is not None:
        inside = tuple(i for i, one in enumerate(spans) if one.shared_s(stated) > 0.0)
        return (FoundCut(stated, inside),) if inside else ()
    passes = find_cuts(spans, cutting, turn_s=1.0 / observation.speed.spindle_hz)
    if passes:
        return passes
    likeliest = int(np.argmax(cutting))
    if cutting[likeliest] >= _MAYBE:
        return (FoundCut(spans[likeliest], (likeliest,)),)
    return (FoundCut(Span(spans[0].start_s, spans[-1].end_s), tuple(range(len(spans)))),)


#: Where no segment is likelier a cut than not, the likeliest is asked from here on.
_MAYBE = 0.25


def rest_of(spans: tuple[Span, ...], cuts: tuple[FoundCut, ...]) -> tuple[Span, ...]:
    """What lies beside the passes, stretches that touch joined."""
    taken = {k for cut in cuts for k in cut.segments}
    rest: list[Span] = []
    for i, span in enumerate(spans):
        if i in taken or span.length_s < 0.3:
            continue
        if rest and span.start_s - rest[-1].end_s < 0.05:
            rest[-1] = Span(rest[-1].start_s, span.end_s)
        else:
            rest.append(span)
    return tuple(rest)
