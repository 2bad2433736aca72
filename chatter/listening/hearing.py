"""From sound and job to passes with their findings: propose, measure, weigh, judge, name.

1. propose: segments, where the sound changes (``segments``), and speeds (``spindle``);
2. measure: every segment and every narrow line (``observation``), every pass closely (``closer``);
3. weigh together: which segments are cuts (``cuts``), which lines chatter (``pass_case``), which
   causes hold in each pass (``judging``), and whether a tone is the drive's (``drive``);
4. judge all passes;
5. name: chatter, lines, evidence and timeline, by the verdict that stands.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from chatter.findings import Numbers, Pass, Stretch
from chatter.job.cut import Job
from chatter.listening.drive import without_drive
from chatter.listening.exhibits import Exhibits, Overview
from chatter.listening.judging import probabilities_of
from chatter.listening.measured import Measured, measure_recording, stated_span
from chatter.listening.naming import name_pass
from chatter.listening.number_words import (
    doubt_sentence,
    guess_sentence,
    heard_sentences,
    opinion_of,
)
from chatter.listening.numbers import weigh_numbers
from chatter.listening.rates import measure_rates
from chatter.listening.spans import Span
from chatter.listening.track import Track
from chatter.sound.frames import Frames, make_frames

Progress = Callable[[float, str], None]

#: A recording shorter than this holds no pass.
_SHORTEST_S = 0.4


@dataclass(frozen=True)
class Hearing:
    """What the listening found, before remedies are chosen."""

    passes: tuple[Pass, ...]
    stretches: tuple[Stretch, ...]
    notes: tuple[str, ...]
    exhibits: Exhibits
    numbers: Numbers | None = None


def hear(
    track: Track,
    job: Job,
    *,
    frames: Frames | None = None,
    idle_track: Track | None = None,
    unfit: str | None = None,
    told: Numbers | None = None,
    progress: Progress,
) -> Hearing:
    """Listen to a whole recording.

    Parameters
    ----------
    track : Track
    job : Job
        At least speed and tooth count.
    frames : Frames, optional
        Of the track, where they were gathered while it was taken in.
    idle_track : Track, optional
        A separate recording of the same machine idling.
    unfit : str, optional
        Why no verdict can rest on this recording.
    told : Numbers, optional
        Where speed and tooth count come from, if they were not both stated.
    progress : callable
    """
    if frames is None:
        frames = make_frames(track.read, track.n, track.rate_hz)
    overview = Overview(frames.picture_time_s, frames.picture_hz, frames.picture_db)
    if track.n < _SHORTEST_S * track.rate_hz:
        return Hearing((), (), (), Exhibits(overview, ()))
    measured = measure_recording(
        track, frames, job, idle_track=idle_track,
        progress=lambda share: progress(0.8 * share, "measuring lines and passes"),
    )  # fmt: skip
    progress(0.85, "judging")
    speed = measured.observation.speed
    numbers = told or weigh_numbers(
        measure_rates(track, frames, stated_span(track, job)),
        rev_min=job.cut.speed_rev_min,
        teeth=job.cutter.teeth,
        speeds=job.machine.speeds_rev_min,
    )
    wrong = guess_sentence(numbers) or doubt_sentence(job, numbers)
    weighed = without_drive(track, measured, probabilities_of(measured.cases))
    opinions = [
        opinion_of(
            probabilities,
            revolutions=case["revolutions"],
            turn_s=1.0 / speed.spindle_hz,
            wrong=wrong,
            unfit=unfit or (None if tone is None else tone.sentence),
            numbers=numbers,
            compared=bool(measured.rest) or idle_track is not None or len(measured.cuts) > 1,
        )
        for (probabilities, tone), case in zip(weighed, measured.cases, strict=True)
    ]
    named = [
        name_pass(i, track, job, measured, opinion, wrong) for i, opinion in enumerate(opinions)
    ]
    passes = tuple(judged for judged, _ in named)
    pictures = tuple(picture for _, picture in named if picture is not None)
    return Hearing(
        passes=passes,
        stretches=_stretches(frames, measured.rest),
        notes=(*heard_sentences(job, numbers), *_notes(passes, job, measured, idle_track, track)),
        exhibits=Exhibits(overview, pictures),
        numbers=numbers,
    )


def _stretches(frames: Frames, rest: tuple[Span, ...]) -> tuple[Stretch, ...]:
    """What lies beside the passes: idling, or quiet when nothing runs."""
    level = 10.0 * np.log10(frames.power.sum(axis=1) + 1e-14)
    top = float(np.quantile(level, 0.9))
    stretches = []
    for span in rest:
        inside = level[(frames.time_s >= span.start_s) & (frames.time_s <= span.end_s)]
        quiet = inside.size == 0 or float(np.median(inside)) < max(top - 45.0, -85.0)
        stretches.append(Stretch(span.start_s, span.end_s, "quiet" if quiet else "idle"))
    return tuple(stretches)


def _notes(
    passes: tuple[Pass, ...],
    job: Job,
    measured: Measured,
    idle_track: Track | None,
    track: Track,
) -> tuple[str, ...]:
    notes = []
    if idle_track is not None and idle_track.rate_hz != track.rate_hz:
        notes.append(
            f"The idle recording could not be used: it was sampled at {idle_track.rate_hz} Hz and "
            f"this one at {track.rate_hz} Hz; record both with the same phone and settings."
        )
    heard = [one.spindle for one in passes if one.spindle.heard]
    if heard:
        off = 100.0 * (heard[0].rev_min / job.cut.speed_rev_min - 1.0)
        if abs(off) >= 1.0:
            side = "faster" if off > 0 else "slower"
            notes.append(
                f"The spindle turns {abs(off):.1f} % {side} than the dial says; motor slip, belts "
                "or a worn dial plate explain up to 6 %."
            )
    if not measured.rest and job.take.idle_path is None:
        notes.append(
            "No idling was heard in this recording, so the machine's own tones could not be told "
            "apart: record 10 s of idling before the cut next time."
        )
    return tuple(notes)
