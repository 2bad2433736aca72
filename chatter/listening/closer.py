"""One pass listened to closely: tones, humps, families, and the pass in the shaft's own angle."""

from __future__ import annotations

from dataclasses import dataclass

from chatter.findings import Runout
from chatter.listening.measures import likeliest_chatter, measure
from chatter.listening.pass_speed import SpeedEstimate, estimate_speed
from chatter.listening.reference import References, quiet_pass_spectrum
from chatter.listening.runout import runout_of
from chatter.listening.spans import Span
from chatter.listening.spindle import SpeedPosterior
from chatter.listening.tones import FrameSpectra, Tone, find_tones, frame_spectra
from chatter.listening.track import Track
from chatter.listening.turning import Turning, turn_the_pass
from chatter.sound.spectrum import middle_of

#: Passes of a slow machine are cut short by this share of a turn at both ends.
_TRIM_TURNS = 0.5
#: Of a long pass this much, from the middle, is listened to closely: turns, and seconds.
_MOST_TURNS, _MOST_S = 100.0, 40.0


@dataclass(frozen=True)
class ClosePass:
    """One pass listened to closely: samples [start, stop) and what was measured in them."""

    span: Span
    start: int
    stop: int
    speed: SpeedEstimate
    spectra: FrameSpectra
    tones: tuple[Tone, ...]
    turning: Turning | None
    runout: Runout | None
    measures: dict[str, float]


def look_closely(
    track: Track,
    span: Span,
    segments: tuple[Span, ...],
    speed: SpeedPosterior,
    references: References,
) -> ClosePass:
    """Measure one pass; no verdict yet.

    Parameters
    ----------
    track : Track
    span : Span
        The pass.
    segments : tuple of Span
        The segments it is made of.
    speed : SpeedPosterior
        Of the whole recording.
    references : References
        What it is held against.
    """
    rate, teeth = track.rate_hz, speed.teeth
    trim = min(_TRIM_TURNS / speed.spindle_hz, 0.1 * span.length_s)
    start, stop = int((span.start_s + trim) * rate), int((span.end_s - trim) * rate)
    own = estimate_speed(track, span, speed, segments)
    revolutions = (stop - start) / rate * own.spindle_hz
    longest = int(max(_MOST_TURNS / own.spindle_hz, _MOST_S) * rate)
    start, stop = middle_of(start, stop, longest)
    spectra = frame_spectra(track.read, start, stop, rate, spindle_hz=own.spindle_hz, teeth=teeth)
    n = 2 * round(0.5 * rate / spectra.step_hz)
    idle = None if references.idle is None else references.idle.like(spectra.mean, n)
    tones = find_tones(
        spectra,
        spindle_hz=own.spindle_hz,
        speed_error=own.relative_error,
        teeth=teeth,
        idle=idle,
    )
    turning = turn_the_pass(track.read, start, stop, rate, own, teeth)
    values = measure(
        speed=own,
        turning=turning,
        spectra=spectra,
        tones=tones,
        tone=likeliest_chatter(tones),
        teeth=teeth,
        idle=idle,
        others=quiet_pass_spectrum(references.others(span), n),
        revolutions=revolutions,
    )
    runout = runout_of(turning)
    values["runout_share"] = float("nan") if runout is None else runout.share
    return ClosePass(span, start, stop, own, spectra, tones, turning, runout, values)
