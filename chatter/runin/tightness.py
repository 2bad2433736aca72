"""What cuts and cut surfaces hint of play, runout and alignment.

A phone measures no thousandths.  It can say that the same once-per-turn swing comes back
with every cutter, and it can put together what people saw on the work; both are reasons to
fetch the indicator.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from chatter.findings import Findings, Pass
from chatter.runin.entries import LogEntry

#: A swing must be this many standard errors, and this strong, to be told.
_SURE = 4.0
_LEAST_DB = 1.0


@dataclass(frozen=True)
class JudgedCut:
    """A cut of the run-in as it was judged.

    Attributes
    ----------
    entry : LogEntry
    verdict, summary : str
    confidence : float
    cutter : str
        What the cutter is called; "" when not told.
    swing_db : float or None
        Once-per-turn swing of the teeth's strokes, half of peak to valley.
    swing_error_db : float or None
    """

    entry: LogEntry
    verdict: str
    confidence: float
    summary: str
    cutter: str
    swing_db: float | None
    swing_error_db: float | None


@dataclass(frozen=True)
class Hint:
    """One hint: what was heard or seen, what it says, how to make sure."""

    seen: str
    says: str
    check: str
    speaks: str  # "good", "bad" or "neutral" for the tightness of the machine


def swing_of(passes: Sequence[Pass]) -> tuple[float, float] | None:
    """Once-per-turn swing of the tooth map [dB] and its standard error; None when there is none.

    The first harmonic over the teeth, amplitude of a sine; taken from the pass with most
    revolutions.
    """
    mapped = [one for one in passes if len(one.teeth) >= 3]
    if not mapped:
        return None
    best = max(mapped, key=lambda one: one.revolutions)
    levels = np.array([tooth.level_db for tooth in best.teeth])
    errors = np.array([tooth.spread_db for tooth in best.teeth])
    angle = 2 * np.pi * np.arange(levels.size) / levels.size
    wave = np.exp(1j * angle)
    amplitude = 2.0 * abs(np.mean((levels - levels.mean()) * wave))
    error = 2.0 * float(np.sqrt(np.mean(errors**2) / (2.0 * levels.size)))
    return float(amplitude), error


def hints(cuts: Sequence[JudgedCut], entries: Sequence[LogEntry]) -> tuple[Hint, ...]:
    """Hints from the tooth maps of cuts and from surface notes."""
    return (*_from_swings(cuts), *_from_surfaces(entries))


def _from_swings(cuts: Sequence[JudgedCut]) -> tuple[Hint, ...]:
    swings = [
        (one, one.swing_db, one.swing_error_db)
        for one in cuts
        if one.swing_db is not None and one.swing_error_db is not None
    ]
    if not swings:
        return ()
    heard = [one for one, _, _ in swings]
    strong = [
        one for one, swing_db, error_db in swings if swing_db > max(_LEAST_DB, _SURE * error_db)
    ]
    most = max(swing_db for _, swing_db, _ in swings)
    cutters = {one.cutter for one in strong if one.cutter}
    if not strong:
        sure = max(swing_db + 2 * error_db for _, swing_db, error_db in swings)
        seen = (
            f"The teeth strike alike round the turn in {_count(heard)} (swing under {sure:.1f} dB)."
        )
        says = "Nothing in the tooth map speaks of runout."
        return (Hint(seen, says, "Nothing to be done.", "good" if sure < 2.0 else "neutral"),)
    seen = (
        f"The strokes swell and fade once a turn in {len(strong)} of {_count(heard)}, "
        f"by up to {most:.1f} dB either way."
    )
    if len(cutters) > 1:
        says = (
            f"It comes back with {len(cutters)} cutters: the arbor, its spacers or the spindle "
            "nose run out rather than one cutter."
        )
        check = (
            "Clean taper, spacers and nut; put an indicator on the arbor beside the cutter, then "
            "in the spindle's own bore, and compare. Loose bearings show as play, not as runout: "
            "push and pull the spindle by hand, stopped and locked out, with the indicator on it."
        )
        return (Hint(seen, says, check, "bad"),)
    says = "It may be the cutter, a dirty spacer, or the arbor: one cutter cannot tell them apart."
    check = (
        "Turn the cutter a quarter turn on the arbor and record again; then try another cutter "
        "and give each its own job card with a name."
    )
    return (Hint(seen, says, check, "neutral"),)


def _count(cuts: Sequence[JudgedCut]) -> str:
    return "1 cut" if len(cuts) == 1 else f"{len(cuts)} cuts"


def _from_surfaces(entries: Sequence[LogEntry]) -> tuple[Hint, ...]:
    from chatter.trade.surface import sign_of

    by_sign: dict[str, Hint] = {}
    for entry in entries:
        if entry.kind != "surface" or not entry.sign:
            continue
        sign = sign_of(entry.sign)
        note = f" ({entry.note})" if entry.note else ""
        speaks = {"square": "good", "out_of_square": "bad"}.get(sign.alignment, "neutral")
        seen = f"{entry.day.isoformat()}: {sign.title}{note}."
        by_sign[sign.name] = Hint(seen, sign.says, sign.check, speaks)
    return tuple(by_sign.values())


def cut_of(entry: LogEntry, findings: Findings, cutter: str) -> JudgedCut:
    """A cut from what a listen found in it."""
    swing, error = swing_of(findings.passes) or (None, None)
    return JudgedCut(
        entry, findings.verdict, findings.confidence, findings.summary, cutter, swing, error
    )
