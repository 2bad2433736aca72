"""The answer in one or two sentences of shop English."""

from __future__ import annotations

from chatter.findings import Pass

#: Gravest first: what the machinist must know before anything else.
GRAVITY = ("chatter", "side_rubbing", "uneven_teeth", "normal", "machine_only")


def overall(passes: tuple[Pass, ...]) -> tuple[str, float]:
    """Verdict of the whole recording: the gravest of its passes, and its confidence.

    It is not the machine alone where another pass is likelier a cut that cannot be told.
    """
    cut = any(p.verdict == "cannot_tell" and p.probabilities["machine_only"] < 0.5 for p in passes)
    for verdict in GRAVITY:
        confidences = [p.confidence for p in passes if p.verdict == verdict]
        if confidences and not (cut and verdict == "machine_only"):
            return verdict, max(confidences)
    return "cannot_tell", 0.0


def summarise(passes: tuple[Pass, ...], verdict: str) -> str:
    """One or two sentences: what it is, how sure, where."""
    if not passes:
        return "No cut was found in this recording, so nothing can be told."
    mine = [p for p in passes if p.verdict == verdict]
    where = "" if len(passes) == 1 else f" in {len(mine)} of {len(passes)} passes"
    first = max(mine, key=lambda p: p.confidence) if mine else passes[0]
    if verdict == "cannot_tell":
        first = next((p for p in mine if p.possible), first)
        return f"Can't tell. {first.reason or ''}".strip()
    also = ""
    if verdict != "chatter" and any(p.possible for p in passes):
        also = f" Chatter is possible too ({max(p.probabilities['chatter'] for p in passes):.2f})."
    return _sentence(verdict, first, where) + also


def _sentence(verdict: str, first: Pass, where: str) -> str:
    """The verdict in one sentence."""
    return {
        "chatter": _chatter(first, where),
        "side_rubbing": f"The cutter is rubbing on its sides{where}: the hiss swells once a turn "
        "instead of with each tooth.",
        "uneven_teeth": f"The teeth cut unevenly{where}: some strike harder than others, the same "
        "ones every turn.",
        "normal": f"The cutter is cutting normally{where}: the sound is locked to the teeth and "
        "no vibration feeds on itself.",
        "machine_only": f"Only the machine itself is heard{where}: no tooth was heard cutting.",
    }[verdict]


def _chatter(first: Pass, where: str) -> str:
    if first.chatter is None:
        return f"The cutter is chattering{where}."
    c = first.chatter
    return (
        f"The cutter is chattering{where}: a vibration at {c.frequency_hz:.0f} Hz feeds on "
        f"itself in {100 * c.share:.0f} % of the pass."
    )
