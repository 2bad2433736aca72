"""A pass over time: entry, normal cutting, chatter, exit."""

from __future__ import annotations

import numpy as np

from chatter.findings import Chatter, Moment
from chatter.listening.judging import Opinion
from chatter.listening.spans import Span, close_gaps
from chatter.listening.tones import FrameSpectra, onset_of
from chatter.sound.modulation import moving_mean
from chatter.sound.spectrum import db

_ENTRY_DB = 6.0  # entry lasts until the level is this near the pass's own


def timeline(
    spectra: FrameSpectra,
    chatter: Chatter | None,
    opinion: Opinion,
    span: Span,
) -> tuple[Moment, ...]:
    """Moments of a pass that together cover it without gaps."""
    frames = spectra.time_s.size
    if frames < 3:
        return (Moment(span.start_s, span.end_s, opinion.verdict),)
    rest = opinion.verdict if opinion.verdict != "chatter" else "normal"
    if opinion.verdict == "chatter" and opinion.also:
        rest = opinion.also[0]
    states = np.full(frames, rest, dtype=object)
    level = None
    if chatter is not None:
        onset = onset_of(spectra, chatter.frequency_hz)
        level = onset.level_db
        states[close_gaps(onset.on, 2)] = "chatter"
    loud = np.asarray(db(moving_mean(spectra.power.sum(axis=1), 3)))
    limit = float(np.median(loud)) - _ENTRY_DB
    above = np.flatnonzero(loud >= limit)
    fewest = max(1, frames // 3)
    if 0 < above[0] < fewest:
        states[: above[0]] = "entry"
    if 0 < frames - 1 - above[-1] < fewest:
        states[above[-1] + 1 :] = "exit"
    turns = np.flatnonzero(states[1:] != states[:-1]) + 1
    bounds = [0, *turns.tolist(), frames]
    edges = [
        span.start_s,
        *(float(0.5 * (spectra.time_s[i - 1] + spectra.time_s[i])) for i in turns),
        span.end_s,
    ]
    return tuple(
        Moment(
            edges[j],
            edges[j + 1],
            str(states[bounds[j]]),
            None if level is None else float(np.median(level[bounds[j] : bounds[j + 1]])),
        )
        for j in range(len(bounds) - 1)
    )
