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
import scipy.fft

from chatter.sound.modulation import band_envelopes
from chatter.sound.spectrum import Reader, hann, running_floor

#: The dial may err by this share to either side (slip, belts, worn dial plates).
SLIP = 0.08
#: How far outside that the sound is still searched for a contradiction.
_WIDE = (0.5, 2.0)
_LINE_CAP = 16.0  # log-likelihood that a single line may add
_TOP_HZ = 5000.0
_MAINS_HZ = (50.0, 60.0)
_MAINS_TOP_HZ = 900.0
_TOOTH_LINES = 24
_ENVELOPE_LINES = 8
_TURN_LINES = 10
_BANDS = 2.0  # independent averages that the carrier bands are worth together
#: Robust z from which a comb counts as heard.
HEARD_Z = 9.0
#: The same for the comb of low revolution orders.
TURN_HEARD_Z = 9.0
_CONTRADICTION_Z = 14.0


@dataclass(frozen=True)
class Window:
    """How far each bin stands above its surroundings, for one stretch of time.

    ``raw`` is the sound's own spectrum, ``swing`` that of the envelopes, averaged over
    the carrier bands.
    """

    time_s: float
    raw: np.ndarray  # shape (bins,), spacing raw_step_hz
    raw_step_hz: float
    swing: np.ndarray  # shape (bins,), spacing swing_step_hz
    swing_step_hz: float


@dataclass(frozen=True)
class Combs:
    """Log-likelihoods of a line at each bin; what the comb scores are summed from."""

    raw: np.ndarray
    raw_step_hz: float
    swing: np.ndarray  # short windows, for the teeth
    swing_step_hz: float
    turn: np.ndarray  # one long window, for the turn
    turn_step_hz: float


@dataclass(frozen=True)
class Heard:
    """Spindle frequency as heard [Hz], all figures of the spindle, not the teeth."""

    spindle_hz: float
    low_hz: float
    high_hz: float
    score: float  # robust z of the best tooth comb among all tried
    turn_score: float  # the same for the comb of low revolution orders
    heard: bool
    course: tuple[tuple[float, float], ...]
    other_hz: float | None  # spindle frequency that fits far better, outside slip

    @property
    def relative_error(self) -> float:
        """Relative standard error of the speed, from the 95 % interval."""
        return max((self.high_hz - self.low_hz) / 3.92 / self.spindle_hz, 5e-5)


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
        return _unheard(stated_hz, middle, 0.0, 0.0)
    combs = _combs(windows, _turn_window(read, start, stop, rate_hz, stated_hz, teeth))
    step = 0.3 * min(
        combs.raw_step_hz / min(_TOP_HZ, _TOOTH_LINES * teeth * stated_hz),
        combs.swing_step_hz / (_ENVELOPE_LINES * teeth * stated_hz),
    )
    step = float(np.clip(step, 1e-5, 2e-3))
    wide = np.exp(np.arange(np.log(_WIDE[0]), np.log(_WIDE[1]), step * 1.5))
    tooth_wide = _tooth_score(combs, wide * stated_hz, teeth, raw_lines=12)
    turn_wide = _turn_score(combs, wide * stated_hz, teeth)
    near = np.exp(np.arange(np.log1p(-SLIP), np.log1p(SLIP), step))
    prior = -0.5 * (np.log(near) / 0.04) ** 2  # a tie goes to the dial
    tooth_near = _tooth_score(combs, near * stated_hz, teeth)
    turn_near = _turn_score(combs, near * stated_hz, teeth)
    total = tooth_near + turn_near + prior
    best = int(np.argmax(total))
    z = _robust_z(
        _tooth_score(combs, near[best : best + 1] * stated_hz, teeth, raw_lines=12)[0], tooth_wide
    )
    turn_z = _robust_z(turn_near[best], turn_wide)
    other = _contradiction(wide, tooth_wide, float(near[best]), z)
    other_hz = None if other is None else other * stated_hz
    if turn_z < TURN_HEARD_Z and (z < HEARD_Z or other_hz is not None):
        if other_hz is not None:  # the dial or the tooth count is wrong: go by the sound
            course = _course(windows, other_hz, teeth)
            mean = float(np.mean([f for _, f in course]))
            half = max(step, abs(mean / other_hz - 1.0))
            return Heard(
                mean,
                mean * (1 - half),
                mean * (1 + half),
                _robust_z(float(tooth_wide.max()), tooth_wide),
                turn_z,
                True,
                course,
                other_hz,
            )
        return _unheard(stated_hz, middle, z, turn_z)
    spindle = float(near[best] * stated_hz)
    course = _course(windows, spindle, teeth) if z >= HEARD_Z else ((middle, spindle),)
    mean = float(np.mean([f for _, f in course]))
    # 95 % interval: where the total falls two below its top, at least one grid step
    inside = near[total > total[best] - 2.0]
    inside = inside[np.abs(inside / near[best] - 1.0) < 0.02]
    half = max(step, 0.5 * float(np.ptp(inside)), abs(mean / spindle - 1.0))
    if len(course) > 2:
        half = max(half, 1.96 * float(np.std([f for _, f in course])) / mean / np.sqrt(len(course)))
    return Heard(mean, mean * (1 - half), mean * (1 + half), z, turn_z, True, course, other_hz)


def _unheard(stated_hz: float, middle: float, z: float, turn_z: float) -> Heard:
    """The sound does not tell: the stated speed, as far off as slip goes."""
    low, high = stated_hz * (1 - SLIP), stated_hz * (1 + SLIP)
    return Heard(stated_hz, low, high, z, turn_z, False, ((middle, stated_hz),), None)


def comb_score(
    read: Reader, start: int, stop: int, rate_hz: int, *, spindle_hz: float, teeth: int
) -> float:
    """Robust z of the tooth comb at a known speed (within 1.5 %)."""
    windows = _windows(read, start, stop, rate_hz, spindle_hz, teeth, most=6)
    if not windows:
        return 0.0
    combs = _combs(windows, None)
    wide = np.exp(np.linspace(np.log(_WIDE[0]), np.log(_WIDE[1]), 4000))
    background = _tooth_score(combs, wide * spindle_hz, teeth, raw_lines=12)
    near = np.linspace(0.985, 1.015, 601)
    scores = _tooth_score(combs, near * spindle_hz, teeth, raw_lines=12)
    return _robust_z(float(scores.max()), background)


def _robust_z(value: float, background: np.ndarray) -> float:
    """Distance from the background's median in robust standard deviations."""
    centre = float(np.median(background))
    spread = max(1.4826 * float(np.median(np.abs(background - centre))), 1.0)
    return float((value - centre) / spread)


def _windows(
    read: Reader,
    start: int,
    stop: int,
    rate_hz: int,
    stated_hz: float,
    teeth: int,
    *,
    most: int = 16,
) -> list[Window]:
    """Windows of about ten revolutions, spread evenly over the stretch."""
    length = (stop - start) / rate_hz
    span = float(np.clip(10.0 / stated_hz, 1.0, 14.0))
    span = min(span, length)
    if span * stated_hz < 2.0 or span < 0.25:
        return []
    count = int(np.clip(np.ceil(2.0 * length / span) - 1, 1, most))
    n = int(span * rate_hz)
    tooth_hz = stated_hz * teeth
    out = []
    for at in np.linspace(start, stop - n, count).astype(int):
        x = read(int(at), int(at) + n)
        if x.size < n:
            continue
        raw, raw_step = _line_ratio(x, rate_hz, 60.0, _TOP_HZ, min(2 * tooth_hz, 80.0))
        swing, swing_step = _swing_ratio(
            read, int(at), int(at) + n, rate_hz, stated_hz, tooth_hz, 3.0 * stated_hz
        )
        out.append(Window((at + n / 2) / rate_hz, raw, raw_step, swing, swing_step))
    return out


def _turn_window(
    read: Reader, start: int, stop: int, rate_hz: int, stated_hz: float, teeth: int
) -> tuple[np.ndarray, float]:
    """One long window of envelopes: low revolution orders need many turns to be placed."""
    longest = int(max(64.0 / stated_hz, 8.0) * rate_hz)
    if stop - start > longest:
        middle = (start + stop) // 2
        start, stop = middle - longest // 2, middle + longest // 2
    fastest = (min(_TURN_LINES, teeth) + 1) * stated_hz
    return _swing_ratio(read, start, stop, rate_hz, stated_hz, fastest, 2.0 * stated_hz)


def _swing_ratio(
    read: Reader,
    start: int,
    stop: int,
    rate_hz: int,
    stated_hz: float,
    fastest_hz: float,
    floor_hz: float,
) -> tuple[np.ndarray, float]:
    """Envelope spectra over their floors, averaged over the carrier bands."""
    envelopes = band_envelopes(
        read,
        start,
        stop,
        rate_hz,
        fastest_hz=1.3 * fastest_hz,
        slow_s=max(2.5 / stated_hz, 0.25),
    )
    rows = [
        _line_ratio(row, envelopes.rate_hz, 0.0, 0.45 * envelopes.rate_hz, floor_hz)
        for row in envelopes.swing
    ]
    return np.mean([r for r, _ in rows], axis=0), rows[0][1]


def _line_ratio(
    x: np.ndarray, rate_hz: float, low_hz: float, high_hz: float, floor_hz: float
) -> tuple[np.ndarray, float]:
    """Power over the local floor, shape (bins,), and the bin spacing [Hz]."""
    n = x.size
    size = _good_size(n)
    spectrum = scipy.fft.rfft((x - x.mean()) * hann(n), size)
    step = rate_hz / size
    power = spectrum.real**2 + spectrum.imag**2
    bins = int(min(high_hz / step, power.size - 1)) + 1
    power = power[:bins]
    width = int(max(31 * size / n, floor_hz / step))
    ratio = power / np.maximum(running_floor(power, width) / np.log(2.0), 1e-30)
    ratio[: int(low_hz / step)] = 0.0
    for mains in _MAINS_HZ:  # hum is a comb too, but not of teeth
        for line in np.arange(mains, min(_MAINS_TOP_HZ, bins * step), mains):
            reach = max(2.5 * step * size / n, 0.0015 * line)
            ratio[max(0, int((line - reach) / step)) : int((line + reach) / step) + 2] = 1.0
    return ratio.astype(np.float32), step


def _good_size(n: int) -> int:
    """Next size that an FFT likes: 2^a times 9, 10, 12 or 16 sixteenths."""
    base = 1 << (n - 1).bit_length()
    for part in (9 / 16, 5 / 8, 3 / 4, 1.0):
        if base * part >= n:
            return int(base * part)
    return base


def _combs(windows: list[Window], turn: tuple[np.ndarray, float] | None) -> Combs:
    """Averaged over windows and turned into log-likelihood ratios."""
    averages = 1.0 + 0.6 * (len(windows) - 1)  # half-overlapping windows
    raw = _likelihood(np.mean([w.raw for w in windows], axis=0), averages)
    swing = _likelihood(np.mean([w.swing for w in windows], axis=0), _BANDS * averages)
    first = windows[0]
    turn_values, turn_step = (np.zeros(2, np.float32), 1.0) if turn is None else turn
    return Combs(
        raw,
        first.raw_step_hz,
        swing,
        first.swing_step_hz,
        _likelihood(turn_values, _BANDS),
        turn_step,
    )


def _likelihood(ratio: np.ndarray, averages: float) -> np.ndarray:
    """Log-likelihood ratio of "a line of unknown strength" against noise, capped."""
    safe = np.maximum(ratio, 1e-6)
    gain = np.where(safe > 1.0, averages * (safe - 1.0 - np.log(safe)), 0.0)
    return np.minimum(gain, _LINE_CAP).astype(np.float32)


def _tooth_score(
    combs: Combs, spindle_hz: np.ndarray, teeth: int, *, raw_lines: int = _TOOTH_LINES
) -> np.ndarray:
    """Sum of line likelihoods over the tooth orders, for each candidate frequency."""
    orders = teeth * np.arange(1, raw_lines + 1)
    score = _comb(combs.raw, combs.raw_step_hz, spindle_hz, orders)
    orders = teeth * np.arange(1, _ENVELOPE_LINES + 1)
    return score + _comb(combs.swing, combs.swing_step_hz, spindle_hz, orders)


def _turn_score(combs: Combs, spindle_hz: np.ndarray, teeth: int) -> np.ndarray:
    """Sum of line likelihoods over the low revolution orders; none with a single tooth,
    where these are the tooth orders themselves."""
    if teeth < 2:
        return np.zeros(spindle_hz.size)
    orders = np.arange(1, max(2, min(_TURN_LINES + 1, teeth)))
    return _comb(combs.turn, combs.turn_step_hz, spindle_hz, orders)


def _comb(
    values: np.ndarray, step_hz: float, spindle_hz: np.ndarray, orders: np.ndarray
) -> np.ndarray:
    score = np.zeros(spindle_hz.size)
    mean = float(values.mean())
    for order in orders:
        place = order * spindle_hz / step_hz
        if place[0] >= values.size - 1:
            break
        score += _at(values, place) - mean
    return score


def _at(values: np.ndarray, place: np.ndarray) -> np.ndarray:
    """Values at fractional places, straight lines between; zero beyond the end."""
    i = np.minimum(place.astype(np.int64), values.size - 2)
    share = np.clip(place - i, 0.0, 1.0)
    out = values[i] * (1.0 - share) + values[i + 1] * share
    return np.where(place < values.size - 1, out, 0.0)


def _contradiction(
    wide: np.ndarray, scores: np.ndarray, near: float, z_near: float
) -> float | None:
    """Ratio to the stated speed that fits far better than anything within slip.

    Combs in a simple ratio to the one heard near the stated speed, at ``near`` times it,
    share lines with it and are left out.  Ratios of 2/3, 3/4 and 4/3 share so few that a
    comb there which fits twice as well is the true one.
    """
    outside = np.abs(np.log(wide)) > np.log1p(SLIP) * 1.15
    half = np.zeros(wide.size, bool)
    third = np.zeros(wide.size, bool)
    if z_near >= HEARD_Z:
        for simple in (0.5, 1.5, 2.0):
            half |= np.abs(np.log(wide / (simple * near))) < 0.02
        for simple in (2 / 3, 3 / 4, 4 / 3):
            third |= np.abs(np.log(wide / (simple * near))) < 0.02
    for usable, times in ((outside & ~half & ~third, 1.6), (outside & ~half, 2.0)):
        if not usable.any():
            continue
        best = int(np.argmax(np.where(usable, scores, -np.inf)))
        z = _robust_z(float(scores[best]), scores)
        if z >= _CONTRADICTION_Z and z > times * max(z_near, 0.0):
            return float(wide[best])
    return None


def _course(
    windows: list[Window], spindle_hz: float, teeth: int
) -> tuple[tuple[float, float], ...]:
    """Speed at each window: the smoothest path through the windows' own scores."""
    offsets = np.linspace(-0.015, 0.015, 121)
    grid = spindle_hz * (1.0 + offsets)
    gain = np.stack([_tooth_score(_combs([w], None), grid, teeth) for w in windows])
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
