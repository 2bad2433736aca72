"""The line ledger: every significant spectral line of a pass gets a name.

The spectrum is taken over about eight revolutions a frame, so that revolution orders are
parted where the pass is long enough.  A line is significant when noise alone would put
one such line anywhere in the spectrum with a chance of 1 in 1000.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft

from chatter.findings import Chatter, Line
from chatter.listening.pass_speed import SpeedEstimate
from chatter.listening.tones import FALSE_ALARM, Tone, local_floor
from chatter.sound.spectrum import (
    Reader,
    chance_level,
    db,
    hann,
    median_bias,
    peaks_above,
)

_MOST_LINES = 80
_MOST_FRAMES = 16
#: Highest line that is looked for [Hz].
TOP_HZ = 11000.0
_SQUEAL_HZ = 1000.0


@dataclass(frozen=True)
class FineSpectrum:
    """Mean spectrum with fine bins, and its local floor (mean noise power).

    Attributes
    ----------
    step_hz : float
    mean, floor : ndarray, shape (bins,)
    averages : float
        Independent frames in the mean.
    """

    step_hz: float
    mean: np.ndarray
    floor: np.ndarray
    averages: float

    @staticmethod
    def of(step_hz: float, mean: np.ndarray, averages: float, tooth_hz: float) -> FineSpectrum:
        """A spectrum with its floor; what lies under 50 Hz is left out."""
        mean = mean.copy()
        first = int(50.0 / step_hz)
        mean[:first] = 0.0
        floor = local_floor(mean, step_hz, tooth_hz, first=first) / median_bias(averages)
        return FineSpectrum(step_hz, mean, floor, averages)


def fine_spectrum(
    read: Reader, start: int, stop: int, rate_hz: int, *, spindle_hz: float, teeth: int
) -> FineSpectrum:
    """Mean spectrum over samples [start, stop) with frames of about eight revolutions."""
    length = (stop - start) / rate_hz
    frame = min(float(np.clip(8.0 / spindle_hz, 0.5, 8.0)), length)
    n = 2 * int(frame * rate_hz / 2)
    count = int(np.clip(2 * (stop - start) / n - 1, 1, _MOST_FRAMES))
    window = hann(n)
    bins = int(min(TOP_HZ, 0.47 * rate_hz) * n / rate_hz)
    total = np.zeros(bins)
    for at in np.linspace(start, stop - n, count).astype(int):
        z = scipy.fft.rfft(read(int(at), int(at) + n) * window)[:bins]
        total += z.real**2 + z.imag**2
    mean = total / count
    averages = 1.0 + 0.6 * (count - 1)
    return FineSpectrum.of(rate_hz / n, mean, averages, teeth * spindle_hz)


def name_lines(
    spectrum: FineSpectrum,
    *,
    speed: SpeedEstimate,
    teeth: int,
    chatter: Chatter | None,
    tones: tuple[Tone, ...],
    idle: FineSpectrum | None,
    mains_hz: float | None,
) -> tuple[Line, ...]:
    """The ledger of one pass, in order of frequency.

    Parameters
    ----------
    spectrum : FineSpectrum
    speed : SpeedEstimate
        Spindle speed with its interval.
    teeth : int
    chatter : Chatter or None
        What the verdict accepted as chatter.
    tones : tuple of Tone
        Steady tones of the pass, for telling squeal.
    idle : FineSpectrum or None
        The machine idling, same recording or the stated one.
    mains_hz : float or None
        Stated mains frequency; both 50 and 60 Hz are tried when it is not.
    """
    limit = chance_level(spectrum.mean.size, FALSE_ALARM, spectrum.averages)
    peaks = peaks_above(spectrum.mean, spectrum.floor, limit)[:_MOST_LINES]
    ratios = _idle_ratios([p.bin * spectrum.step_hz for p in peaks], idle)
    namer = _Namer(spectrum, speed, teeth, chatter, tones, idle, ratios, mains_hz)
    lines = [namer.name(p.bin * spectrum.step_hz, float(db(p.ratio))) for p in peaks]
    return _merged(sorted(lines, key=lambda line: line.frequency_hz), spectrum.step_hz)


def _merged(lines: list[Line], step_hz: float) -> tuple[Line, ...]:
    """One entry per line: a line that wanders leaves several peaks side by side."""
    kept: list[Line] = []
    for line in lines:
        near = max(5.0 * step_hz, 1.5, 0.002 * line.frequency_hz)
        twin = next(
            (
                k
                for k in reversed(kept)
                if k.label == line.label and line.frequency_hz - k.frequency_hz < 4.0 * near
            ),
            None,
        )
        named = line.name not in ("unexplained", "squeal", "machine")
        if twin is None or (not named and line.frequency_hz - twin.frequency_hz > near):
            kept.append(line)
        elif line.level_db > twin.level_db:
            kept[kept.index(twin)] = line
    return tuple(sorted(kept, key=lambda line: line.frequency_hz))


def _idle_ratios(lines_hz: list[float], idle: FineSpectrum | None) -> tuple[float, ...]:
    """Where idle lines are looked for: at the same frequency, and, since a loaded spindle
    turns slower, at the one common ratio that makes most lines meet."""
    if idle is None or len(lines_hz) < 4:
        return (1.0,)
    limit = chance_level(idle.mean.size, FALSE_ALARM, idle.averages)
    there = np.array([p.bin for p in peaks_above(idle.mean, idle.floor, limit)]) * idle.step_hz
    if there.size < 3:
        return (1.0,)
    here = np.array(lines_hz)
    ratios = np.linspace(0.97, 1.08, 441)
    off = np.abs(here[None, :, None] * ratios[:, None, None] - there[None, None, :])
    meet = (off < np.maximum(0.7 * idle.step_hz, 3e-4 * there)).any(axis=2).sum(axis=1)
    best = int(np.argmax(meet))
    if meet[best] >= 3 and meet[best] >= 2.5 * max(float(np.median(meet)), 1.0):
        return (1.0, float(ratios[best]))
    return (1.0,)


@dataclass(frozen=True)
class _Namer:
    spectrum: FineSpectrum
    speed: SpeedEstimate
    teeth: int
    chatter: Chatter | None
    tones: tuple[Tone, ...]
    idle: FineSpectrum | None
    idle_ratios: tuple[float, ...]
    mains_hz: float | None

    def name(self, f: float, level_db: float) -> Line:
        order = f / self.speed.spindle_hz if self.speed.heard else None
        in_idle = any(self._in_idle(f, f * ratio) for ratio in self.idle_ratios)
        name, label, sure = self._claim(f, in_idle)
        return Line(f, level_db, order, name, label, sure, in_idle)

    def _claim(self, f: float, in_idle: bool) -> tuple[str, str, float]:
        mains = self._mains(f)
        if mains and (in_idle or self.idle is None):
            return "mains", mains, 0.9 if in_idle else 0.6
        if in_idle:
            return "machine", "machine's own, also idling", 0.9
        member = self._member(f)
        if member:
            return member
        if self.speed.heard:
            claimed = self._on_comb(f) or self._mirrored(f)
            if claimed:
                return claimed
        if f > _SQUEAL_HZ and any(
            abs(t.frequency_hz - f) < 1.5 * self._tone_width
            and t.freedom > 1.0
            and t.family_db < 3.0
            for t in self.tones
        ):
            return "squeal", "narrow and high, not of the teeth: plate squeal", 0.5
        return "unexplained", "belongs to nothing that was stated", 0.5

    @property
    def _tone_width(self) -> float:
        return max(2.0 * self.spectrum.step_hz, 0.02 * self.teeth * self.speed.spindle_hz, 3.0)

    def _member(self, f: float) -> tuple[str, str, float] | None:
        if self.chatter is None:
            return None
        tooth_hz = self.teeth * self.speed.spindle_hz
        name = "period_doubling" if self.chatter.kind == "flip" else "chatter"
        if self.chatter.kind == "flip":
            half = f / tooth_hz - 0.5
            if abs(half - round(half)) < max(0.03, 2 * self.speed.relative_error * half):
                return name, f"{round(half)} + 1/2 x tooth passing", 0.8
            return None
        width = min(self._tone_width, 0.12 * tooth_hz)
        for harmonic in (1, 2, 3):
            centre = harmonic * self.chatter.frequency_hz
            k = round((f - centre) / tooth_hz)
            if abs(k) <= 4 and abs(f - centre - k * tooth_hz) < max(width, self._skirt(f, centre)):
                times = "f_c" if harmonic == 1 else f"{harmonic} f_c"
                where = "" if k == 0 else f" {k:+d} x tooth passing"
                return name, f"chatter, {times}{where}", 0.9 if k == 0 else 0.8
        return None

    def _mirrored(self, f: float) -> tuple[str, str, float] | None:
        """The other half of a secondary Hopf family, -f_c + k f_tp."""
        if self.chatter is None or self.chatter.kind == "flip":
            return None
        tooth_hz = self.teeth * self.speed.spindle_hz
        f_c = self.chatter.frequency_hz
        k = round((f + f_c) / tooth_hz)
        error = max(2.0 * self.spectrum.step_hz, 3.0 * k * tooth_hz * self.speed.relative_error)
        if abs(f - f_c) > 4.5 * tooth_hz or error > 0.12 * tooth_hz:
            return None
        if abs(f + f_c - k * tooth_hz) > error:
            return None
        return "chatter", f"chatter, -f_c +{k} x tooth passing", 0.7

    def _skirt(self, f: float, centre: float) -> float:
        """The foot of a strong line that wanders is part of it."""
        return 0.006 * f if abs(f - centre) < 0.006 * f else 0.0

    def _on_comb(self, f: float) -> tuple[str, str, float] | None:
        """Tooth harmonic, sideband of one, or revolution order, whichever is nearest and
        can be told from its neighbours at this frequency."""
        spindle = self.speed.spindle_hz
        error = float(np.hypot(0.5 * self.spectrum.step_hz, f * self.speed.relative_error))
        tooth_hz = self.teeth * spindle
        k = round(f / tooth_hz)
        off_tooth = abs(f - k * tooth_hz)
        if k >= 1 and off_tooth <= 3.0 * error and error < 0.15 * tooth_hz:
            return "tooth_passing", f"{k} x tooth passing", _sure(off_tooth, error, tooth_hz)
        m = round(f / spindle)
        off_turn = abs(f - m * spindle)
        if m < 1 or off_turn > 3.0 * error or error > 0.15 * spindle:
            return None
        side = m - k * self.teeth
        sure = _sure(off_turn, error, spindle)
        if k >= 1 and 0 < abs(side) <= 3 and self.teeth > 6:
            turns = "revolution" if abs(side) == 1 else f"{abs(side)} revolutions"
            sign = "+" if side > 0 else "-"
            return "sideband", f"{k} x tooth passing {sign} {turns}", sure
        return "revolution", f"order {m}", sure

    def _in_idle(self, f: float, idle_hz: float) -> bool:
        """The idle spectrum has a line at ``idle_hz``, not more than 12 dB weaker."""
        if self.idle is None:
            return False
        i = round(idle_hz / self.idle.step_hz)
        reach = max(1, round(0.5 * self.spectrum.step_hz / self.idle.step_hz))
        if i >= self.idle.mean.size - 1:
            return False
        around = slice(max(0, i - reach), i + reach + 1)
        at = int(np.argmax(self.idle.mean[around])) + around.start
        ratio = self.idle.mean[at] / max(float(self.idle.floor[at]), 1e-20)
        limit = chance_level(50, FALSE_ALARM, self.idle.averages)
        here = self.spectrum.mean[round(f / self.spectrum.step_hz)]
        # mean powers of sines grow with frame length; compare as sine amplitudes
        scale = self.idle.step_hz / self.spectrum.step_hz
        return bool(ratio > limit and self.idle.mean[at] * scale > here / 16.0)

    def _mains(self, f: float) -> str | None:
        for mains in (self.mains_hz,) if self.mains_hz else (50.0, 60.0):
            m = round(f / mains)
            near = abs(f - m * mains) < max(0.6 * self.spectrum.step_hz, 0.001 * f)
            if 1 <= m <= 12 and near and self.spectrum.step_hz < 5.0:
                return f"mains hum, {m} x {mains:g} Hz"
        return None


def _sure(off: float, error: float, spacing: float) -> float:
    """Posterior that a line belongs to a comb it lies near: normal against uniform."""
    on = np.exp(-0.5 * (off / error) ** 2) / (error * np.sqrt(2.0 * np.pi))
    return float(np.clip(on / (on + 1.0 / spacing), 0.01, 0.99))
