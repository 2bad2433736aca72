"""Findings told with what the shop's labels taught: how sure they are.

Only sureness changes.  Every line, level, speed and time stays as measured; a verdict is never
turned into another one, and what could not be told stays so.  An answer whose tuned probability
is too low to be given is taken back to "can't tell".
"""

from __future__ import annotations

from dataclasses import replace

from chatter.findings import Findings, Pass
from chatter.teaching.shares import Share
from chatter.teaching.tuning import Tuning

_GRAVITY = ("chatter", "side_rubbing", "uneven_teeth", "normal", "machine_only")


def least(verdict: str) -> float:
    """Probability below which a verdict is not given, as in the listening itself."""
    from chatter.listening.judging import TELL, chatter_limits

    return chatter_limits()[0] if verdict == "chatter" else TELL


def tuned(findings: Findings, tuning: Tuning | None) -> Findings:
    """The findings with the sureness that the shop's labels taught.

    Parameters
    ----------
    findings : Findings
        As a listen gave them.
    tuning : Tuning or None

    Returns
    -------
    Findings
        The very same when nothing was learned.
    """
    if tuning is None or tuning.kind == "none" or not findings.passes:
        return findings
    passes = tuple(_tuned(one_pass, tuning) for one_pass in findings.passes)
    return _told(findings, passes, tuned_words(tuning), tuned_how(tuning))


def tuned_words(tuning: Tuning) -> str:
    """What the sureness rests on, shown wherever it is used."""
    of = f"of {tuning.machine}" if tuning.machine else "that name no machine"
    right = Share(tuning.right, tuning.answered).words
    return (
        f"How sure this is was tuned by {tuning.labels} labelled cuts {of}; on them the answers "
        f"given were right {right}. Without it: --untaught."
    )


def tuned_how(tuning: Tuning) -> str:
    """The step, for the list of how it was done."""
    moved = ", ".join(
        f"{cause.replace('_', ' ')} {tuning.offset[cause]:+.2f} + {tuning.slope[cause]:.2f} x"
        for cause in tuning.offset
    )
    return f"Log odds tuned by the shop's labels ({tuning.kind}): {moved}."


def _tuned(one_pass: Pass, tuning: Tuning) -> Pass:
    after = tuning.probabilities(one_pass.probabilities)
    # held back for a reason of its own, as numbers that others fit better: teaching lifts it not
    before = one_pass.probabilities.get(one_pass.verdict, one_pass.confidence)
    held = one_pass.confidence < before - 1e-9
    one_pass = replace(one_pass, probabilities=after, untuned=dict(one_pass.probabilities))
    if one_pass.verdict == "cannot_tell":
        return one_pass
    confidence = after.get(one_pass.verdict, one_pass.confidence)
    if held:
        confidence = min(confidence, one_pass.confidence)
    if confidence >= least(one_pass.verdict):
        return replace(one_pass, confidence=confidence)
    possible = "chatter" if one_pass.verdict == "chatter" else one_pass.possible
    return replace(
        one_pass,
        verdict="cannot_tell",
        also=(),
        confidence=0.0,
        possible=possible,
        reason=f"It sounded like {one_pass.verdict.replace('_', ' ')}, but by the labelled cuts of "
        "this machine that is not sure enough to say: look at the faces, and label this one too.",
    )


def _told(findings: Findings, passes: tuple[Pass, ...], note: str, how: str) -> Findings:
    """Findings with other passes; the whole follows them."""
    verdict, confidence = _overall(passes)
    same = verdict == findings.verdict
    summary = findings.summary
    if not same:
        reason = next((one.reason for one in passes if one.reason), None)
        summary = f"Can't tell. {reason}" if verdict == "cannot_tell" and reason else summary
    return replace(
        findings,
        passes=passes,
        verdict=verdict,
        confidence=confidence,
        summary=summary,
        suggestions=findings.suggestions if same else (),
        notes=(*findings.notes, note),
        how=(*findings.how, how),
    )


def _overall(passes: tuple[Pass, ...]) -> tuple[str, float]:
    """The gravest verdict of any pass, with its greatest probability."""
    for name in _GRAVITY:
        sure = [one.confidence for one in passes if one.verdict == name]
        if sure:
            return name, max(sure)
    return "cannot_tell", 0.0
