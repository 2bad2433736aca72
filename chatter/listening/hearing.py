"""From sound and job to passes with their findings: the order of the listening steps."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from chatter.findings import Chatter, Pass, Spindle, Stretch, ToothLevel
from chatter.job.cut import Job
from chatter.listening.cuts import Cuts, course_measures, find_cuts, speed_of
from chatter.listening.exhibits import Exhibits, Overview, PassExhibit
from chatter.listening.lines import TOP_HZ, FineSpectrum, fine_spectrum, name_lines
from chatter.listening.measures import (
    TONE_TOP_HZ,
    likeliest_chatter,
    measure,
    tone_measures,
    tooth_levels,
)
from chatter.listening.passes import Span, busy, find_plateaus, rest_of
from chatter.listening.pictures import modulation_map, order_spectrum
from chatter.listening.prior import prior_measures
from chatter.listening.reference import (
    Reference,
    References,
    idle_reference,
    quiet_pass_spectrum,
)
from chatter.listening.speed import SLIP, Heard
from chatter.listening.timeline import timeline
from chatter.listening.tones import FrameSpectra, Tone, find_tones, frame_spectra, onset_of
from chatter.listening.track import Track
from chatter.listening.turning import Turning, turn_the_pass
from chatter.listening.verdict import Opinion, judge, tie, weigh
from chatter.sound.frames import Frames, make_frames
from chatter.sound.period import MOST_TURNS, hear_swelling
from chatter.sound.spectrum import middle_of

Progress = Callable[[float, str], None]

#: Passes of a slow machine are cut short by this share of a turn at both ends.
_TRIM_TURNS = 0.5
#: A recording shorter than this holds no pass.
_SHORTEST_S = 0.1


@dataclass(frozen=True)
class Close:
    """One pass listened to closely: samples [start, stop) and what was measured in them."""

    start: int
    stop: int
    heard: Heard
    spectra: FrameSpectra
    tones: tuple[Tone, ...]
    tone: Tone | None  # the likeliest chatter among them
    turning: Turning | None
    measures: dict[str, float]


@dataclass(frozen=True)
class Hearing:
    """What the listening found, before remedies are chosen."""

    passes: tuple[Pass, ...]
    stretches: tuple[Stretch, ...]
    notes: tuple[str, ...]
    exhibits: Exhibits


def hear(
    track: Track,
    job: Job,
    *,
    idle_track: Track | None = None,
    unfit: str | None = None,
    progress: Progress,
) -> Hearing:
    """Listen to a whole recording.

    Parameters
    ----------
    track : Track
    job : Job
        At least speed and tooth count.
    idle_track : Track, optional
        A separate recording of the same machine idling.
    unfit : str, optional
        Why no verdict can rest on this recording.
    progress : callable
    """
    spindle_hz = job.cut.speed_rev_min / 60.0
    frames = make_frames(
        track.read,
        track.n,
        track.rate_hz,
        progress=lambda share: progress(0.5 * share, "measuring levels"),
    )
    overview = Overview(frames.picture_time_s, frames.picture_hz, frames.picture_db)
    if track.n < _SHORTEST_S * track.rate_hz:
        return Hearing((), (), (), Exhibits(overview, ()))
    plateaus = find_plateaus(frames, spindle_hz=spindle_hz)
    progress(0.55, "finding the passes")
    cuts = find_cuts(track, job, plateaus)
    spans = cuts.spans
    rest = rest_of(plateaus, busy(plateaus, spans, spindle_hz=spindle_hz))
    if spans and spans[0].length_s > 0.97 * frames.time_s[-1]:
        rest = ()
    references = References.of(track, spans, idle_reference(track, idle_track, rest))
    passes, pictures, tones = [], [], []
    for i, span in enumerate(spans):
        progress(0.6 + 0.4 * i / len(spans), f"judging pass {i + 1} of {len(spans)}")
        one, picture, lines = _judge_pass(
            i + 1,
            track,
            job,
            span,
            references,
            cuts,
            course_measures(frames, plateaus, span, rest, cuts),
            unfit,
        )
        passes.append(one)
        tones.append(lines)
        if picture is not None:
            pictures.append(picture)
    passes = tie(passes, job.cutter.teeth)
    return Hearing(
        passes=tuple(passes),
        stretches=_stretches(frames, rest),
        notes=_notes(tuple(passes), cuts.heard, job, rest, idle_track, track),
        exhibits=Exhibits(overview, tuple(pictures), tuple(tones)),
    )


def _judge_pass(
    index: int,
    track: Track,
    job: Job,
    span: Span,
    references: References,
    cuts: Cuts,
    course: dict[str, float],
    unfit: str | None,
) -> tuple[Pass, PassExhibit | None, tuple[dict[str, float], ...]]:
    ears = listen_closely(track, job, span, references, cuts, course)
    heard, turning, spectra, tones = ears.heard, ears.turning, ears.spectra, ears.tones
    measures, teeth, rate = ears.measures, job.cutter.teeth, track.rate_hz
    stated_hz = job.cut.speed_rev_min / 60.0
    start, stop = ears.start, ears.stop
    # a contradiction that was followed has led the speed outside slip
    followed = abs(heard.spindle_hz / stated_hz - 1.0) > SLIP
    contradicted = heard.other_hz is not None and not followed
    opinion = judge(measures, contradicted=contradicted, unfit=unfit, turn_s=1.0 / heard.spindle_hz)
    chatter = _chatter(opinion, spectra, ears.tone, heard, teeth)
    fine = fine_spectrum(track.read, start, stop, rate, spindle_hz=heard.spindle_hz, teeth=teeth)
    lines = name_lines(
        fine,
        heard=heard,
        teeth=teeth,
        chatter=chatter,
        tones=tones,
        idle=_fine_idle(references.idle, fine, rate, teeth * heard.spindle_hz),
        mains_hz=job.machine.mains_hz,
    )
    found = Pass(
        index=index,
        start_s=span.start_s,
        end_s=span.end_s,
        revolutions=measures["revolutions"],
        verdict=opinion.verdict,
        also=opinion.also,
        confidence=opinion.confidence,
        probabilities=opinion.probabilities,
        reason=opinion.reason,
        spindle=_spindle(heard, job),
        tooth_passing_hz=teeth * heard.spindle_hz,
        chatter=chatter,
        lines=lines,
        evidence=weigh(measures, opinion.verdict),
        timeline=timeline(spectra, chatter, opinion, span),
        teeth=_teeth(turning),
        measures={k: v for k, v in measures.items() if np.isfinite(v)},
    )
    picture = None
    if turning is not None:
        picture = PassExhibit(
            index, order_spectrum(fine, heard.spindle_hz), modulation_map(turning)
        )
    return found, picture, tuple(tone_measures(t) for t in tones if t.frequency_hz <= TONE_TOP_HZ)


def listen_closely(
    track: Track,
    job: Job,
    span: Span,
    references: References,
    cuts: Cuts,
    course: dict[str, float],
) -> Close:
    """Measure one pass; no verdict yet.

    Parameters
    ----------
    track : Track
    job : Job
    span : Span
        The pass.
    references : References
        What it is held against.
    cuts : Cuts
        All passes, with the speed heard over the longest, for passes too short to tell.
    course : dict
        Measures of the level's course: "contrast_db" and "unrest_db".
    """
    stated_hz, teeth = job.cut.speed_rev_min / 60.0, job.cutter.teeth
    rate = track.rate_hz
    trim = min(_TRIM_TURNS / stated_hz, 0.1 * span.length_s)
    start, stop = int((span.start_s + trim) * rate), int((span.end_s - trim) * rate)
    heard = speed_of(track, job, span, start, stop, cuts)
    spectra = frame_spectra(track.read, start, stop, rate, spindle_hz=heard.spindle_hz, teeth=teeth)
    n = 2 * round(0.5 * rate / spectra.step_hz)
    idle_mean = None if references.idle is None else references.idle.like(spectra.mean, n)
    others = quiet_pass_spectrum(references.others(span), n)
    tones = find_tones(
        spectra,
        spindle_hz=heard.spindle_hz,
        speed_error=heard.relative_error,
        teeth=teeth,
        idle=idle_mean,
    )
    tone = likeliest_chatter(tones)
    turning = turn_the_pass(track.read, start, stop, rate, heard, teeth)
    revolutions = (stop - start) / rate * heard.spindle_hz
    measures = measure(
        heard=heard,
        turning=turning,
        spectra=spectra,
        tones=tones,
        tone=tone,
        teeth=teeth,
        idle=idle_mean,
        others=others,
        revolutions=revolutions,
    )
    measures |= course | prior_measures(job)
    if not heard.heard or course["contrast_db"] == 0.0:  # where ``tie`` asks for it
        measures |= _swelling(track, start, stop, job)
    return Close(start, stop, heard, spectra, tones, tone, turning, measures)


def _swelling(track: Track, start: int, stop: int, job: Job) -> dict[str, float]:
    """How far a pass swells at the turn by the dial, more than at periods further off."""
    stated_hz = job.cut.speed_rev_min / 60.0
    start, stop = middle_of(start, stop, int(MOST_TURNS / stated_hz * track.rate_hz))
    fastest_hz = job.cutter.teeth * stated_hz
    found = hear_swelling(
        track.read, start, stop, track.rate_hz, stated_hz=stated_hz, fastest_hz=fastest_hz
    )
    return {} if found is None else {"swell_times": found.times_others}


def _fine_idle(
    idle: Reference | None, fine: FineSpectrum, rate: int, tooth_hz: float
) -> FineSpectrum | None:
    """The idle spectrum on bins as fine as the idle stretch allows."""
    if idle is None:
        return None
    n = 2 * int(0.5 * rate * min(1.0 / fine.step_hz, idle.longest_s))
    mean = idle.mean_spectrum(n)
    if mean is None:
        return None
    return FineSpectrum.of(rate / n, mean[: int(TOP_HZ * n / rate)], 1.0, tooth_hz)


def _chatter(
    opinion: Opinion, spectra: FrameSpectra, tone: Tone | None, heard: Heard, teeth: int
) -> Chatter | None:
    """The chatter vibration, where the verdict holds chatter."""
    if tone is None or "chatter" not in (opinion.verdict, *opinion.also):
        return None
    onset = onset_of(spectra, tone.frequency_hz)
    flip = tone.half < max(2.0 * tone.tooth_error, 0.02) and tone.tooth_error < 0.1
    return Chatter(
        frequency_hz=tone.frequency_hz,
        onset_s=onset.start_s,
        share=onset.share,
        kind="flip" if flip else "hopf",
        waves_per_tooth=tone.frequency_hz / (teeth * heard.spindle_hz),
        level_db=tone.prominence_db,
        family_hz=tone.family_hz,
        growth_per_s=onset.growth_per_s,
    )


def _spindle(heard: Heard, job: Job) -> Spindle:
    stated = job.cut.speed_rev_min
    contradiction = None
    if heard.other_hz is not None:
        other = heard.other_hz * 60.0
        teeth = job.cutter.teeth * other / stated
        contradiction = (
            f"The teeth pass at {other * job.cutter.teeth / 60:.1f} Hz, which {stated:g} rev/min "
            f"and {job.cutter.teeth} teeth do not give: check the speed ({other:.0f} rev/min "
            f"would fit) or the tooth count (about {teeth:.0f} would fit)."
        )
    return Spindle(
        rev_min=60.0 * heard.spindle_hz,
        low=60.0 * heard.low_hz,
        high=60.0 * heard.high_hz,
        stated_rev_min=stated,
        heard=heard.heard,
        course=tuple((t, 60.0 * f) for t, f in heard.course),
        contradiction=contradiction,
    )


def _teeth(turning: Turning | None) -> tuple[ToothLevel, ...]:
    if turning is None or turning.teeth < 2 or not turning.tracked:
        return ()
    mean, error = tooth_levels(turning)
    return tuple(
        ToothLevel(
            tooth=i + 1,
            level_db=float(20.0 * np.log10(max(m, 1e-3))),
            spread_db=float(8.686 * e / max(m, 1e-3)),
        )
        for i, (m, e) in enumerate(zip(mean, error, strict=True))
    )


def _stretches(frames: Frames, rest: tuple[Span, ...]) -> tuple[Stretch, ...]:
    """What lies beside the passes: idling, or quiet when nothing runs."""
    level = 10.0 * np.log10(frames.power.sum(axis=1) + 1e-14)
    top = float(np.quantile(level, 0.9))
    found = []
    for span in rest:
        inside = level[(frames.time_s >= span.start_s) & (frames.time_s <= span.end_s)]
        quiet = inside.size == 0 or float(np.median(inside)) < max(top - 45.0, -85.0)
        found.append(Stretch(span.start_s, span.end_s, "quiet" if quiet else "idle"))
    return tuple(found)


def _notes(
    passes: tuple[Pass, ...],
    heard: Heard,
    job: Job,
    rest: tuple[Span, ...],
    idle_track: Track | None,
    track: Track,
) -> tuple[str, ...]:
    notes = []
    if idle_track is not None and idle_track.rate_hz != track.rate_hz:
        notes.append(
            f"The idle recording could not be used: it was sampled at {idle_track.rate_hz} Hz and "
            f"this one at {track.rate_hz} Hz; record both with the same phone and settings."
        )
    if heard.heard and any(one.spindle.heard for one in passes):
        off = 100.0 * (heard.spindle_hz * 60.0 / job.cut.speed_rev_min - 1.0)
        if abs(off) >= 1.0:
            side = "faster" if off > 0 else "slower"
            notes.append(
                f"The spindle turns {abs(off):.1f} % {side} than the dial says; motor slip, belts "
                "or a worn dial plate explain up to 6 %."
            )
    if not rest and job.take.idle_path is None:
        notes.append(
            "No idling was heard in this recording, so the machine's own tones could not be told "
            "apart: record 10 s of idling before the cut next time."
        )
    return tuple(notes)
