"""Strips over time: the passes over the whole recording, the states within one pass."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from chatter.findings import Findings, Pass
from chatter.report.axes import AxisMark, log_marks, time_marks
from chatter.report.pictures import Picture, spectrogram
from chatter.report.words import is_long, show_clock, show_share, state_name, verdict_name

if TYPE_CHECKING:
    from chatter.listening.exhibits import Overview


@dataclass(frozen=True)
class StripBar:
    """A stretch of a strip; ``left`` and ``width`` in percent."""

    left: float
    width: float
    state: str
    text: str
    title: str
    start_s: float
    number: int = 0


@dataclass(frozen=True)
class OverviewFigure:
    """The spectrogram with its axes and its passes."""

    picture: Picture
    bars: tuple[StripBar, ...]
    stretches: tuple[StripBar, ...]
    onsets: tuple[StripBar, ...]
    hz_marks: tuple[AxisMark, ...]
    time_marks: tuple[AxisMark, ...]
    time_marks_narrow: tuple[AxisMark, ...]
    minutes: bool  # the time axis is in minutes:seconds
    alt: str


def overview_strip(findings: Findings, exhibit: Overview) -> OverviewFigure:
    """Lay out the spectrogram of the whole recording.

    Parameters
    ----------
    findings : Findings
    exhibit : chatter.listening.exhibits.Overview
    """
    length = findings.source.duration_s
    long = is_long(length)
    low, high = float(exhibit.frequency_hz[0]), float(exhibit.frequency_hz[-1])
    bars = tuple(
        _bar(p.start_s, p.end_s, length, p.verdict, verdict_name(p.verdict), p.index, long=long)
        for p in findings.passes
    )
    listed = "; ".join(f"pass {b.number} {b.title}" for b in bars) or "no pass was found"
    return OverviewFigure(
        spectrogram(exhibit),
        bars,
        tuple(
            _bar(s.start_s, s.end_s, length, s.state, state_name(s.state), long=long)
            for s in findings.stretches
        ),
        tuple(
            _bar(
                p.chatter.onset_s, p.chatter.onset_s, length, "chatter", "onset", p.index, long=long
            )
            for p in findings.passes
            if p.chatter is not None
        ),
        log_marks(low, high),
        time_marks(length, 12),
        time_marks(length, 5),
        long,
        f"Spectrogram of the whole recording, {show_clock(length, long=long)} long, "
        f"{low:.0f} to {high:.0f} Hz. {listed}.",
    )


@dataclass(frozen=True)
class Timeline:
    """The states of one pass, as a strip and in words."""

    bars: tuple[StripBar, ...]
    onset: StripBar | None
    words: str


def timeline_strip(one_pass: Pass, *, long: bool = False) -> Timeline:
    """Lay out the states within a pass; times as minutes and seconds if ``long``."""
    length = one_pass.end_s - one_pass.start_s
    merged: list[list] = []
    for moment in one_pass.timeline:
        if merged and merged[-1][2] == moment.state:
            merged[-1][1] = moment.end_s
        else:
            merged.append([moment.start_s, moment.end_s, moment.state])
    bars = tuple(
        _bar(
            a - one_pass.start_s,
            b - one_pass.start_s,
            length,
            s,
            state_name(s),
            0,
            one_pass.start_s,
            long=long,
        )
        for a, b, s in merged
    )
    if len(merged) <= 6:
        words = ", ".join(f"{state_name(s).lower()} {_span(a, b, long)}" for a, b, s in merged)
    else:
        share: dict[str, float] = {}
        for a, b, s in merged:
            share[s] = share.get(s, 0.0) + (b - a) / max(length, 1e-9)
        words = ", ".join(
            f"{state_name(s).lower()} {show_share(v)} of the time" for s, v in share.items()
        )
    heard = one_pass.chatter
    onset = None
    if heard is not None:
        at, text = heard.onset_s - one_pass.start_s, f"onset {show_clock(heard.onset_s, long=long)}"
        onset = _bar(at, at, length, "chatter", text, 0, one_pass.start_s, long=long)
    return Timeline(bars, onset, words[:1].upper() + words[1:])


def _bar(
    start: float,
    end: float,
    length: float,
    state: str,
    text: str,
    number: int = 0,
    origin: float = 0.0,
    *,
    long: bool,
) -> StripBar:
    """A bar from ``start`` to ``end`` on a strip of ``length``; the strip starts at ``origin``."""
    length = max(length, 1e-9)
    left = min(max(100 * start / length, 0.0), 100.0)
    width = min(max(100 * (end - start) / length, 0.0), 100.0 - left)
    title = f"{text.lower()} {_span(start + origin, end + origin, long)}"
    return StripBar(round(left, 3), round(width, 3), state, text, title, start + origin, number)


def _span(start: float, end: float, long: bool) -> str:
    return f"{show_clock(start, long=long)} to {show_clock(end, long=long)}".replace(" s to", " to")
