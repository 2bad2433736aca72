"""The numbers a verdict rests on, one flat set per pass.

Every measure is a ratio within the recording (a level over a local floor, a modulation
depth, a share): a phone's gain cancels.  A measure that cannot be had is NaN, and is then
neutral in the verdict.
"""

from __future__ import annotations

import math

import numpy as np

from chatter.listening.folding import fold
from chatter.listening.humps import half_band_hz, strongest_hump
from chatter.listening.pass_speed import SpeedEstimate
from chatter.listening.tones import FrameSpectra, Tone
from chatter.listening.turning import Turning
from chatter.sound.spectrum import db

_SQUEAL_HZ = 1000.0
#: No line above this is taken for chatter.
TONE_TOP_HZ = 6000.0
_NAN = float("nan")


def likeliest_chatter(tones: tuple[Tone, ...]) -> Tone | None:
    """The tone that looks most like chatter at first sight, None when there is no line: strong,
    new, and not on the teeth's comb.  The lines are weighed one by one elsewhere; this is the
    one whose course and family the pass's own measures describe."""
    fit = [t for t in tones if t.frequency_hz <= TONE_TOP_HZ]
    return max(fit, key=_looks, default=None)


def _looks(tone: Tone) -> float:
    rise = 10.0 if math.isnan(tone.rise_db) else min(tone.rise_db, 30.0)
    return tone.prominence_db + 0.5 * rise + 2.0 * tone.freedom + 0.5 * tone.family_db


def tone_measures(tone: Tone) -> dict[str, float]:
    """What one tone contributes to the measures of its pass."""
    return {
        "tone_hz": tone.frequency_hz,
        "prominence_db": tone.prominence_db,
        "dominance_db": tone.dominance_db,
        "share_db": float(db(tone.share)),
        "flicker_db": tone.flicker_db,
        "freedom": tone.freedom,
        "family_db": tone.family_db,
        "tone_rise_db": tone.rise_db,
        "onset_rise_db": tone.onset_rise_db,
        "tone_time_share": tone.time_share,
        "half_order": 1.0 if tone.half < max(3.0 * tone.tooth_error, 0.03) else 0.0,
        "mains_line": 1.0 if _near_mains(tone.frequency_hz) else 0.0,
    }


def _near_mains(frequency_hz: float) -> bool:
    return any(
        frequency_hz < 12.5 * mains
        and abs(frequency_hz - round(frequency_hz / mains) * mains) < 0.6
        for mains in (50.0, 60.0)
    )


def tooth_levels(turning: Turning) -> tuple[np.ndarray, np.ndarray]:
    """Mean strength of each tooth (mean one) and its standard error, shape (teeth,)."""
    power = turning.tooth_power
    mean = power.mean(axis=0)
    error = power.std(axis=0, ddof=1) / np.sqrt(power.shape[0])
    return mean / mean.mean(), error / mean.mean()


def measure(
    *,
    speed: SpeedEstimate,
    turning: Turning | None,
    spectra: FrameSpectra,
    tones: tuple[Tone, ...],
    tone: Tone | None,
    teeth: int,
    idle: np.ndarray | None,
    others: np.ndarray | None,
    revolutions: float,
) -> dict[str, float]:
    """All measures of one pass.

    Parameters
    ----------
    speed : SpeedEstimate
        Spindle speed.
    turning : Turning or None
        The pass in the angle domain; None when it is too short.
    spectra : FrameSpectra
    tones : tuple of Tone
    tone : Tone or None
        The likeliest chatter among them.
    teeth : int
    idle : ndarray, shape (bins or more,), or None
        Mean spectrum of the idling machine on the bins of ``spectra``.
    others : ndarray, shape (bins or more,), or None
        Lower quartile over the other passes' mean spectra.
    revolutions : float
    """
    values: dict[str, float] = {
        "speed_z": speed.score,
        "turn_z": speed.turn_score,
        "speed_error_log": math.log(speed.relative_error),
        "revolutions": revolutions,
    }
    values |= _tone_measures(tones, tone)
    values |= _other_measures(spectra, values.get("tone_hz"), others)
    values |= _family_measures(spectra, speed, tone, teeth)
    values |= _hump_measures(spectra, speed, idle, teeth)
    values |= _hump_against_others(spectra, values.get("hump_hz"), others)
    values |= _turn_measures(turning)
    values |= _tooth_measures(turning)
    values |= _comb_measures(spectra, speed, turning)
    return {name: float(value) for name, value in values.items()}


def _tone_measures(tones: tuple[Tone, ...], tone: Tone | None) -> dict[str, float]:
    squeals = [
        t
        for t in tones
        if t.frequency_hz > _SQUEAL_HZ and t is not tone and t.freedom > 1.0 and t.family_db < 3.0
    ]
    values = {"squeal_db": max((t.prominence_db for t in squeals), default=_NAN)}
    if tone is None:
        return values
    return values | tone_measures(tone)


def _family_measures(
    spectra: FrameSpectra, speed: SpeedEstimate, tone: Tone | None, teeth: int
) -> dict[str, float]:
    """Families in the spectrum folded at the tooth-passing frequency."""
    tooth_hz = teeth * speed.spindle_hz
    folded = fold(spectra, tooth_hz=tooth_hz, speed_error=speed.relative_error)
    _, score = folded.best_free(2.0 * spectra.step_hz / tooth_hz)
    own = _NAN if tone is None else folded.at((tone.frequency_hz / tooth_hz) % 1.0)
    return {
        "fold_free_z": score,
        "fold_tooth_z": folded.at(0.0),
        "fold_half_z": folded.at(0.5),
        "fold_tone_z": own,
    }


def _other_measures(
    spectra: FrameSpectra, tone_hz: float | None, others: np.ndarray | None
) -> dict[str, float]:
    """The tone against the same line in the quieter ones of the other passes."""
    if others is None or tone_hz is None:
        return {"tone_other_db": _NAN}
    i = round(tone_hz / spectra.step_hz)
    near = slice(max(0, i - 1), i + 2)
    there = float(others[near].max(initial=1e-20))
    return {"tone_other_db": float(db(spectra.mean[near].max(initial=1e-20) / there))}


def _hump_against_others(
    spectra: FrameSpectra, hump_hz: float | None, others: np.ndarray | None
) -> dict[str, float]:
    """The hump's band against the same band in the quieter ones of the other passes."""
    if others is None or hump_hz is None:
        return {"hump_other_db": _NAN}
    half = half_band_hz(hump_hz)
    low, high = int((hump_hz - half) / spectra.step_hz), int((hump_hz + half) / spectra.step_hz)
    here = float(spectra.mean[low : high + 1].sum())
    there = float(others[low : high + 1].sum())
    return {"hump_other_db": float(db(here / max(there, 1e-20)))}


def _hump_measures(
    spectra: FrameSpectra, speed: SpeedEstimate, idle: np.ndarray | None, teeth: int
) -> dict[str, float]:
    hump = strongest_hump(
        spectra,
        idle,
        spindle_hz=speed.spindle_hz,
        teeth=teeth,
        speed_error=speed.relative_error,
    )
    if hump is None:
        return {}
    return {
        "hump_hz": hump.frequency_hz,
        "hump_prominence_db": hump.prominence_db,
        "hump_rise_db": hump.rise_db,
        "hump_free_db": hump.free_db,
        "hump_sharpness": hump.sharpness,
        "hump_onset_db": hump.onset_rise_db,
        "hump_turn_db": hump.turn_db,
        "hump_harmonic_db": hump.harmonic_db,
        "hump_pitch": math.log2(hump.frequency_hz / 700.0),
    }


def _turn_measures(turning: Turning | None) -> dict[str, float]:
    """How deep the noise swells with the turn and with the teeth, high and low bands."""
    if turning is None:
        return dict.fromkeys(
            (
                "turn_high_db",
                "tooth_high_db",
                "side_high_db",
                "turn_low_db",
                "tooth_low_db",
                "turn_over_tooth_db",
                "turn_high_z",
                "tooth_z",
                "sync_share",
                "side_low_db",
                "turn_slope_db",
                "side_z",
            ),
            _NAN,
        )
    high = turning.high()
    turn = turning.depth(turning.turn_orders())
    tooth = turning.depth(turning.tooth_orders())
    side = turning.depth(turning.side_orders())
    lines = turning.lines
    nought = np.zeros(len(high))
    turn_z = sum((lines.ratio(m) for m in turning.turn_orders(3)), nought)
    tooth_z = sum((lines.ratio(m) for m in turning.tooth_orders(3)), nought)
    sides = turning.side_orders()
    side_z = sum((lines.ratio(m) for m in sides), nought) / max(len(sides), 1)
    pick = high if high.any() else np.ones_like(high)
    low = ~high if (~high).any() else pick

    def level(depth: np.ndarray, where: np.ndarray) -> float:
        return float(db(max(float(np.mean(depth[where] ** 2)), 1e-3)))

    return {
        "turn_high_db": level(turn, pick),
        "tooth_high_db": level(tooth, pick),
        "side_high_db": level(side, pick),
        "turn_low_db": level(turn, low),
        "tooth_low_db": level(tooth, low),
        "side_low_db": level(side, low),
        "turn_slope_db": level(turn, pick) - level(turn, low),
        "side_z": float(db(max(float(side_z.max()), 1e-3))),
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
    spectra: FrameSpectra, speed: SpeedEstimate, turning: Turning | None
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
    tooth_hz = teeth * speed.spindle_hz
    order = frequency / tooth_hz
    on_tooth = np.abs(order - np.round(order)) * tooth_hz < 1.6 * step
    on_tooth &= np.round(order) >= 1
    total = float(spectra.mean[:top].sum())
    comb = float(excess[on_tooth].sum())
    shares = {"comb_share": comb / max(total, 1e-20), "revolution_share_db": _NAN}
    if teeth >= 2 and step < 0.22 * speed.spindle_hz:
        turn = frequency / speed.spindle_hz
        on_turn = (np.abs(turn - np.round(turn)) * speed.spindle_hz < 1.6 * step) & ~on_tooth
        on_turn &= np.round(turn) >= 1
        shares["revolution_share_db"] = float(
            db(max(float(excess[on_turn].sum()), 1e-12) / max(comb, 1e-12))
        )
    return shares
