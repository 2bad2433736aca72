"""Findings told with what the shop taught: how sure, and whose lines they are.

Only sureness changes.  Every line, level, speed and time stays as measured; a verdict is never
turned into another one, and what could not be told stays so.  An answer whose tuned probability
is too low to be given is taken back to "can't tell".
"""

from __future__ import annotations

from dataclasses import replace

from chatter.findings import Findings, Line, Pass
from chatter.job.voice import KnownLine, MachineVoice, VoiceStep, own_line
from chatter.teaching.shares import Share
from chatter.teaching.tuning import Tuning

#: A machine's line is called louder than ever from this many dB over the loudest so far.
LOUDER_DB = 6.0
_GRAVITY = ("chatter", "side_rubbing", "uneven_teeth", "normal", "machine_only")


def least(verdict: str) -> float:
    """Probability below which a verdict is not given, as in the listening itself."""
    from chatter.listening.judging import TELL, chatter_limits

    return chatter_limits()[0] if verdict == "chatter" else TELL


def tuned(found: Findings, tuning: Tuning | None) -> Findings:
    """The findings with the sureness that the shop's labels taught.

    Parameters
    ----------
    found : Findings
        As a listen gave them.
    tuning : Tuning or None

    Returns
    -------
    Findings
        The very same when nothing was learned.
    """
    if tuning is None or tuning.kind == "none" or not found.passes:
        return found
    passes = tuple(_tuned(one, tuning) for one in found.passes)
    return _told(found, passes, (tuned_words(tuning),), (tuned_how(tuning),))


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


def _tuned(one: Pass, tuning: Tuning) -> Pass:
    after = tuning.probabilities(one.probabilities)
    # held back for a reason of its own, as numbers that others fit better: teaching lifts it not
    held = one.confidence < one.probabilities.get(one.verdict, one.confidence) - 1e-9
    one = replace(one, probabilities=after, untuned=dict(one.probabilities))
    if one.verdict == "cannot_tell":
        return one
    confidence = after.get(one.verdict, one.confidence)
    if held:
        confidence = min(confidence, one.confidence)
    if confidence >= least(one.verdict):
        return replace(one, confidence=confidence)
    possible = "chatter" if one.verdict == "chatter" else one.possible
    return _taken_back(
        replace(one, possible=possible),
        f"It sounded like {one.verdict.replace('_', ' ')}, but by the labelled cuts of this "
        "machine that is not sure enough to say: look at the faces, and label this one too.",
    )


def _taken_back(one: Pass, reason: str) -> Pass:
    return replace(one, verdict="cannot_tell", also=(), confidence=0.0, reason=reason)


def _told(
    found: Findings, passes: tuple[Pass, ...], notes: tuple[str, ...], how: tuple[str, ...]
) -> Findings:
    """Findings with other passes; the whole follows them."""
    verdict, confidence = _overall(passes)
    same = verdict == found.verdict
    summary = found.summary
    if not same:
        reason = next((one.reason for one in passes if one.reason), None)
        summary = f"Can't tell. {reason}" if verdict == "cannot_tell" and reason else summary
    return replace(
        found,
        passes=passes,
        verdict=verdict,
        confidence=confidence,
        summary=summary,
        suggestions=found.suggestions if same else (),
        notes=(*found.notes, *notes),
        how=(*found.how, *how),
    )


def _overall(passes: tuple[Pass, ...]) -> tuple[str, float]:
    """The gravest verdict of any pass, with its greatest probability."""
    for name in _GRAVITY:
        sure = [one.confidence for one in passes if one.verdict == name]
        if sure:
            return name, max(sure)
    return "cannot_tell", 0.0


def name_own_lines(found: Findings, voice: MachineVoice | None) -> Findings:
    """The findings with the machine's own lines named, and never taken for chatter.

    Parameters
    ----------
    found : Findings
    voice : MachineVoice or None
        What the logbook knows of the machine's idling.
    """
    if voice is None or not voice.steps or not found.passes:
        return found
    passes = []
    notes: dict[int, tuple[float, str]] = {}
    louder: dict[int, tuple[Line, KnownLine]] = {}
    for one in found.passes:
        stated = one.spindle.stated_rev_min
        expected = voice.lines_at(stated, one.spindle.rev_min / 60.0)
        step = voice.step(stated)
        lines = []
        for line in one.lines:
            known = own_line(line.frequency_hz, expected)
            if known is None:
                lines.append(line)
                continue
            if line.name in ("chatter", "unexplained", "machine", "squeal"):
                label = f"this machine's own, known since {known.since}"
                line = replace(line, name="machine", label=label, in_idle=True)
                notes.setdefault(round(known.frequency_hz), (line.frequency_hz, known.since))
            lines.append(line)
            if _louder(line.level_db, known.above_floor_db, step):
                louder.setdefault(round(known.frequency_hz), (line, known))
        passes.append(_without_own(replace(one, lines=tuple(lines)), expected))
    said = [
        f"The line at {hz:.0f} Hz is {voice.machine}'s own, known since {since}."
        for hz, since in list(notes.values())[:4]
    ]
    said += [
        f"{voice.machine}'s own line at {line.frequency_hz:.0f} Hz is louder than it ever was: "
        f"{line.level_db:.0f} dB over its floor, {known.above_floor_db:.0f} dB at most while "
        "idling. Load alone can do that; if it stays so while idling, look at gears and bearings."
        for line, known in list(louder.values())[:2]
    ]
    how = f"Lines held against {voice.machine} idling: {_recordings(voice)} of the logbook."
    return _told(found, tuple(passes), tuple(said), (how,))


def _louder(level_db: float, most_db: float, step: VoiceStep | None) -> bool:
    """Only the same phone at the same place can tell a level."""
    return step is not None and step.same_phone and level_db > most_db + LOUDER_DB


def _recordings(voice: MachineVoice) -> str:
    numbers = sorted({n for step in voice.steps for n in step.recordings})
    return f"recording{'s' if len(numbers) != 1 else ''} {', '.join(map(str, numbers))}"


def _without_own(one: Pass, expected: tuple[tuple[float, KnownLine], ...]) -> Pass:
    """A pass whose chatter is nothing but the machine's own line does not chatter.

    Where a tooth-passing family was found beside the line it is not the machine alone, and
    stays chatter.
    """
    chatter = one.chatter
    if chatter is None or own_line(chatter.frequency_hz, expected) is None:
        return one
    if any(own_line(hz, expected) is None for hz in chatter.family_hz):
        return one
    also = tuple(name for name in one.also if name != "chatter")
    one = replace(one, chatter=None, also=also, possible=None)
    if one.verdict != "chatter":
        return one
    return _taken_back(
        one,
        f"The only tone that could be chatter, {chatter.frequency_hz:.0f} Hz, is the machine's "
        "own and is there while it idles: judge the cut by its faces, or record it once more "
        "with another speed step.",
    )
