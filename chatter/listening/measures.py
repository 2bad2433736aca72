"""The numbers a verdict rests on, one flat set per pass.

Every measure is a ratio within the recording (a level over a local floor, a modulation
depth, a share): a phone's gain cancels.  A measure that cannot be had is NaN, and is then
neutral in the verdict.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from chatter.listening.speed import Heard
from chatter.listening.tones import FrameSpectra, Tone, tone_track
from chatter.listening.turning import Turning
from chatter.sound.modulation import moving_mean
from chatter.sound.spectrum import db

_SQUEAL_HZ = 1000.0
_CHATTER_TOP_HZ = 6000.0
_NAN = float("nan")


@dataclass(frozen=True)
class Onset:
    """Course of one tone over a pass.

    Attributes
    ----------
    on : ndarray, shape (frames,), bool
        Frames in which the tone stands out.
    level_db : ndarray, shape (frames,)
        Above the surroundings in the same frame.
    start_s : float
        First frame of a stretch of at least three.
    share : float
        Share of the frames.
    rise_db : float
        Its level after the start over its level before; NaN when it is there from the
        first frames on.
    growth_per_s : float or None
        Exponential growth rate of the amplitude around the start.
    """

    on: np.ndarray
    level_db: np.ndarray
    start_s: float
    share: float
    rise_db: float
    growth_per_s: float | None


def likeliest_chatter(tones: tuple[Tone, ...]) -> Tone | None:
    """The tone that looks most like chatter, or None when there is no line at all."""
    fit = [t for t in tones if t.frequency_hz <= _CHATTER_TOP_HZ]
    return max(fit, key=_likeness, default=None)


def _likeness(tone: Tone) -> float:
    return (
        min(tone.prominence_db, 35.0)
        + 0.7 * float(np.clip(tone.dominance_db, -20.0, 20.0))
        + 2.0 * tone.freedom
        - 2.0 * max(tone.flicker_db - 2.0, 0.0)
        + 0.5 * min(tone.family_db, 15.0)
    )


def onset_of(spectra: FrameSpectra, tone: Tone) -> Onset:
    """When the tone stands out of its surroundings, frame by frame."""
    line, floor = tone_track(spectra, tone.frequency_hz)
    level = np.asarray(db(line / floor))
    limit = max(8.0, 0.5 * float(np.quantile(level, 0.95)))
    smooth = moving_mean(level, 3)
    on = smooth > limit
    runs = np.flatnonzero(np.diff(np.r_[False, on, False].astype(np.int8))).reshape(-1, 2)
    long = [(a, b) for a, b in runs if b - a >= min(3, len(on))]
    if not long:
        return Onset(on, level, float(spectra.time_s[0]), float(on.mean()), _NAN, None)
    first = long[0][0]
    absolute = np.asarray(db(line))
    rise = growth = None
    if first >= 3:
        rise = float(np.median(absolute[long[0][0] : long[0][1]]) - np.median(absolute[:first]))
        around = slice(max(0, first - 3), first + 3)
        slope = np.polyfit(spectra.time_s[around], absolute[around], 1)[0]  # dB/s
        growth = float(max(slope, 0.0) * np.log(10.0) / 20.0)
    return Onset(
        on, level, float(spectra.time_s[first] - 0.5 * spectra.frame_s), float(on.mean()),
        _NAN if rise is None else rise, growth,
    )


def tooth_levels(turning: Turning) -> tuple[np.ndarray, np.ndarray]:
    """Mean strength of each tooth (mean one) and its standard error, shape (teeth,)."""
    power = turning.tooth_power
    mean = power.mean(axis=0)
    error = power.std(axis=0, ddof=1) / np.sqrt(power.shape[0])
    return mean / mean.mean(), error / mean.mean()


def measure(
    *,
    heard: Heard,
    turning: Turning | None,
    spectra: FrameSpectra,
    tones: tuple[Tone, ...],
    idle: np.ndarray | None,
    revolutions: float,
    contrast_db: float,
) -> dict[str, float]:
    """All measures of one pass.

    Parameters
    ----------
    heard : Heard
        Spindle speed.
    turning : Turning or None
        The pass in the angle domain; None when it is too short.
    spectra : FrameSpectra
    tones : tuple of Tone
    idle : ndarray, shape (bins,), or None
        Mean spectrum of the idling machine on the same bins.
    revolutions : float
    contrast_db : float
        Level of the pass over the rest of the recording; NaN when there is no rest.
    """
    found: dict[str, float] = {
        "speed_z": heard.score,
        "revolutions": revolutions,
        "contrast_db": contrast_db,
    }
    found |= _tone_measures(spectra, tones, idle)
    found |= _turn_measures(turning)
    found |= _tooth_measures(turning)
    found |= _comb_measures(spectra, heard, turning)
    return {name: float(value) for name, value in found.items()}


def _tone_measures(
    spectra: FrameSpectra, tones: tuple[Tone, ...], idle: np.ndarray | None
) -> dict[str, float]:
    tone = likeliest_chatter(tones)
    names = ("prominence_db", "dominance_db", "share_db", "flicker_db", "freedom", "family_db",
             "tone_rise_db", "onset_rise_db", "tone_time_share", "half_order")
    if tone is None:
        return dict.fromkeys(names, _NAN) | {"prominence_db": 0.0, "tone_time_share": 0.0}
    onset = onset_of(spectra, tone)
    i = int(round(tone.frequency_hz / spectra.step_hz))
    rise = _NAN
    if idle is not None:
        before = float(idle[max(0, i - 1) : i + 2].max(initial=1e-20))
        rise = float(db(spectra.mean[max(0, i - 1) : i + 2].max() / max(before, 1e-20)))
    squeals = [
        t for t in tones
        if t.frequency_hz > _SQUEAL_HZ and t is not tone and t.freedom > 1.0 and t.family_db < 3.0
    ]
    return {
        "prominence_db": tone.prominence_db,
        "dominance_db": tone.dominance_db,
        "share_db": float(db(tone.share)),
        "flicker_db": tone.flicker_db,
        "freedom": tone.freedom,
        "family_db": tone.family_db,
        "tone_rise_db": rise,
        "onset_rise_db": onset.rise_db,
        "tone_time_share": onset.share,
        "half_order": 1.0 if tone.half < max(3.0 * tone.tooth_error, 0.03) else 0.0,
        "tone_hz": tone.frequency_hz,
        "squeal_db": max((t.prominence_db for t in squeals), default=0.0),
    }


def _turn_measures(turning: Turning | None) -> dict[str, float]:
    """How deep the noise swells with the turn and with the teeth, high and low bands."""
    if turning is None:
        return dict.fromkeys(
            ("turn_high_db", "tooth_high_db", "side_high_db", "turn_low_db", "tooth_low_db",
             "turn_over_tooth_db", "turn_high_z", "tooth_z", "sync_share"), _NAN)
    high = turning.high()
    turn = turning.depth(turning.turn_orders())
    tooth = turning.depth(turning.tooth_orders())
    side = turning.depth(turning.side_orders())
    lines = turning.lines
    turn_z = sum(lines.ratio(m) for m in turning.turn_orders(3))
    tooth_z = sum(lines.ratio(m) for m in turning.tooth_orders(3))
    pick = high if high.any() else np.ones_like(high)
    low = ~high if (~high).any() else pick

    def level(depth: np.ndarray, where: np.ndarray) -> float:
        return float(db(max(float(np.mean(depth[where] ** 2)), 1e-6)))

    return {
        "turn_high_db": level(turn, pick),
        "tooth_high_db": level(tooth, pick),
        "side_high_db": level(side, pick),
        "turn_low_db": level(turn, low),
        "tooth_low_db": level(tooth, low),
        "turn_over_tooth_db": level(turn, pick) - level(np.hypot(tooth, side), pick),
        "turn_high_z": float(db(max(float(turn_z[pick].max()), 1e-3))),
        "tooth_z": float(db(max(float(tooth_z.max()), 1e-3))),
        "sync_share": float(turning.share.max()),
    }


def _tooth_measures(turning: Turning | None) -> dict[str, float]:
    names = ("teeth_spread", "teeth_f_db", "teeth_top_db", "teeth_once")
    if turning is None or turning.teeth < 2:
        return dict.fromkeys(names, _NAN)
    mean, error = tooth_levels(turning)
    noise = float(np.mean(error**2))
    between = float(mean.var())
    teeth = turning.teeth
    once = 2.0 * abs(np.fft.rfft(mean)[1]) / teeth if teeth > 2 else abs(mean[0] - mean[1]) / 2
    return {
        "teeth_spread": float(np.sqrt(max(between - noise, 0.0))),
        "teeth_f_db": float(db(between / max(noise, 1e-9))),
        "teeth_top_db": float(20.0 * np.log10(max(mean.max() - error[mean.argmax()], 1e-3))),
        "teeth_once": float(once),
    }


def _comb_measures(
    spectra: FrameSpectra, heard: Heard, turning: Turning | None
) -> dict[str, float]:
    """Power on tooth harmonics, on other revolution orders and elsewhere, as shares."""
    teeth = turning.teeth if turning is not None else 0
    names = ("comb_share", "revolution_share_db")
    if teeth < 1:
        return dict.fromkeys(names, _NAN)
    step = spectra.step_hz
    top = int(min(5000.0 / step, spectra.mean.size))
    excess = np.maximum(spectra.mean[:top] - spectra.floor[:top], 0.0)
    frequency = np.arange(top) * step
    tooth_hz = teeth * heard.spindle_hz
    order = frequency / tooth_hz
    on_tooth = np.abs(order - np.round(order)) * tooth_hz < 1.6 * step
    on_tooth &= np.round(order) >= 1
    total = float(spectra.mean[:top].sum())
    comb = float(excess[on_tooth].sum())
    found = {"comb_share": comb / max(total, 1e-20), "revolution_share_db": _NAN}
    if teeth >= 2 and step < 0.22 * heard.spindle_hz:
        turn = frequency / heard.spindle_hz
        on_turn = (np.abs(turn - np.round(turn)) * heard.spindle_hz < 1.6 * step) & ~on_tooth
        on_turn &= np.round(turn) >= 1
        found["revolution_share_db"] = float(db(
            max(float(excess[on_turn].sum()), 1e-12) / max(comb, 1e-12)
        ))
    return found
