"""What is heard while the spindle turns free: lines, envelope lines and levels.

One recording of idling becomes two mean spectra, of the sound and of the envelope of its
hiss.  Everything the run-in needs is read from these two.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import scipy.fft

from chatter.errors import RecordingError
from chatter.findings import Complaint, Source
from chatter.listening.tones import FALSE_ALARM, local_floor
from chatter.sound.spectrum import (
    Reader,
    chance_level,
    db,
    hann,
    median_bias,
    peaks_above,
    running_floor,
)

LOWEST_HZ = 45.0
HIGHEST_HZ = 11000.0
#: Carrier band of the envelope: above most gear lines, below what phones cut off.
CARRIER_HZ = (1500.0, 8000.0)
#: Rate of the envelope.
ENVELOPE_HZ = 2000.0
#: Orders of bearings lie close to those of shafts: frames as long as jitter lets them be.
_ENVELOPE_FRAME_S = 6.0
SHORTEST_S = 4.0
#: No more of a recording is read: a minute of steady idling tells all.
_LONGEST_S = 60.0
_MOST_LINES = 60
_QUARTER_S = 0.25


@dataclass(frozen=True)
class MeanSpectrum:
    """Mean power spectrum and its local noise floor.

    Attributes
    ----------
    step_hz : float
        Bin i lies at i * step_hz.
    power, floor : ndarray, shape (bins,)
        White noise of variance s has the power s in each bin.
    averages : float
        Independent frames in the mean.
    frame : int
        Samples a frame.
    """

    step_hz: float
    power: np.ndarray
    floor: np.ndarray
    averages: float
    frame: int

    def significant(self, alpha: float = FALSE_ALARM, bins: int | None = None) -> float:
        """Ratio to the floor that chance reaches anywhere in ``bins`` bins at ``alpha``."""
        return chance_level(bins or self.power.size, alpha, self.averages)


@dataclass(frozen=True)
class HeardLine:
    """A line that noise alone does not make."""

    frequency_hz: float
    above_floor_db: float


@dataclass(frozen=True)
class IdleSound:
    """One recording of idling as heard.

    Attributes
    ----------
    sound, envelope : MeanSpectrum
        The envelope is free of gain: swing about its mean.
    lines : tuple of HeardLine
        In order of frequency; the chance of a single false one is 1 in 1000.
    duration_s : float
    complaints : tuple of Complaint
        What makes the recording harder to judge.
    source : Source or None
    swing_db : float
        How far the level wanders: 5th to 95th percentile of quarters of a second, low
        rumble left out.
    """

    sound: MeanSpectrum
    envelope: MeanSpectrum
    lines: tuple[HeardLine, ...]
    duration_s: float
    complaints: tuple[Complaint, ...] = ()
    source: Source | None = None
    swing_db: float = 0.0


def hear_idle(
    path: str | Path, *, spindle_hz: float, span_s: tuple[float, float] | None = None
) -> IdleSound:
    """Listen to a recording of idling.

    Parameters
    ----------
    path : path
        Any phone recording.
    spindle_hz : float [Hz]
        As stated; sets the length of the frames.
    span_s : (float, float), optional
        Hear only this stretch.

    Raises
    ------
    RecordingError
        The file cannot be heard, or the stretch is too short.
    """
    from chatter.sound.fitness import judge_fitness
    from chatter.sound.intake import take_in

    sound = take_in(path)
    try:
        rate = sound.spool.rate_hz
        start, stop = 0, sound.spool.n
        if span_s is not None:
            start, stop = (min(stop, int(t * rate)) for t in span_s)
        if stop - start < SHORTEST_S * rate:
            raise RecordingError(
                f"{Path(path).name} gives {max(0, stop - start) / rate:.1f} s of idling to hear: "
                f"record at least {SHORTEST_S:g} s at each speed, better 15 s."
            )
        complaints = judge_fitness(sound).complaints
        heard = idle_sound(sound.spool.read, start, stop, rate, spindle_hz=spindle_hz)
    finally:
        sound.spool.close()
    return replace(heard, complaints=complaints, source=sound.source)


def idle_sound(
    read: Reader, start: int, stop: int, rate_hz: int, *, spindle_hz: float
) -> IdleSound:
    """As ``hear_idle``, from samples [start, stop)."""
    stop = min(stop, start + int(_LONGEST_S * rate_hz))
    x = np.asarray(read(start, stop), np.float32)
    top = min(HIGHEST_HZ, 0.47 * rate_hz)
    seconds = frame_s(len(x) / rate_hz, spindle_hz)
    sound = _mean_spectrum(x, rate_hz, seconds, LOWEST_HZ, top)
    envelope, envelope_hz = _envelope(x, rate_hz)
    long = min(max(seconds, _ENVELOPE_FRAME_S), len(x) / rate_hz / 1.5)
    swing = _mean_spectrum(envelope, envelope_hz, long, 0.7 / long, 0.47 * envelope_hz)
    return IdleSound(
        sound, swing, significant_lines(sound), len(x) / rate_hz, swing_db=_swing_db(x, rate_hz)
    )


def _swing_db(x: np.ndarray, rate_hz: int) -> float:
    """How far the level wanders; a difference stands for the high-pass."""
    wide = max(1, int(_QUARTER_S * rate_hz))
    steps = np.diff(x.astype(np.float64))
    whole = len(steps) // wide * wide
    if not whole:
        return 0.0
    level = db(np.maximum((steps[:whole].reshape(-1, wide) ** 2).mean(axis=1), 1e-14))
    low, high = np.percentile(level, (5, 95))
    return float(high - low)


def frame_s(duration_s: float, spindle_hz: float) -> float:
    """About six revolutions, so that sidebands one revolution apart part; 2 to 6 s."""
    return min(float(np.clip(6.0 / spindle_hz, 2.0, 6.0)), duration_s / 1.5)


def significant_lines(spectrum: MeanSpectrum) -> tuple[HeardLine, ...]:
    """Lines above what chance gives, one entry each, in order of frequency."""
    peaks = peaks_above(spectrum.power, spectrum.floor, spectrum.significant())
    kept: list[HeardLine] = []
    for peak in peaks:  # the strongest first: what lies in its skirt is part of it
        f = peak.bin * spectrum.step_hz
        near = max(3.0 * spectrum.step_hz, 1.5e-3 * f)
        if all(abs(f - one.frequency_hz) > near for one in kept):
            kept.append(HeardLine(f, float(db(peak.ratio))))
        if len(kept) == _MOST_LINES:
            break
    return tuple(sorted(kept, key=lambda one: one.frequency_hz))


def _mean_spectrum(
    x: np.ndarray, rate_hz: float, seconds: float, low_hz: float, high_hz: float
) -> MeanSpectrum:
    n = 2 * int(seconds * rate_hz / 2)
    hop = n // 2
    starts = range(0, len(x) - n + 1, hop)
    bins = int(high_hz * n / rate_hz)
    total = np.zeros(bins)
    for at in starts:
        z = scipy.fft.rfft(x[at : at + n] * hann(n))[:bins]
        total += z.real**2 + z.imag**2
    power = total / max(1, len(starts))
    step = rate_hz / n
    first = max(1, int(low_hz / step))
    power[:first] = 0.0
    averages = 1.0 + 0.6 * (len(starts) - 1)
    if high_hz > ENVELOPE_HZ:
        floor = local_floor(power, step, 60.0, first=first)
    else:  # an envelope: lines lie a few revolutions apart
        filled = power.copy()
        filled[:first] = np.median(power[first : first + 31])
        floor = running_floor(filled, max(31, int(8.0 / step)))
    floor = np.maximum(floor / median_bias(averages), 1e-20)
    return MeanSpectrum(step, power, floor, averages, n)


def _envelope(x: np.ndarray, rate_hz: int) -> tuple[np.ndarray, float]:
    """Swing of the amplitude in the carrier band about its mean, and its rate."""
    n = scipy.fft.next_fast_len(len(x), real=False)
    spectrum = scipy.fft.fft(x.astype(np.complex64), n)
    hz = np.arange(n) * (rate_hz / n)
    outside = (hz < CARRIER_HZ[0]) | (hz > min(CARRIER_HZ[1], 0.45 * rate_hz))
    spectrum[outside] = 0.0  # also all negative frequencies: what is left is analytic
    amplitude = np.abs(scipy.fft.ifft(spectrum, overwrite_x=True))[: len(x)]
    step = max(1, int(rate_hz / ENVELOPE_HZ))
    whole = len(amplitude) // step * step
    slow = amplitude[:whole].reshape(-1, step).mean(axis=1)
    return (slow / max(float(slow.mean()), 1e-12) - 1.0).astype(np.float32), rate_hz / step
