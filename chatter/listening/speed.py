"""True spindle speed from the sound.

A comb of tooth-passing harmonics is looked for jointly in the sound's own spectrum and
in the spectra of the noise's envelopes, where even a fundamental of 8 Hz can be
measured; the first revolution orders of the envelopes tell neighbouring combs apart
(on a saw with uneven teeth there is a line at every revolution order, so N ± 1 teeth
would fit almost as well).  Each line adds its log-likelihood ratio, capped so that no
single line decides.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from chatter.sound.modulation import band_envelopes
from chatter.sound.spectrum import Reader, hann, median_bias, running_floor

#: The dial may err by this share to either side (slip, belts, worn dial plates).
SLIP = 0.08
#: How far outside that the sound is still searched for a contradiction.
_WIDE = (0.5, 2.0)
_LINE_CAP = 12.0  # log-likelihood that a single line may add
_TOP_HZ = 5000.0
_TOOTH_LINES = 24
_ENVELOPE_LINES = 8
_TURN_LINES = 4
_TURN_WEIGHT = 0.6
#: Robust z from which a comb counts as heard.
HEARD_Z = 9.0
_CONTRADICTION_Z = 14.0


@dataclass(frozen=True)
class Window:
    """Log-likelihood of a line at each bin, for one stretch of time."""

    time_s: float
    raw: np.ndarray  # shape (bins,), spacing raw_step_hz
    raw_step_hz: float
    swing: np.ndarray  # shape (bands, bins), spacing swing_step_hz
    swing_step_hz: float


@dataclass(frozen=True)
class Heard:
    """Spindle frequency as heard [Hz], all figures of the spindle, not the teeth."""

    spindle_hz: float
    low_hz: float
    high_hz: float
    score: float  # robust z of the best comb among all tried
    heard: bool
    course: tuple[tuple[float, float], ...]
    other_hz: float | None  # spindle frequency that fits far better, outside slip


def hear_speed(
    read: Reader, start: int, stop: int, rate_hz: int, *, stated_hz: float, teeth: int
) -> Heard:
    """Find the spindle frequency in samples [start, stop).

    Parameters
    ----------
    read : callable
        ``read(a, b)`` yields mono samples.
    start, stop : int [samples]
        A stretch of cutting.
    rate_hz : int
    stated_hz : float [Hz]
        Spindle frequency by the dial.
    teeth : int
    """
    windows = _windows(read, start, stop, rate_hz, stated_hz, teeth)
    middle = (start + stop) / 2 / rate_hz
    if not windows:
        return Heard(stated_hz, stated_hz * (1 - SLIP), stated_hz * (1 + SLIP), 0.0, False,
                     ((middle, stated_hz),), None)
    total = _sum(windows)
    step = 0.3 * min(
        total.raw_step_hz / min(_TOP_HZ, _TOOTH_LINES * teeth * stated_hz),
        total.swing_step_hz / (_ENVELOPE_LINES * teeth * stated_hz),
    )
    step = float(np.clip(step, 1e-5, 2e-3))
    wide = np.exp(np.arange(np.log(_WIDE[0]), np.log(_WIDE[1]), step * 1.5))
    all_scores = _score(total, wide * stated_hz, teeth, tooth_lines=12)
    centre = float(np.median(all_scores))
    spread = max(1.4826 * float(np.median(np.abs(all_scores - centre))), 1.0)

    near = np.exp(np.arange(np.log1p(-SLIP), np.log1p(SLIP), step))
    scores = _score(total, near * stated_hz, teeth)
    prior = -0.5 * (np.log(near) / 0.04) ** 2  # a tie goes to the dial
    best = int(np.argmax(scores + prior))
    z = float((_score(total, near[best : best + 1] * stated_hz, teeth, tooth_lines=12)[0] - centre)
              / spread)

    other = _contradiction(wide, all_scores, centre, spread, z)
    heard = z >= HEARD_Z
    if not heard:
        return Heard(stated_hz, stated_hz * (1 - SLIP), stated_hz * (1 + SLIP), z, False,
                     ((middle, stated_hz),), None if other is None else other * stated_hz)
    spindle = float(near[best] * stated_hz)
    course = _course(windows, spindle, teeth)
    mean = float(np.mean([f for _, f in course]))
    # 95 % interval: where the total falls two below its top, at least one grid step
    inside = near[scores > scores[best] - 2.0]
    inside = inside[np.abs(inside / near[best] - 1.0) < 0.004]
    half = max(step, 0.5 * float(np.ptp(inside)), abs(mean / spindle - 1.0))
    if len(course) > 2:
        half = max(half, 1.96 * float(np.std([f for _, f in course])) / mean / np.sqrt(len(course)))
    return Heard(mean, mean * (1 - half), mean * (1 + half), z, True, course,
                 None if other is None else other * stated_hz)


def comb_score(
    read: Reader, start: int, stop: int, rate_hz: int, *, spindle_hz: float, teeth: int
) -> float:
    """Robust z of the tooth comb at a known speed (within 1.5 %), turn orders left out."""
    windows = _windows(read, start, stop, rate_hz, spindle_hz, teeth)
    if not windows:
        return 0.0
    total = _sum(windows)
    wide = np.exp(np.linspace(np.log(_WIDE[0]), np.log(_WIDE[1]), 4000))
    background = _score(total, wide * spindle_hz, teeth, tooth_lines=12, turn_lines=0)
    centre = float(np.median(background))
    spread = max(1.4826 * float(np.median(np.abs(background - centre))), 1.0)
    near = np.linspace(0.985, 1.015, 601)
    scores = _score(total, near * spindle_hz, teeth, tooth_lines=12, turn_lines=0)
    return float((scores.max() - centre) / spread)


def _windows(
    read: Reader, start: int, stop: int, rate_hz: int, stated_hz: float, teeth: int
) -> list[Window]:
    """Up to 16 windows of about ten revolutions, spread evenly over the stretch."""
    length = (stop - start) / rate_hz
    span = float(np.clip(10.0 / stated_hz, 1.0, 14.0))
    span = min(span, length)
    if span * stated_hz < 2.0 or span < 0.25:
        return []
    count = int(np.clip(np.ceil(2.0 * length / span) - 1, 1, 16))
    n = int(span * rate_hz)
    tooth_hz = stated_hz * teeth
    out = []
    for at in np.linspace(start, stop - n, count).astype(int):
        x = read(int(at), int(at) + n)
        if x.size < n:
            continue
        raw, raw_step = _line_likelihood(x, rate_hz, 60.0, _TOP_HZ, tooth_hz)
        envelopes = band_envelopes(
            read, int(at), int(at) + n, rate_hz, fastest_hz=1.3 * tooth_hz,
            slow_s=max(2.5 / stated_hz, 0.25),
        )
        rows = [
            _line_likelihood(row, envelopes.rate_hz, 0.0, 0.45 * envelopes.rate_hz, 3 * stated_hz)
            for row in envelopes.swing
        ]
        out.append(
            Window((at + n / 2) / rate_hz, raw, raw_step, np.stack([r for r, _ in rows]), rows[0][1])
        )
    return out


def _line_likelihood(
    x: np.ndarray, rate_hz: float, low_hz: float, high_hz: float, floor_hz: float
) -> tuple[np.ndarray, float]:
    """Power over the local floor, shape (bins,), and the bin spacing [Hz]."""
    n = x.size
    size = _good_size(n)
    spectrum = np.fft.rfft((x - x.mean()) * hann(n), size)
    step = rate_hz / size
    power = spectrum.real**2 + spectrum.imag**2
    bins = int(min(high_hz / step, power.size - 1)) + 1
    power = power[:bins]
    width = int(max(31 * size / n, min(2 * floor_hz, 80.0) / step))
    ratio = power / np.maximum(running_floor(power, width) / np.log(2.0), 1e-30)
    ratio[: int(low_hz / step)] = 0.0
    return ratio.astype(np.float32), step


def _good_size(n: int) -> int:
    """Next size that an FFT likes: 2^a times 1, 3, 5 or 9 eighths."""
    base = 1 << (n - 1).bit_length()
    for part in (9 / 16, 5 / 8, 3 / 4, 1.0):
        if base * part >= n:
            return int(base * part)
    return base


def _sum(windows: list[Window]) -> Window:
    """Averaged over windows and turned into log-likelihood ratios."""
    averages = 1.0 + 0.6 * (len(windows) - 1)  # half-overlapping windows
    raw = _likelihood(np.mean([w.raw for w in windows], axis=0), averages)
    swing = _likelihood(np.mean([w.swing for w in windows], axis=0), averages)
    first = windows[0]
    return Window(first.time_s, raw, first.raw_step_hz, swing, first.swing_step_hz)


def _likelihood(ratio: np.ndarray, averages: float) -> np.ndarray:
    """Log-likelihood ratio of "a line of unknown strength" against noise, capped."""
    ratio = ratio * np.log(2.0) / median_bias(1.0)
    safe = np.maximum(ratio, 1e-6)
    gain = np.where(safe > 1.0, averages * (safe - 1.0 - np.log(safe)), 0.0)
    return np.minimum(gain, _LINE_CAP).astype(np.float32)


def _score(
    window: Window,
    spindle_hz: np.ndarray,
    teeth: int,
    *,
    tooth_lines: int = _TOOTH_LINES,
    turn_lines: int = _TURN_LINES,
) -> np.ndarray:
    """Sum of line likelihoods over the comb, for each candidate frequency."""
    score = np.zeros(spindle_hz.size)
    raw_mean = float(window.raw.mean())
    for k in range(1, tooth_lines + 1):
        place = k * teeth * spindle_hz / window.raw_step_hz
        if place[0] >= window.raw.size - 1:
            break
        score += _at(window.raw, place) - raw_mean
    for row in window.swing:
        mean = float(row.mean())
        orders = [(k * teeth, 1.0) for k in range(1, _ENVELOPE_LINES + 1)]
        if teeth > 1:
            orders += [(m, _TURN_WEIGHT) for m in range(1, min(turn_lines, teeth - 1) + 1)]
        for order, weight in orders:
            place = order * spindle_hz / window.swing_step_hz
            if place[0] >= row.size - 1:
                continue
            score += weight * (_at(row, place) - mean)
    return score


def _at(values: np.ndarray, place: np.ndarray) -> np.ndarray:
    """Values at fractional places, straight lines between; zero beyond the end."""
    i = np.minimum(place.astype(np.int64), values.size - 2)
    share = np.clip(place - i, 0.0, 1.0)
    out = values[i] * (1.0 - share) + values[i + 1] * share
    return np.where(place < values.size - 1, out, 0.0)


def _contradiction(
    wide: np.ndarray, scores: np.ndarray, centre: float, spread: float, z_near: float
) -> float | None:
    """Ratio to the stated speed that fits far better than anything within slip."""
    outside = np.abs(np.log(wide)) > np.log1p(SLIP) * 1.15
    for simple in (0.5, 2 / 3, 0.75, 1.5, 4 / 3, 2.0):  # combs that share lines with the true one
        if z_near >= HEARD_Z:
            outside &= np.abs(np.log(wide / simple)) > 0.02
    if not outside.any():
        return None
    best = int(np.argmax(np.where(outside, scores, -np.inf)))
    z = (scores[best] - centre) / spread
    if z >= _CONTRADICTION_Z and z > 1.6 * max(z_near, 0.0):
        return float(wide[best])
    return None


def _course(
    windows: list[Window], spindle_hz: float, teeth: int
) -> tuple[tuple[float, float], ...]:
    """Speed at each window: the smoothest path through the windows' own scores."""
    offsets = np.linspace(-0.015, 0.015, 121)
    grid = spindle_hz * (1.0 + offsets)
    single = [
        Window(w.time_s, _likelihood(w.raw, 1.0), w.raw_step_hz, _likelihood(w.swing, 1.0),
               w.swing_step_hz)
        for w in windows
    ]
    gain = np.stack([_score(w, grid, teeth) for w in single])
    jump = -0.5 * ((offsets[:, None] - offsets[None, :]) / 0.0015) ** 2
    path_score = gain[0]
    back = []
    for row in gain[1:]:
        options = path_score[:, None] + jump
        back.append(np.argmax(options, axis=0))
        path_score = options.max(axis=0) + row
    at = int(np.argmax(path_score))
    path = [at]
    for step in reversed(back):
        at = int(step[at])
        path.append(at)
    path.reverse()
    return tuple((w.time_s, float(grid[i])) for w, i in zip(windows, path, strict=True))
