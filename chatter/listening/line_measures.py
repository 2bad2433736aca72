"""Every narrow line of a segment, measured for what tells chatter from teeth, turn and machine.

A forced vibration sits on a multiple of the tooth-passing or revolution frequency; a machine's
tone is there while nothing is cut; a resonance that is struck flickers.  Regenerative chatter is
none of these: it is new in the cut, takes a large share of what the cut adds, is swollen by the
teeth that feed it, has members one tooth passing (or, with runout, one turn) apart, and lies off
the grid of the turn.  None of this is a gate: each is a number, missing (NaN) where it cannot be
had, and the model weighs them together.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import scipy.fft

from chatter.listening.clocks import Gains, envelope_gains
from chatter.listening.segment_sound import FineSound, SegmentSound, fine_sound
from chatter.listening.spindle import SpeedPosterior
from chatter.listening.track import Track
from chatter.sound.modulation import moving_mean
from chatter.sound.spectrum import hann

_NAN = float("nan")
LOWEST_HZ, HIGHEST_HZ = 90.0, 5500.0
#: Candidates of a segment: so many by newness and prominence together, so many by prominence.
_BY_NEWNESS, _BY_PROMINENCE = (6, 5.0), (6, 7.0)  # count, least dB
#: A clock is looked for this far from the recording's speed, by how well that is known.
_NARROW, _WIDE, _KNOWN = 0.004, 0.010, 0.002
_CLOCK_STEP = 5e-5
_MOST_ORDERS = 600
#: From this length on a segment may stand for the machine without the line.
_LONG_S = 0.8
#: Least turns for what is tied to the turn's grid.
_FEWEST_TURNS = 5.0


@dataclass(frozen=True)
class LineMeasures:
    """One line with its measures.

    Attributes
    ----------
    segment : int
        Number of the segment it was found in.
    frequency_hz : float
    levels_db, prominences_db : ndarray, shape (segments,)
        At its place in every segment of the recording.
    values : dict
        Name -> number; what cannot be had is left out or NaN.
    """

    segment: int
    frequency_hz: float
    levels_db: np.ndarray
    prominences_db: np.ndarray
    values: dict[str, float]


def _db(ratio: float) -> float:
    return 10.0 * math.log10(max(ratio, 1e-20))


def measure_lines(
    track: Track,
    sounds: tuple[SegmentSound, ...],
    number: int,
    speed: SpeedPosterior,
    *,
    idle: SegmentSound | None = None,
) -> tuple[LineMeasures, ...]:
    """Measure the lines of one segment against the others.

    Parameters
    ----------
    track : Track
    sounds : tuple of SegmentSound
        All segments of the recording.
    number : int
        Which of them.
    speed : SpeedPosterior
    idle : SegmentSound, optional
        The same machine idling, from another recording on the same bins.
    """
    own = sounds[number]
    others = tuple(one for i, one in enumerate(sounds) if i != number)
    top = min(HIGHEST_HZ, 0.45 * own.rate_hz)
    quiet = min(others, key=lambda one: one.level(LOWEST_HZ, top), default=None)
    places, prominence = _candidates(own, quiet, top)
    if not len(places):
        return ()
    fine = fine_sound(track, own.span)
    clocks = _clocks(fine, speed)
    strongest = float(_peaks(own, top)[1].max())
    made = []
    for i, prom in zip(places, prominence, strict=True):
        coarse = i * own.step_hz
        f = _refined(fine, coarse, own.step_hz)
        values = {"prominence_db": float(prom), "gap_db": float(prom) - strongest}
        values |= _shares(own, quiet, i, top)
        if idle is not None:
            values["over_idle_db"] = float(prom) - _db(idle.prominence(coarse))
        values |= _course(own, i, top)
        values |= _place(fine, f, speed)
        values |= _family(own, fine, f, speed)
        values |= _shape(fine, f)
        values |= _swing(fine, f, speed)
        if fine.length_s * speed.spindle_hz >= _FEWEST_TURNS:
            values |= _turn_grid(fine, f, speed, clocks)
        levels = np.array([_db(one.near(coarse)) for one in sounds])
        stands = np.array([_nan_db(one.prominence(coarse)) for one in sounds])
        made.append(LineMeasures(number, f, levels, stands, values))
    return tuple(made)


def _peaks(own: SegmentSound, top_hz: float) -> tuple[np.ndarray, np.ndarray]:
    """Bins of local maxima, and their prominence [dB]."""
    m = own.mean
    bins = np.flatnonzero((m[1:-1] >= m[:-2]) & (m[1:-1] > m[2:])) + 1
    bins = bins[(bins > 0.8 * LOWEST_HZ / own.step_hz) & (bins < top_hz / own.step_hz)]
    return bins, 10.0 * np.log10(np.maximum(m[bins] / np.maximum(own.floor[bins], 1e-20), 1e-20))


def _candidates(
    own: SegmentSound, quiet: SegmentSound | None, top_hz: float
) -> tuple[np.ndarray, np.ndarray]:
    bins, prominence = _peaks(own, top_hz)
    if not len(bins):
        return bins, prominence
    new = prominence
    if quiet is not None:
        there = np.maximum.reduce([quiet.mean[bins + d] for d in (-1, 0, 1)])
        rise = 10.0 * np.log10(np.maximum(own.mean[bins] / np.maximum(there, 1e-20), 1e-20))
        new = np.minimum(prominence, rise)
    picked: set[int] = set()
    for score, (count, least) in ((new, _BY_NEWNESS), (prominence, _BY_PROMINENCE)):
        best = np.argsort(-score)[:count]
        picked |= set(best[score[best] > least].tolist())
    chosen = np.array(sorted(picked), int)
    return bins[chosen], prominence[chosen]


def _refined(fine: FineSound, coarse_hz: float, reach_hz: float) -> float:
    low = int((coarse_hz - 1.2 * reach_hz) / fine.step_hz)
    high = int((coarse_hz + 1.2 * reach_hz) / fine.step_hz) + 1
    return (low + int(np.argmax(fine.power[low:high]))) * fine.step_hz


def _shares(
    own: SegmentSound, quiet: SegmentSound | None, i: int, top_hz: float
) -> dict[str, float]:
    """The line's part of the sound, of what the segment adds, and of its own surroundings."""
    step = own.step_hz
    low, high = int(LOWEST_HZ / step), int(top_hz / step)
    mean = own.mean
    line = float(mean[i - 2 : i + 3].sum())
    band = int(120.0 / step)
    excess = mean[low:high]
    if quiet is not None and quiet.level(LOWEST_HZ, top_hz) < 0.8 * own.level(LOWEST_HZ, top_hz):
        excess = np.maximum(excess - quiet.mean[low:high], 0.0)
    added = float(excess[max(0, i - low - 2) : i - low + 3].sum())
    return {
        "share_db": _db(line / max(float(mean[low:high].sum()), 1e-20)),
        "added_share_db": _db(added / max(float(excess.sum()), 1e-20)),
        "near_share_db": _db(line / max(float(mean[max(0, i - band) : i + band + 1].sum()), 1e-20)),
    }


def held_against_others(
    line: LineMeasures, lengths_s: np.ndarray, segments_db: np.ndarray
) -> dict[str, float]:
    """The line against the same place in the other segments, as level and as prominence.

    Parameters
    ----------
    line : LineMeasures
    lengths_s : ndarray, shape (segments,)
    segments_db : ndarray, shape (segments,)
        Level of each segment.

    Returns
    -------
    dict
        Empty where there is no other segment: that is no evidence that the line is old.
    """
    others = np.flatnonzero(np.arange(lengths_s.size) != line.segment)
    if not others.size:
        return {}
    levels, stands = line.levels_db, line.prominences_db
    here, prominent = float(levels[line.segment]), float(stands[line.segment])
    quiet = int(others[np.argmin(segments_db[others])])
    long = others[lengths_s[others] >= _LONG_S]
    return {
        "over_quietest_db": here - float(levels[quiet]),
        "over_all_loudest_db": here - float(levels[others].max()),
        "over_all_mean_db": here - float(levels[others].mean()),
        "over_all_least_db": here - float(levels[long].min()) if long.size else _NAN,
        "stands_over_quietest_db": prominent - float(stands[quiet]),
        "stands_over_middle_db": prominent - float(np.nanmedian(stands[others])),
    }


def _course(own: SegmentSound, i: int, top_hz: float) -> dict[str, float]:
    """The line's level from frame to frame."""
    power = own.power
    frames = power.shape[0]
    level = 10.0 * np.log10(np.maximum(power[:, i - 1 : i + 2].max(axis=1), 1e-20))
    beside = np.concatenate([power[:, max(0, i - 12) : i - 3], power[:, i + 4 : i + 13]], axis=1)
    floor = 10.0 * np.log10(np.maximum(np.median(beside, axis=1), 1e-20))
    found = {"stands_share": float(np.mean(level - floor > 6.0))}
    if frames < 8:
        return found
    low, high = int(LOWEST_HZ / own.step_hz), int(top_hz / own.step_hz)
    whole = 10.0 * np.log10(np.maximum(power[:, low:high].sum(axis=1), 1e-20))
    found["flicker_db"] = float(np.median(np.abs(np.diff(level[::3]))) * 1.4826 / np.sqrt(2.0))
    found["late_over_early_db"] = float(
        level[frames // 2 :].mean() - level[: max(1, frames // 4)].mean()
    )
    if level.std() > 0 and whole.std() > 0:
        found["with_whole"] = float(np.corrcoef(level, whole)[0, 1])
    return found


def _place(fine: FineSound, f: float, speed: SpeedPosterior) -> dict[str, float]:
    """Where the line lies between multiples of tooth and turn, and how likely by chance."""
    error = math.hypot(0.25 / fine.length_s, f * max(speed.spread, 1e-4))
    found = {}
    for name, spacing, offset in (
        ("tooth", speed.tooth_hz, 0.0),
        ("turn", speed.spindle_hz, 0.0),
        ("half_tooth", speed.tooth_hz, 0.5),
    ):
        order = f / spacing - offset
        away = abs(order - round(order))
        known = error < 0.15 * spacing
        found[f"off_{name}"] = away if known else _NAN
        found[f"off_{name}_odds"] = _off_odds(away * spacing, spacing, error)
    return found


def _off_odds(away_hz: float, spacing_hz: float, error_hz: float) -> float:
    """Log-likelihood ratio of "anywhere" against "on a multiple", 0 when the grid is covered."""
    if error_hz > 0.25 * spacing_hz:
        return 0.0
    anywhere = math.log(2.0 / spacing_hz)
    on = -math.log(error_hz * math.sqrt(2.0 * math.pi)) - 0.5 * (away_hz / error_hz) ** 2
    on = float(np.logaddexp(on + math.log(0.98), anywhere + math.log(0.02)))
    return float(np.clip(anywhere - on, -6.0, 4.0))


def _family(
    own: SegmentSound, fine: FineSound, f: float, speed: SpeedPosterior
) -> dict[str, float]:
    """Members one tooth passing, or one turn, apart; harmonics; the teeth's lines beside it."""
    tooth, turn = speed.tooth_hz, speed.spindle_hz
    whole, half = np.array([-3, -2, -1, 1, 2, 3]), np.array([-2.5, -1.5, -0.5, 0.5, 1.5, 2.5])

    def coarse(steps: tuple[float, ...]) -> float:
        told = [_db(p) for p in (own.prominence(f + k * tooth) for k in steps) if p == p]
        return float(np.mean(told)) if told else _NAN

    found = {}
    if tooth > 3.0 * own.step_hz:
        found["family_db"] = coarse((-2, -1, 1, 2))
    if tooth > 6.0 * own.step_hz:
        found["family_over_half_db"] = found["family_db"] - coarse((-1.5, -0.5, 0.5, 1.5))
    if tooth * fine.length_s > 6.0:
        found["fine_family_db"] = fine.levels_db(f, whole * tooth) - fine.levels_db(f, half * tooth)
    if turn * fine.length_s > 6.0:
        found["turn_family_db"] = fine.levels_db(f, whole * turn) - fine.levels_db(f, half * turn)
    nearest = round(f / tooth)
    beside = [
        own.near(k * tooth)
        for k in (nearest - 1, nearest, nearest + 1)
        if k > 0 and abs(k * tooth - f) > max(2.0 * own.step_hz, 0.1 * tooth)
    ]
    floor = float(own.floor[round(f / own.step_hz)])
    found["over_teeth_db"] = _db(own.near(f) / max(*beside, floor, 1e-20) if beside else 1.0)
    for name, times in (("second_db", 2.0), ("third_db", 3.0), ("half_db", 0.5)):
        found[name] = _nan_db(own.prominence(times * f))
    second = own.near(2.0 * f, reach=2)
    if second > 0.0:
        found["second_under_first_db"] = _db(second / max(own.near(f), 1e-20))
    return found


def _nan_db(ratio: float) -> float:
    return _db(ratio) if ratio == ratio else _NAN


def _shape(fine: FineSound, f: float) -> dict[str, float]:
    """Width 10 dB below its top, log Hz."""
    top = round(f / fine.step_hz)
    reach = int(30.0 / fine.step_hz)
    low, high = max(0, top - reach), min(fine.power.size, top + reach + 1)
    loud = np.flatnonzero(fine.power[low:high] > 0.1 * fine.power[top]) + low
    gaps = np.flatnonzero(np.diff(loud) > 3)
    at = int(np.searchsorted(loud, top))
    first = loud[gaps[gaps < at][-1] + 1] if (gaps < at).any() else loud[0]
    last = loud[gaps[gaps >= at][0]] if (gaps >= at).any() else loud[-1]
    return {"width_log_hz": math.log((last - first) * fine.step_hz + 1.0 / fine.length_s)}


def _swing(fine: FineSound, f: float, speed: SpeedPosterior) -> dict[str, float]:
    """How the line's own level swings with teeth and turn, and how it repeats."""
    tooth, turn = speed.tooth_hz, speed.spindle_hz
    half = float(np.clip(2.3 * tooth, 30.0, 400.0))
    low, high = int((f - half) / fine.step_hz), int((f + half) / fine.step_hz)
    if low <= 5 or high >= fine.spectrum.size:
        return {}
    bins = high - low
    band = fine.spectrum[low:high] * np.hanning(bins)
    wave = scipy.fft.ifft(scipy.fft.ifftshift(band))
    rate = bins * fine.step_hz
    wave = wave[: int(bins * fine.x.size / (fine.power.size - 1) / 2)]
    if wave.size < 40:
        return {}
    window = hann(wave.size) / float(hann(wave.size).max())
    inner = window > 0.15
    level = np.abs(wave[inner]) / window[inner]
    level = level / max(float(level.mean()), 1e-20) - 1.0
    found = {}
    if level.size > 32:
        level = level - moving_mean(level, max(3, int(2.5 / turn * rate)))
        size = 4 * level.size
        lines = np.abs(scipy.fft.rfft(level * np.hanning(level.size), size)) / (0.25 * level.size)
        found |= _swing_lines(lines, rate / size, tooth, turn, fine.length_s)
        found["swing_db"] = _db(float(level.var()) + 1e-6)
    for name, lag in (("repeats_turn", 1.0 / turn), ("repeats_teeth", 4.0 / tooth)):
        found[name] = _repeats(wave, round(lag * rate))
    return found


def _swing_lines(
    lines: np.ndarray, step_hz: float, tooth_hz: float, turn_hz: float, length_s: float
) -> dict[str, float]:
    floor = float(np.median(lines)) + 1e-9

    def at(frequency: float) -> float:
        place = frequency / step_hz
        if not 2 < place < lines.size - 4:
            return _NAN
        return float(lines[max(0, int(place) - 2) : int(place) + 4].max())

    once, twice = at(tooth_hz), at(2.0 * tooth_hz)
    found = {
        "tooth_swing_db": _nan_db(once**2),
        "tooth_swing_stands_db": _nan_db((once / floor) ** 2),
        "second_swing_stands_db": _nan_db((twice / floor) ** 2),
    }
    if length_s * turn_hz > 4.0:
        turned = at(turn_hz)
        found["turn_swing_db"] = _nan_db(turned**2)
        found["turn_swing_stands_db"] = _nan_db((turned / floor) ** 2)
    return found


def _repeats(wave: np.ndarray, lag: int) -> float:
    """Coherence of the line with itself a lag later, 0 to 1; NaN where too short."""
    if not 1 <= lag <= 0.7 * wave.size:
        return _NAN
    a, b = wave[:-lag], wave[lag:]
    norm = float((np.abs(a) ** 2).sum() * (np.abs(b) ** 2).sum())
    return float(abs(np.vdot(a, b)) / math.sqrt(norm + 1e-30))


@dataclass(frozen=True)
class _Clock:
    """The turn by one kind of lines: frequency, and standard deviations above the rest."""

    turn_hz: float
    stands: float


def _grid(speed: SpeedPosterior) -> np.ndarray:
    span = _NARROW if speed.spread < _KNOWN else _WIDE
    return speed.spindle_hz * np.exp(np.arange(-span, span, _CLOCK_STEP))


def _best(grid: np.ndarray, score: np.ndarray) -> _Clock:
    best = int(np.argmax(score))
    stands = (score[best] - score.mean()) / max(float(score.std()), 1e-6)
    return _Clock(float(grid[best]), float(stands))


def _clocks(fine: FineSound, speed: SpeedPosterior) -> tuple[np.ndarray, _Clock | None]:
    """The grid of turn frequencies, and the clock of the envelopes, which no carrier pulls."""
    grid = _grid(speed)
    turn, teeth = speed.spindle_hz, speed.teeth
    if fine.length_s * turn < 3.0:
        return grid, None
    gains = envelope_gains(fine.x, fine.rate_hz, spindle_hz=turn, tooth_hz=teeth * turn)
    if gains is None:
        return grid, None
    orders = np.arange(1, min(8 * teeth, 200) + 1)
    if teeth > 25:
        near = [k * teeth + d for k in range(1, 9) for d in range(-2, 3)]
        orders = np.array(sorted({*range(1, 11), *near}))
    return grid, _best(grid, gains.comb(grid, orders))


def _line_clock(fine: FineSound, f: float, speed: SpeedPosterior, grid: np.ndarray) -> _Clock:
    """The clock of the sound's lines, those around the line in question left out."""
    turn, teeth = speed.spindle_hz, speed.teeth
    top = min(2500.0, 0.45 * fine.rate_hz)
    orders = np.arange(1, int(top / turn))
    if orders.size > _MOST_ORDERS:
        sides = (-1, 0, 1) if teeth > 2 else (0,)
        orders = np.array([k * teeth + d for k in range(1, int(top / turn / teeth)) for d in sides])
    orders = orders[np.abs(orders * turn / f - 1.0) > 0.12]
    gains = Gains(np.minimum(fine.gain, 16.0), fine.step_hz, 0.0)
    return _best(grid, gains.comb(grid, orders))


def _turn_grid(
    fine: FineSound,
    f: float,
    speed: SpeedPosterior,
    clocks: tuple[np.ndarray, _Clock | None],
) -> dict[str, float]:
    """Whether line and surroundings lie on the grid of the turn, by two clocks.

    With runout few teeth cut, the delay that regenerates is one turn, and chatter lies about a
    quarter turn off the turn's grid even where it lies on a tooth order.
    """
    grid, envelope = clocks
    sound = _line_clock(fine, f, speed, grid)
    found = {"sound_clock_z": sound.stands}
    low, high = int(0.85 * f / fine.step_hz), int(min(1.15 * f / fine.step_hz, fine.power.size))
    loud = np.maximum(fine.power[low:high] - 2.0 * fine.floor[low:high], 0.0)
    place = np.arange(low, high) * fine.step_hz
    total = max(float(loud.sum()), 1e-20)
    shifts = []
    for name, clock in (("envelope", envelope), ("sound", sound)):
        if clock is None:
            continue
        c = complex((loud * np.exp(2j * np.pi * place / clock.turn_hz)).sum()) / total
        shifts.append(abs(c) - c.real)
        found[f"shift_{name}"] = shifts[-1]
        found[f"on_turn_{name}"] = c.real
    found["shift_most"], found["shift_least"] = max(shifts), min(shifts)
    if envelope is not None:
        found["envelope_clock_z"] = envelope.stands
        found["clocks_apart"] = 1e4 * abs(math.log(sound.turn_hz / envelope.turn_hz))
    three = np.argsort(loud)[-3:]
    turn_hz = sound.turn_hz if envelope is None else envelope.turn_hz
    off = np.abs((place[three] / turn_hz + 0.5) % 1.0 - 0.5)
    found["three_off_turn"] = float(
        (off * loud[three]).sum() / max(float(loud[three].sum()), 1e-20)
    )
    found["noise_repeats"] = _noise_repeats(fine, f, speed.spindle_hz)
    return found


def _noise_repeats(fine: FineSound, f: float, turn_hz: float) -> float:
    """How far the noise above the line repeats after one turn: rubbing and runout do."""
    n = int(2 ** round(math.log2(fine.rate_hz / 80.0)))
    view = np.lib.stride_tricks.sliding_window_view(fine.x, n)[:: n // 2]
    spectra = scipy.fft.rfft(view * hann(n), axis=-1)
    low, high = (
        int(1.5 * f * n / fine.rate_hz),
        int(min(8.0 * f, 0.45 * fine.rate_hz) * n / fine.rate_hz),
    )
    if high <= low + 1:
        return _NAN
    power = (spectra.real**2 + spectra.imag**2)[:, low:high].sum(axis=1)
    level = 10.0 * np.log10(np.maximum(power, 1e-20))
    rate = fine.rate_hz / (n // 2)
    level = level - moving_mean(level, max(3, int(1.5 / turn_hz * rate)))
    best = _NAN
    for lag in range(max(1, int(0.97 / turn_hz * rate)), int(1.03 / turn_hz * rate) + 2):
        if lag < 0.7 * level.size:
            a, b = level[:-lag], level[lag:]
            value = float((a * b).sum() / math.sqrt((a**2).sum() * (b**2).sum() + 1e-9))
            best = value if best != best else max(best, value)
    return best
