"""Labels for the three kinds of cases: segments, lines and passes; None where not known."""

from __future__ import annotations

from chatter.lab.fit.gather import Gathered, MeasuredRun
from chatter.lab.fit.truths import CAUSES
from chatter.listening.line_measures import LineMeasures
from chatter.listening.spans import Span

_MOSTLY, _HARDLY = 0.6, 0.25
#: A line counts as a true chatter line within this share, and these Hz, of one, or one or two
#: tooth passings beside it.
_NEAR_SHARE, _NEAR_HZ, _MEMBERS = 0.004, 4.0, (-2, -1, 0, 1, 2)


def segment_labels(one: Gathered) -> list[int | None]:
    """Whether each segment is a cut."""
    truth = one.truth
    told: list[int | None] = []
    for span in one.observation.spans:
        shared = sum(max(0.0, span.shared_s(Span(p.start_s, p.end_s))) for p in truth.passes)
        share = shared / span.length_s
        if truth.cutting is False:
            told.append(0)
        elif not truth.known:
            told.append(None)
        else:
            told.append(1 if share > _MOSTLY else 0 if share < _HARDLY else None)
    return told


def line_label(one: Gathered, line: LineMeasures) -> int | None:
    """Whether a line is a line of chatter; other lines of chattering passes are left out."""
    truth, span = one.truth, one.observation.spans[line.segment]
    if truth.whole is not None and "chatter" in truth.whole:
        return None
    for true in truth.passes:
        shared = span.shared_s(Span(true.start_s, true.end_s))
        if shared <= 0.0 or (true.causes is not None and not true.chatters):
            continue
        if true.causes is None or shared <= 0.5 * span.length_s:
            return None
        tooth_hz = truth.true_teeth * true.rev_min / 60.0
        near = max(_NEAR_HZ, _NEAR_SHARE * line.frequency_hz)
        places = (f + k * tooth_hz for f in true.chatter_hz for k in _MEMBERS)
        return 1 if any(abs(line.frequency_hz - f) < near for f in places) else None
    return 0 if truth.chatter is not None else None


def pass_label(one: Gathered, run: MeasuredRun, cause: str) -> int | None:
    """Whether "cutting" or a cause holds in a run."""
    truth = one.truth
    if run.true is None:
        if cause == "cutting":
            if truth.whole is not None:
                return 1
            return None if truth.cutting and not truth.passes else _number(truth.cutting, truth)
        if truth.whole is not None and cause in CAUSES:
            return int(cause in truth.whole)
        if cause == "chatter" and not truth.passes and truth.cutting and truth.chatter is False:
            return 0
        return None
    if cause == "cutting":
        return 1
    causes = truth.passes[run.true].causes
    return None if causes is None else int(cause in causes)


def _number(cutting: bool | None, truth) -> int | None:
    if cutting is False or truth.known:
        return 0
    return None
