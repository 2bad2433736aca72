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
class Sight:
    """A pass laid out over time and over the turn: some megabytes."""

    spectra: FrameSpectra
    turning: Turning | None

    @property
    def size_bytes(self) -> int:
        """What it takes of the memory, near enough."""
        turning = self.turning
        lines = 0 if turning is None else turning.lines.power.nbytes + turning.lines.floor.nbytes
        return self.spectra.power.nbytes + lines


@dataclass(frozen=True)
class ClosePass:
    """One pass listened to closely: samples [start, stop) and what was measured in them.

    ``sight`` is None where it was let go of; :func:`sight_of` makes it again.
    """

    span: Span
    start: int
    stop: int
    speed: SpeedEstimate
    sight: Sight | None
    tones: tuple[Tone, ...]
    runout: Runout | None
    measures: dict[str, float]


def sight_of(near: ClosePass, track: Track, teeth: int) -> Sight:
    """The layout of a pass, made again from the track where it was let go of."""
    if near.sight is not None:
        return near.sight
    return _sight(track, near.start, near.stop, near.speed, teeth)


def _sight(track: Track, start: int, stop: int, speed: SpeedEstimate, teeth: int) -> Sight:
    read, rate = track.read, track.rate_hz
    spectra = frame_spectra(read, start, stop, rate, spindle_hz=speed.spindle_hz, teeth=teeth)
    return Sight(spectra, turn_the_pass(read, start, stop, rate, speed, teeth))


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
    sight = _sight(track, start, stop, own, teeth)
    spectra, turning = sight.spectra, sight.turning
    n = 2 * round(0.5 * rate / spectra.step_hz)
    idle = None if references.idle is None else references.idle.like(spectra.mean, n)
    tones = find_tones(
        spectra,
        spindle_hz=own.spindle_hz,
        speed_error=own.relative_error,
        teeth=teeth,
        idle=idle,
    )
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
    return ClosePass(span, start, stop, own, sight, tones, runout, values)
