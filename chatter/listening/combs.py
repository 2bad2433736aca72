"""Combs: how well a set of equally spaced lines fits the sound, for thousands of spacings.

A comb of tooth-passing harmonics is looked for jointly in the sound's own spectrum and
in the spectra of the noise's envelopes, where even a fundamental of 8 Hz can be
measured.  Each line adds its log-likelihood ratio, capped so that no single line decides.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft

from chatter.sound.modulation import band_envelopes
from chatter.sound.spectrum import Reader, hann, middle_of, next_good_size, running_floor

_LINE_CAP = 16.0  # log-likelihood that a single line may add
_TOP_HZ = 5000.0
_MAINS_HZ = (50.0, 60.0)
_MAINS_TOP_HZ = 900.0
TOOTH_LINES = 24
ENVELOPE_LINES = 8
TURN_LINES = 10
#: Combs in these ratios share every second or third line.
SIMPLE_RATIOS = (0.5, 2 / 3, 0.75, 4 / 3, 1.5, 2.0)
_SAME, _SHARED = 0.04, 0.02  # how near, in log frequency, counts as the same, or as in ratio
_MASKED = 0.005  # how near to a mains line, in log frequency, teeth are masked with it
_BANDS = 2.0  # independent averages that the carrier bands are worth together


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


def standard_z(value: float, ratio: np.ndarray, scores: np.ndarray, at: float) -> float:
    """How far a comb's score stands above those of all other spacings, in their standard
    deviations.

    The standard deviation, not a robust one: what stands out of a sound full of lines (a
    second machine, music, hum) must stand out of the many combs that such lines fit.

    Parameters
    ----------
    value : float
        Score of the comb in question.
    ratio, scores : ndarray, shape (n,)
        Spacings, relative to any common one, and their scores.
    at : float
        The spacing in question, in the same unit; it and those that share every second
        or third line with it do not count.
    """
    others = np.abs(np.log(ratio / at)) > _SAME
    for simple in SIMPLE_RATIOS:
        others &= np.abs(np.log(ratio / (at * simple))) > _SHARED
    background = scores[others]
    if not background.size:
        return 0.0
    spread = max(float(background.std()), 1.0)
    return float((value - background.mean()) / spread)


def windows_of(
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


def turn_window(
    read: Reader, start: int, stop: int, rate_hz: int, stated_hz: float, teeth: int
) -> tuple[np.ndarray, float]:
    """One long window of envelopes: low revolution orders need many turns to be placed."""
    longest = int(max(64.0 / stated_hz, 8.0) * rate_hz)
    start, stop = middle_of(start, stop, longest)
    fastest = (min(TURN_LINES, teeth) + 1) * stated_hz
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
    size = next_good_size(n)
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


def combs_of(windows: list[Window], turn: tuple[np.ndarray, float] | None) -> Combs:
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


def finest_step(combs: Combs, stated_hz: float, teeth: int) -> float:
    """Step between candidates, relative, that misses no peak of the comb's highest lines."""
    step = 0.3 * min(
        combs.raw_step_hz / min(_TOP_HZ, TOOTH_LINES * teeth * stated_hz),
        combs.swing_step_hz / (ENVELOPE_LINES * teeth * stated_hz),
    )
    return float(np.clip(step, 1e-5, 2e-3))


def hidden_by_hum(tooth_hz: float, other_hz: float, slip: float) -> bool:
    """Whether a comb at ``other_hz`` may only be what is left of teeth on a mains multiple.

    Lines of the hum are masked, and with them those of teeth that pass at 50, 60, 100 or
    120 Hz; every second or third of their lines above the mask then fits best.
    """
    for mains in _MAINS_HZ:
        for hum in (mains, 2 * mains):
            near = abs(np.log(tooth_hz / hum)) < np.log1p(slip)
            if near and any(abs(np.log(other_hz / hum / r)) < _MASKED for r in SIMPLE_RATIOS):
                return True
    return False


def tooth_score(
    combs: Combs, spindle_hz: np.ndarray, teeth: int, *, raw_lines: int = TOOTH_LINES
) -> np.ndarray:
    """Sum of line likelihoods over the tooth orders, for each candidate frequency."""
    orders = teeth * np.arange(1, raw_lines + 1)
    score = _comb(combs.raw, combs.raw_step_hz, spindle_hz, orders)
    orders = teeth * np.arange(1, ENVELOPE_LINES + 1)
    return score + _comb(combs.swing, combs.swing_step_hz, spindle_hz, orders)


def turn_score(combs: Combs, spindle_hz: np.ndarray, teeth: int) -> np.ndarray:
    """Sum of line likelihoods over the low revolution orders; none with a single tooth,
    where these are the tooth orders themselves."""
    if teeth < 2:
        return np.zeros(spindle_hz.size)
    orders = np.arange(1, max(2, min(TURN_LINES + 1, teeth)))
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
