"""Outcome: what was true and what was found in one recording, small enough to keep by thousands."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from chatter.findings import Pass
from chatter.lab.simulate import TruePass, Truth
from chatter.listening.front import Heard


@dataclass(frozen=True)
class FoundPass:
    """A pass as it was judged, without lines and pictures."""

    start_s: float
    end_s: float
    revolutions: float
    verdict: str
    also: tuple[str, ...]
    confidence: float
    probabilities: dict[str, float]
    rev_min: float
    rev_min_low: float
    rev_min_high: float
    speed_heard: bool
    chatter_hz: float | None
    onset_s: float | None
    chatter_share: float | None
    chatter_kind: str | None
    measures: dict[str, float] = field(default_factory=dict)
    true_rev_min: float | None = None  # median true speed of the cutting in this stretch


@dataclass(frozen=True)
class RecordingOutcome:
    """One recording: truth, findings and time.

    ``error`` is the sentence when the listener refused the file; ``crash`` a traceback
    when it broke, which is never right.
    """

    index: int
    kind: str
    duration_s: float
    stated_rev_min: float
    stated_teeth: int
    true_teeth: int
    conditions: dict
    truth: tuple[TruePass, ...]
    found: tuple[FoundPass, ...]
    verdict: str  # of the whole recording
    confidence: float
    fit: bool
    complaints: tuple[str, ...]
    error: str | None
    crash: str | None
    make_s: float  # time to simulate and encode
    listen_s: float


def found_pass(one: Pass, truth: Truth) -> FoundPass:
    """Keep of a found pass what the scores and the fit need."""
    chatter = one.chatter
    return FoundPass(
        start_s=one.start_s,
        end_s=one.end_s,
        revolutions=one.revolutions,
        verdict=one.verdict,
        also=one.also,
        confidence=one.confidence,
        probabilities=dict(one.probabilities),
        rev_min=one.spindle.rev_min,
        rev_min_low=one.spindle.low,
        rev_min_high=one.spindle.high,
        speed_heard=one.spindle.heard,
        chatter_hz=chatter.frequency_hz if chatter else None,
        onset_s=chatter.onset_s if chatter else None,
        chatter_share=chatter.share if chatter else None,
        chatter_kind=chatter.kind if chatter else None,
        measures=dict(one.measures),
        true_rev_min=true_speed(truth, one.start_s, one.end_s),
    )


def true_speed(truth: Truth, start_s: float, end_s: float) -> float | None:
    """Median true speed [rev/min] of the cutting between two times; None when there is none.

    The spindle sags by per cents as the cutter enters and recovers as it leaves: the mean
    over a whole pass lies about 0.2 % above the speed at which nearly all of it was cut.
    """
    at = np.linspace(start_s, end_s, 401)
    cut = [(at >= one.start_s) & (at <= one.end_s) for one in truth.passes]
    if not truth.speed_course or not np.any(cut):
        return None
    times, speeds = zip(*truth.speed_course, strict=True)
    return float(np.median(np.interp(at[np.any(cut, axis=0)], times, speeds)))


def recording_outcome(
    index: int,
    truth: Truth,
    heard: Heard | None,
    *,
    make_s: float,
    listen_s: float,
    error: str | None = None,
    crash: str | None = None,
) -> RecordingOutcome:
    """Make the outcome; ``heard`` is None when there is an error or a crash."""
    told = heard is not None
    findings = heard.findings if told else None
    return RecordingOutcome(
        index=index,
        kind=truth.kind,
        duration_s=truth.duration_s,
        stated_rev_min=truth.job.cut.speed_rev_min,
        stated_teeth=truth.job.cutter.teeth,
        true_teeth=truth.true_teeth,
        conditions=dict(truth.conditions),
        truth=truth.passes,
        found=tuple(found_pass(one, truth) for one in findings.passes) if told else (),
        verdict=findings.verdict if told else "cannot_tell",
        confidence=findings.confidence if told else 0.0,
        fit=findings.fitness.fit if told else False,
        complaints=tuple(one.name for one in findings.fitness.complaints) if told else (),
        error=error,
        crash=crash,
        make_s=round(make_s, 3),
        listen_s=round(listen_s, 3),
    )
