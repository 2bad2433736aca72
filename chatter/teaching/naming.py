"""Findings with the machine's own lines named, and judged by what remains beside them.

No line, level, speed or time changes.  Where chatter was named or called possible and the machine
is heard in the cut, the recording is listened to once more with the machine's lines turned down
(``quieting``): the answer is that of what remains, and the machine's lines stand in its list as
they were measured.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from chatter.findings import Findings, Line, Pass
from chatter.job.voice import MachineVoice
from chatter.teaching.own_lines import OwnLine, own_lines

#: Names that a line gives up when it turns out to be the machine's own.
_OTHERWISE = ("chatter", "unexplained", "machine", "squeal")


def name_own_lines(findings: Findings, voice: MachineVoice | None) -> Findings:
    """The findings with the machine's own lines named.

    Parameters
    ----------
    findings : Findings
    voice : MachineVoice or None
        What the logbook knows of the machine's idling.
    """
    if voice is None or not voice.steps or not findings.passes:
        return findings
    own = [own_lines(one_pass, voice) for one_pass in findings.passes]
    passes = tuple(
        replace(one_pass, lines=_with(one_pass.lines, of))
        for one_pass, of in zip(findings.passes, own, strict=True)
    )
    how = f"Lines held against {voice.machine} idling: {_recordings(voice)} of the logbook."
    notes = _notes([each for of in own for each in of], voice.machine)
    return replace(
        findings, passes=passes, notes=(*findings.notes, *notes), how=(*findings.how, how)
    )


def to_turn_down(findings: Findings, voice: MachineVoice | None) -> tuple[float, ...]:
    """Lines of the machine [Hz] that a verdict of chatter may rest on; empty when nothing was
    said of chatter.  A line that outgrew what the machine ever did stays."""
    said = any(
        "chatter" in (one_pass.verdict, *one_pass.also, one_pass.possible)
        for one_pass in findings.passes
    )
    if voice is None or not said:
        return ()
    own = (
        each
        for one_pass in findings.passes
        for each in own_lines(one_pass, voice)
        if not each.outgrown
    )
    return tuple(sorted({each.line.frequency_hz for each in own}))


def what_remains(findings: Findings, rest: Findings, down_hz: Sequence[float]) -> Findings:
    """The findings of what remains, as those of the recording itself.

    Parameters
    ----------
    findings : Findings
        Of the recording.
    rest : Findings
        Of its copy with the machine's lines turned down.
    down_hz : sequence of float
        Those lines.
    """
    lines = [
        line
        for one_pass in findings.passes
        for line in one_pass.lines
        if line.frequency_hz in down_hz
    ]
    passes = tuple(replace(one_pass, lines=_put_back(one_pass, lines)) for one_pass in rest.passes)
    how = (
        f"Judged with the machine's own lines at {_listed(down_hz)} Hz turned down to the noise "
        "round them."
    )
    return replace(
        rest,
        source=findings.source,
        fitness=findings.fitness,
        passes=passes,
        notes=(*rest.notes, *_spared(findings, rest)),
        how=(*rest.how, how),
    )


def _spared(findings: Findings, rest: Findings) -> tuple[str, ...]:
    """What is said where chatter was named and is not any more."""
    before, after = (
        any("chatter" in (one.verdict, *one.also) for one in each.passes)
        for each in (findings, rest)
    )
    if after or not before:
        return ()
    return (
        "The machine's own tones alone would have passed for chatter; without them none is heard "
        "that could be named.",
    )


def _put_back(one_pass: Pass, lines: Sequence[Line]) -> tuple[Line, ...]:
    """The lines of what remains, and those that were turned down as they were measured."""
    back = {line.frequency_hz: line for line in lines}
    left = [
        line
        for line in one_pass.lines
        if all(abs(line.frequency_hz - hz) > 1e-3 * hz for hz in back)
    ]
    return tuple(sorted((*left, *back.values()), key=lambda line: line.frequency_hz))


def _with(lines: Sequence[Line], own: Sequence[OwnLine]) -> tuple[Line, ...]:
    since = {each.line.frequency_hz: each.known.since for each in own if not each.outgrown}
    return tuple(
        replace(
            line,
            name="machine",
            label=f"this machine's own, known since {since[line.frequency_hz]}",
            in_idle=True,
        )
        if line.frequency_hz in since and line.name in _OTHERWISE
        else line
        for line in lines
    )


def _notes(own: Sequence[OwnLine], machine: str) -> list[str]:
    once = {round(each.known.frequency_hz): each for each in reversed(own)}
    loudest = sorted(once.values(), key=lambda each: -each.line.level_db)
    said = [
        f"The line at {each.line.frequency_hz:.0f} Hz is {machine}'s own, known since "
        f"{each.known.since}."
        for each in loudest
        if each.line.name in _OTHERWISE and not each.outgrown
    ]
    louder = [
        f"{machine}'s own line at {each.line.frequency_hz:.0f} Hz is louder than it ever was: "
        f"{each.line.level_db:.0f} dB over its floor, {each.known.above_floor_db:.0f} dB at most "
        "while idling. Load alone can do that; if it stays so while idling, look at gears and "
        "bearings."
        for each in loudest
        if each.louder
    ]
    return [*said[:4], *louder[:2]]


def _recordings(voice: MachineVoice) -> str:
    numbers = sorted({n for step in voice.steps for n in step.recordings})
    return f"recording{'s' if len(numbers) != 1 else ''} {', '.join(map(str, numbers))}"


def _listed(lines_hz: Sequence[float]) -> str:
    shown = ", ".join(f"{hz:.0f}" for hz in lines_hz[:6])
    return f"{shown} and {len(lines_hz) - 6} more" if len(lines_hz) > 6 else shown
