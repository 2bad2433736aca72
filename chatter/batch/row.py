"""What is kept of each recording: one small row."""

from __future__ import annotations

from dataclasses import dataclass

from chatter.findings import Findings

#: What became of a recording.
HEARD, FAILED = "heard", "failed"


@dataclass(frozen=True)
class LedgerRow:
    """One line of the table."""

    file: str
    status: str  # HEARD or FAILED
    verdict: str = ""
    confidence: float | None = None
    also: str = ""  # further causes, by spaces
    simulated: bool = False
    passes: int | None = None
    duration_s: float | None = None
    stated_rev_min: float | None = None
    heard_rev_min: float | None = None  # of the longest pass in which it was heard
    fits: str = ""  # the speed or tooth count that fits, where the stated ones do not
    chatter_hz: float | None = None  # the strongest
    summary: str = ""
    first_step: str = ""
    caution: str = ""  # that goes with the first step
    report: str = ""
    error: str = ""
    sha256: str = ""
    made_by: str = ""
    seconds: float | None = None  # that the listen took


def ledger_row(findings: Findings, name: str, *, report: str, seconds: float) -> LedgerRow:
    """The row of what was found."""
    from chatter.report.words import also, first_step, fitting_words

    heard = [one for one in findings.passes if one.spindle.heard]
    longest = max(heard, key=lambda one: one.revolutions, default=None)
    tones = [one.chatter for one in findings.passes if one.chatter is not None]
    strongest = max(tones, key=lambda one: one.level_db, default=None)
    first = min(findings.suggestions, key=lambda one: one.rank, default=None)
    stated = (findings.job.get("cut") or {}).get("speed_rev_min")
    if findings.numbers is not None and findings.numbers.speed != "stated":
        stated = None  # it was sought in the sound
    return LedgerRow(
        file=name,
        status=HEARD,
        verdict=findings.verdict,
        confidence=round(findings.confidence, 4),
        also=" ".join(also(findings)),
        simulated=findings.simulated,
        passes=len(findings.passes),
        duration_s=round(findings.source.duration_s, 3),
        stated_rev_min=stated,
        heard_rev_min=None if longest is None else round(longest.spindle.rev_min, 2),
        fits=" or ".join(fitting_words(findings)),
        chatter_hz=None if strongest is None else round(strongest.frequency_hz, 1),
        summary=findings.summary,
        first_step=first_step(findings),
        caution="" if first is None else first.caution,
        report=report,
        sha256=findings.source.sha256,
        made_by=findings.made_by,
        seconds=round(seconds, 2),
    )
