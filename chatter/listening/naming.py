"""Name what the verdict of a pass allows to be named: chatter, lines, evidence, timeline."""

from __future__ import annotations

import numpy as np

from chatter.findings import Chatter, Pass, SpeedCandidate, Spindle, ToothLevel
from chatter.job.cut import Job
from chatter.listening.closer import ClosePass, sight_of
from chatter.listening.evidence import weigh
from chatter.listening.exhibits import PassExhibit
from chatter.listening.judging import Opinion
from chatter.listening.lines import TOP_HZ, FineSpectrum, fine_spectrum, name_lines
from chatter.listening.measured import Measured
from chatter.listening.measures import tooth_levels
from chatter.listening.numbers import candidates
from chatter.listening.pass_case import WeighedLine, likeliest_lines
from chatter.listening.pass_speed import SpeedEstimate
from chatter.listening.pictures import modulation_map, order_spectrum
from chatter.listening.reference import Reference
from chatter.listening.timeline import timeline
from chatter.listening.tones import FrameSpectra, onset_of, tone_at
from chatter.listening.track import Track
from chatter.listening.turning import Turning

#: A line is as likely a member of the family as its likeliest within these log odds, and lies on
#: a whole tooth spacing from it within this share of one.
_LIKELY, _MEMBER = 4.0, 0.12


def name_pass(
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
    sight = sight_of(near, track, teeth)
    lines = likeliest_lines(cut, measured.lines)
    chatter = _chatter(opinion, near, sight.spectra, lines, teeth)
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
    named = Pass(
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
        timeline=timeline(sight.spectra, chatter, opinion, cut.span),
        teeth=_teeth(sight.turning),
        measures={k: v for k, v in case.items() if np.isfinite(v)},
        runout=near.runout,
        possible=opinion.possible,
    )
    if sight.turning is None:
        return named, None
    picture = PassExhibit(
        i + 1, order_spectrum(fine, speed.spindle_hz), modulation_map(sight.turning)
    )
    return named, picture


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
    opinion: Opinion,
    near: ClosePass,
    spectra: FrameSpectra,
    lines: tuple[WeighedLine, ...],
    teeth: int,
) -> Chatter | None:
    """The chatter vibration, where the verdict holds chatter: the loudest likely line."""
    if "chatter" not in (opinion.verdict, *opinion.also) or not lines:
        return None
    f = _loudest_member(lines, teeth * near.speed.spindle_hz)
    speed = near.speed
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


def _loudest_member(lines: tuple[WeighedLine, ...], tooth_hz: float) -> float:
    """Frequency of the loudest of the likeliest line and the likely ones of its family: which
    member of a family looks likest is chance, the loudest lies next to the mode that rings."""
    first = lines[0]

    def is_member(weighed: WeighedLine) -> bool:
        steps = (weighed.line.frequency_hz - first.line.frequency_hz) / tooth_hz
        return weighed.odds > max(0.0, first.odds - _LIKELY) and abs(steps - round(steps)) < _MEMBER

    members = [weighed.line for weighed in lines if weighed is first or is_member(weighed)]
    return max(members, key=lambda line: float(line.levels_db[line.segment])).frequency_hz


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
            SpeedCandidate(round(candidate.rev_min, 2), round(candidate.probability, 4))
            for candidate in candidates(measured.observation.speed)
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
