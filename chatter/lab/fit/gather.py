"""Gather: what is measured of every labelled recording, kept so that fits cost no listening."""

from __future__ import annotations

import hashlib
import pickle
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from chatter.job.build import build_job
from chatter.lab.evaluate.code import measuring_digest
from chatter.lab.fit.truths import FitPass, TrueRecording
from chatter.listening.closer import look_closely
from chatter.listening.cuts import FoundCut
from chatter.listening.measured import rest_of
from chatter.listening.observation import Observation, observe
from chatter.listening.reference import References, idle_reference
from chatter.listening.spans import Span
from chatter.listening.track import Track
from chatter.sound.intake import take_in

#: Rests of a recording that are measured as if they were passes, the longest.
_MOST_RESTS = 3
_SHORTEST_S = 0.5


@dataclass(frozen=True)
class MeasuredRun:
    """A stretch measured as a pass: segments of one true pass (or of none)."""

    cut: FoundCut
    true: int | None  # number of the true pass; None: nothing is cut there
    measures: dict[str, float]


@dataclass(frozen=True)
class Gathered:
    """One recording, measured; its spectra are left out."""

    truth: TrueRecording
    observation: Observation
    runs: tuple[MeasuredRun, ...]


def gather_runs(truth: TrueRecording, cache: Path) -> Gathered:
    """Measure a recording, or take it from the cache of this state of the code.

    Raises
    ------
    RecordingError
        The file cannot be heard.
    """
    key = hashlib.sha256(f"{truth}{measuring_digest()}".encode()).hexdigest()[:20]
    kept = cache / f"{truth.maker}-{key}.pickle"
    if kept.exists():
        return pickle.loads(kept.read_bytes())
    made = _measured(truth)
    cache.mkdir(parents=True, exist_ok=True)
    beside = kept.with_suffix(".tmp")
    beside.write_bytes(pickle.dumps(made))
    beside.replace(kept)
    return made


def _measured(truth: TrueRecording) -> Gathered:
    sound = take_in(truth.path, frames=True)
    try:
        track, frames = Track.of(sound.spool), sound.frames
        job = build_job({"cut.speed": f"{truth.rev_min!r}", "cutter.teeth": str(truth.teeth)})
        seen = observe(
            track, frames, stated_hz=job.cut.speed_rev_min / 60.0, teeth=job.cutter.teeth
        )
        runs = _runs(seen.spans, truth.passes)
        cuts = tuple(cut for cut, true in runs if true is not None)
        rest = rest_of(seen.spans, cuts)
        longest = sorted(rest, key=lambda span: -span.length_s)[:_MOST_RESTS]
        made = []
        for cut, true in runs:
            if cut.span.length_s < _SHORTEST_S:
                continue
            besides = rest
            if true is None:
                if not any(cut.span.shared_s(one) > 0.5 * one.length_s for one in longest):
                    continue
                besides = tuple(one for one in rest if cut.span.shared_s(one) <= 0.0)
            spans = tuple({*(one.span for one in cuts), cut.span})
            references = References.of(track, spans, idle_reference(track, None, besides))
            segments = tuple(seen.spans[i] for i in cut.segments)
            near = look_closely(track, cut.span, segments, seen.speed, references)
            made.append(MeasuredRun(cut, true, near.measures))
    finally:
        sound.spool.close()
    return Gathered(truth, _light(seen), tuple(made))


def _runs(
    spans: tuple[Span, ...], passes: tuple[FitPass, ...]
) -> list[tuple[FoundCut, int | None]]:
    """Neighbouring segments that lie mostly in the same true pass, or in none."""
    inside = []
    for span in spans:
        shared = [span.shared_s(Span(p.start_s, p.end_s)) / span.length_s for p in passes]
        best = int(np.argmax(shared)) if shared else -1
        inside.append(best if shared and shared[best] > 0.5 else None)
    runs: list[tuple[list[int], int | None]] = []
    for i, true in enumerate(inside):
        if runs and runs[-1][1] == true:
            runs[-1][0].append(i)
        else:
            runs.append(([i], true))
    return [
        (FoundCut(Span(spans[g[0]].start_s, spans[g[-1]].end_s), tuple(g)), true)
        for g, true in runs
    ]


def _light(seen: Observation) -> Observation:
    """Without the arrays of sound, which no fit asks for."""
    nothing = np.zeros((0, 0), np.float32)
    sounds = tuple(
        replace(one, power=nothing, mean=np.zeros(0), floor=np.zeros(0)) for one in seen.sounds
    )
    speed = replace(seen.speed, curves={}, log_p=seen.speed.log_p.astype(np.float32))
    frames = replace(seen.frames, power=nothing, picture_db=nothing)
    return Observation(frames, sounds, speed, seen.segments, seen.lines, seen.levels_db)
