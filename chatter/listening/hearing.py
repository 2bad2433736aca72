"""From sound and job to passes with their findings: propose, measure, weigh, judge, name.

1. propose: segments, where the sound changes (``segments``), and speeds (``spindle``);
2. measure: every segment and every narrow line (``observation``), every pass closely (``closer``);
3. weigh together: which segments are cuts (``cuts``), which lines chatter (``pass_case``), which
   causes hold in each pass (``judging``);
4. judge all passes;
5. name: chatter, lines, evidence and timeline, by the verdict that stands.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from chatter.findings import Chatter, Pass, SpeedCandidate, Spindle, Stretch, ToothLevel
from chatter.job.cut import Job
from chatter.listening.closer import ClosePass, look_closely
from chatter.listening.cuts import FoundCut, cutting_probability, find_cuts
from chatter.listening.evidence import weigh
from chatter.listening.exhibits import Exhibits, Overview, PassExhibit
from chatter.listening.judging import Opinion, judge, probabilities_of
from chatter.listening.lines import TOP_HZ, FineSpectrum, fine_spectrum, name_lines
from chatter.listening.measures import tooth_levels
from chatter.listening.numbers import candidates, contradiction
from chatter.listening.observation import Observation, observe
from chatter.listening.pass_case import WeighedLine, likeliest_lines, pass_case, weigh_lines
from chatter.listening.pass_speed import SpeedEstimate
from chatter.listening.pictures import modulation_map, order_spectrum
from chatter.listening.reference import Reference, References, idle_reference
from chatter.listening.runout import runout_of
from chatter.listening.spans import Span
from chatter.listening.timeline import timeline
from chatter.listening.tones import onset_of, tone_at
from chatter.listening.track import Track
from chatter.listening.turning import Turning
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


@dataclass(frozen=True)
class Measured:
    """A recording measured and weighed, before any verdict.

    Attributes
    ----------
    observation : Observation
    cutting : ndarray, shape (segments,)
        Probability that each segment is a cut.
    lines : tuple of tuple of WeighedLine
        The lines of each segment.
    cuts : tuple of FoundCut
    close : tuple of ClosePass
        Each cut listened to closely.
    cases : tuple of dict
        What the models are asked about each cut.
    rest : tuple of Span
    references : References
    """

    observation: Observation
    cutting: np.ndarray
    lines: tuple[tuple[WeighedLine, ...], ...]
    cuts: tuple[FoundCut, ...]
    close: tuple[ClosePass, ...]
    cases: tuple[dict[str, float], ...]
    rest: tuple[Span, ...]
    references: References


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
    frames = make_frames(
        track.read,
        track.n,
        track.rate_hz,
        progress=lambda share: progress(0.3 * share, "measuring levels"),
    )
    overview = Overview(frames.picture_time_s, frames.picture_hz, frames.picture_db)
    if track.n < _SHORTEST_S * track.rate_hz:
        return Hearing((), (), (), Exhibits(overview, ()))
    measured = measure_recording(
        track, frames, job, idle_track=idle_track,
        progress=lambda share: progress(0.3 + 0.5 * share, "measuring lines and passes"),
    )  # fmt: skip
    progress(0.85, "judging")
    speed = measured.observation.speed
    wrong = contradiction_sentence(job, contradiction(speed))
    opinions = [
        judge(
            probabilities,
            revolutions=case["revolutions"],
            turn_s=1.0 / speed.spindle_hz,
            contradiction=wrong,
            unfit=unfit,
        )
        for probabilities, case in zip(
            probabilities_of(measured.cases), measured.cases, strict=True
        )
    ]
    named = [_named(i, track, job, measured, opinion, wrong) for i, opinion in enumerate(opinions)]
    passes = tuple(one for one, _ in named)
    pictures = tuple(picture for _, picture in named if picture is not None)
    return Hearing(
        passes=passes,
        stretches=_stretches(frames, measured.rest),
        notes=_notes(passes, job, measured, idle_track, track),
        exhibits=Exhibits(overview, pictures),
    )


def measure_recording(
    track: Track,
    frames: Frames,
    job: Job,
    *,
    idle_track: Track | None = None,
    cuts: Callable[[Observation], tuple[FoundCut, ...]] | None = None,
    progress: Callable[[float], None] | None = None,
) -> Measured:
    """Measure and weigh a recording, without judging it.

    Parameters
    ----------
    track : Track
    frames : Frames
    job : Job
    idle_track : Track, optional
    cuts : callable, optional
        Tells the cuts of an observation instead of the model: a stated stretch, or the truth
        when the models are fitted.
    progress : callable, optional
    """
    observation = observe(
        track,
        frames,
        stated_hz=job.cut.speed_rev_min / 60.0,
        teeth=job.cutter.teeth,
        idle_track=idle_track,
        within=_stated_span(track, job),
        progress=None if progress is None else lambda share: progress(0.7 * share),
    )
    cutting = cutting_probability(observation)
    found = cuts(observation) if cuts else _cuts(observation, cutting, job)
    rest = rest_of(observation.spans, found)
    lines = weigh_lines(observation, cutting)
    spans = tuple(one.span for one in found)
    references = References.of(track, spans, idle_reference(track, idle_track, rest))
    close, cases = [], []
    for i, cut in enumerate(found):
        segments = tuple(observation.spans[k] for k in cut.segments)
        near = look_closely(track, cut.span, segments, observation.speed, references)
        case = pass_case(observation, cutting, cut, near, likeliest_lines(cut, lines))
        close.append(near)
        cases.append(case | {"revolutions": near.measures["revolutions"]})
        if progress is not None:
            progress(0.7 + 0.3 * (i + 1) / len(found))
    return Measured(
        observation, cutting, lines, found, tuple(close), tuple(cases), rest, references
    )


def _stated_span(track: Track, job: Job) -> Span | None:
    if job.take.span_s is None:
        return None
    start, stop = job.take.span_s
    return Span(max(0.0, start), min(stop, track.n / track.rate_hz))


def _cuts(observation: Observation, cutting: np.ndarray, job: Job) -> tuple[FoundCut, ...]:
    """The passes: a stated stretch is one; without any cut the whole is judged as one."""
    spans = observation.spans
    if not spans:
        return ()
    if job.take.span_s is not None:
        inside = tuple(range(len(spans)))
        return (FoundCut(Span(spans[0].start_s, spans[-1].end_s), inside),)
    found = find_cuts(spans, cutting, turn_s=1.0 / observation.speed.spindle_hz)
    if found:
        return found
    likeliest = int(np.argmax(cutting))
    if cutting[likeliest] >= _MAYBE:
        return (FoundCut(spans[likeliest], (likeliest,)),)
    return (FoundCut(Span(spans[0].start_s, spans[-1].end_s), tuple(range(len(spans)))),)


#: Where no segment is likelier a cut than not, the likeliest is asked from here on.
_MAYBE = 0.25


def rest_of(spans: tuple[Span, ...], cuts: tuple[FoundCut, ...]) -> tuple[Span, ...]:
    """What lies beside the passes, stretches that touch joined."""
    taken = {k for cut in cuts for k in cut.segments}
    rest: list[Span] = []
    for i, span in enumerate(spans):
        if i in taken or span.length_s < 0.3:
            continue
        if rest and span.start_s - rest[-1].end_s < 0.05:
            rest[-1] = Span(rest[-1].start_s, span.end_s)
        else:
            rest.append(span)
    return tuple(rest)


def contradiction_sentence(job: Job, fits_rev_min: float | None) -> str | None:
    """What to say where another speed fits far better than the stated one."""
    if fits_rev_min is None:
        return None
    stated, teeth = job.cut.speed_rev_min, job.cutter.teeth
    would = teeth * fits_rev_min / stated
    return (
        f"The sound fits another speed or tooth count better than the stated ones: the teeth pass "
        f"at {teeth * fits_rev_min / 60.0:.1f} Hz, which {stated:g} rev/min and {teeth} teeth do "
        f"not give. Check the speed ({fits_rev_min:.0f} rev/min would fit) or the tooth count "
        f"(about {would:.0f} would fit)."
    )


def _named(
    i: int,
    track: Track,
    job: Job,
    measured: Measured,
    opinion: Opinion,
    wrong: str | None,
) -> tuple[Pass, PassExhibit | None]:
    """Name what the verdict of a pass allows to be named, and draw it."""
    near, cut, case = measured.close[i], measured.cuts[i], measured.cases[i]
    speed, teeth, rate = near.speed, job.cutter.teeth, track.rate_hz
    lines = likeliest_lines(cut, measured.lines)
    chatter = _chatter(opinion, near, lines, teeth)
    fine = fine_spectrum(
        track.read, near.start, near.stop, rate, spindle_hz=speed.spindle_hz, teeth=teeth
    )
    ledger = name_lines(
        fine,
        speed=speed,
        teeth=teeth,
        chatter=chatter,
        tones=near.tones,
        idle=_fine_idle(measured.references.idle, fine, rate, teeth * speed.spindle_hz),
        mains_hz=job.machine.mains_hz,
    )
    found = Pass(
        index=i + 1,
        start_s=cut.span.start_s,
        end_s=cut.span.end_s,
        revolutions=case["revolutions"],
        verdict=opinion.verdict,
        also=opinion.also,
        confidence=opinion.confidence,
        probabilities=opinion.probabilities,
        reason=opinion.reason,
        spindle=_spindle(speed, job, measured, wrong),
        tooth_passing_hz=teeth * speed.spindle_hz,
        chatter=chatter,
        lines=ledger,
        evidence=weigh(case, lines[0] if lines else None, opinion.verdict),
        timeline=timeline(near.spectra, chatter, opinion, cut.span),
        teeth=_teeth(near.turning),
        measures={k: v for k, v in case.items() if np.isfinite(v)},
        runout=runout_of(near.turning),
        possible=opinion.possible,
    )
    if near.turning is None:
        return found, None
    picture = PassExhibit(
        i + 1, order_spectrum(fine, speed.spindle_hz), modulation_map(near.turning)
    )
    return found, picture


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
    opinion: Opinion, near: ClosePass, lines: tuple[WeighedLine, ...], teeth: int
) -> Chatter | None:
    """The chatter vibration, where the verdict holds chatter: the likeliest line."""
    if "chatter" not in (opinion.verdict, *opinion.also) or not lines:
        return None
    f = lines[0].line.frequency_hz
    speed, spectra = near.speed, near.spectra
    tone = tone_at(
        spectra, f, spindle_hz=speed.spindle_hz, speed_error=speed.relative_error, teeth=teeth
    )
    onset = onset_of(spectra, f)
    flip = tone.half < max(2.0 * tone.tooth_error, 0.02) and tone.tooth_error < 0.1
    return Chatter(
        frequency_hz=f,
        onset_s=onset.start_s,
        share=onset.share,
        kind="flip" if flip else "hopf",
        waves_per_tooth=f / (teeth * speed.spindle_hz),
        level_db=tone.prominence_db,
        family_hz=tone.family_hz,
        growth_per_s=onset.growth_per_s,
    )


def _spindle(speed: SpeedEstimate, job: Job, measured: Measured, wrong: str | None) -> Spindle:
    return Spindle(
        rev_min=60.0 * speed.spindle_hz,
        low=60.0 * speed.low_hz,
        high=60.0 * speed.high_hz,
        stated_rev_min=job.cut.speed_rev_min,
        heard=speed.heard,
        course=tuple((t, 60.0 * f) for t, f in speed.course),
        contradiction=wrong,
        candidates=tuple(
            SpeedCandidate(round(one.rev_min, 2), round(one.probability, 4))
            for one in candidates(measured.observation.speed)
        ),
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
