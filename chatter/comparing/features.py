"""Features: rows to a few numbers in dB that neither gain nor microphone changes.

Every feature is a function of weighted means over rows; ``weights`` has one line per drawing
of the bootstrap, the first being equal weights.
"""

from __future__ import annotations

import numpy as np

from chatter.comparing.take import MeasuredTake
from chatter.comparing.tones import Tones
from chatter.comparing.turns import Turns

#: Groups of carrier bands [Hz]: mostly cutting, both, mostly rubbing and chip noise.
LOW_HZ, HIGH_HZ = 850.0, 2400.0
#: All features, in the order of every array of them.
NAMES = (
    *("swell_low", "swell_mid", "swell_high"),
    *("tooth_low", "tooth_mid", "tooth_high"),
    *("side", "chatter", "squeal", "machine", "level"),
)
_ANGLES = 24
#: Swells much deeper than this end in the noise of the phone and its coder, and their depth says
#: more of these than of the cut: it counts less and less.
_DEEP_DB = 8.0
#: Squared depth below which the teeth are lost in the noise.
_TOOTH_FLOOR = 5e-4
_SIDE_FLOOR = 0.003


def features(take: MeasuredTake, bands_hz: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """All features of one take.

    Parameters
    ----------
    take : MeasuredTake
        With ``turns``.
    bands_hz : ndarray, shape (bands, 2)
        Carrier bands that all takes have: the rest would compare unlike with unlike.
    weights : ndarray, shape (draws, rows)
        Each line sums to one.

    Returns
    -------
    ndarray, shape (draws, features)
        NaN where a feature cannot be had.
    """
    turns = take.turns
    assert turns is not None, "a take without turns is not compared"
    at = columns(turns.bands_hz, bands_hz)
    swell = swelling(turns, weights)[:, at]
    groups = _groups(bands_hz[:, 0])
    tooth, side = weights @ turns.tooth[:, at], weights @ turns.side[:, at]
    out = [_mean(swell, g) for g in groups]
    out += [5.0 * np.log10(np.maximum(_mean(tooth, g), 0.0) + _TOOTH_FLOOR) for g in groups]
    whole, beside = tooth.mean(axis=1), side.mean(axis=1)
    # Beside the teeth against the teeth themselves: what dulls one dulls the other.
    ratio = (np.maximum(beside, 0.0) + _SIDE_FLOOR) / (np.maximum(whole, 0.0) + _SIDE_FLOOR)
    out.append(5.0 * np.log10(ratio))
    out.append(tone_prominence(take.free, weights))
    out.append(tone_prominence(take.squeal, weights))
    out.append(_machine(take.machine, len(weights)))
    out.append(_level(turns, take.idle, at, weights))
    return np.stack(out, axis=1)


def swelling(turns: Turns, weights: np.ndarray) -> np.ndarray:
    """How far the level of each band swells within a turn: from trough to peak in dB.

    Deep swells are drawn in: 8 asinh(x / 8).

    Returns
    -------
    ndarray, shape (draws, bands)
    """
    low = np.tensordot(weights, turns.swell, axes=1)  # (draws, bands, orders)
    swing = np.ptp(np.fft.irfft(low, _ANGLES, axis=2) * _ANGLES, axis=2)
    return _DEEP_DB * np.arcsinh(swing / _DEEP_DB)


def tone_prominence(tones: Tones | None, weights: np.ndarray) -> np.ndarray:
    """Strongest tone over its neighbourhood, 10 lg(1 + excess), shape (draws,)."""
    if tones is None:
        return np.full(len(weights), np.nan)
    ratio = (weights @ tones.tone) / np.maximum(weights @ tones.near, 1e-20)
    return 10.0 * np.log10(1.0 + np.maximum(ratio - 1.0, 0.0)).max(axis=1)


def share_of_time(tones: Tones | None, weights: np.ndarray, over_db: float = 9.0) -> np.ndarray:
    """Share of rows in which the strongest tone stands out, shape (draws,)."""
    if tones is None:
        return np.zeros(len(weights))
    ratio = (tones.tone / np.maximum(tones.near, 1e-20)).max(axis=1)
    return weights @ (10.0 * np.log10(np.maximum(ratio, 1e-9)) > over_db).astype(float)


def _machine(tones: Tones | None, draws: int) -> np.ndarray:
    """Mean over the machine's tones of their height over the neighbourhood, while idling."""
    if tones is None:
        return np.full(draws, np.nan)
    ratio = tones.tone.mean(axis=0) / np.maximum(tones.near.mean(axis=0), 1e-20)
    height = 10.0 * np.log10(1.0 + np.maximum(ratio - 1.0, 0.0))
    return np.full(draws, float(height.mean()))


def _level(
    turns: Turns, idle_power: np.ndarray | None, at: list[int], weights: np.ndarray
) -> np.ndarray:
    """Level of the cut re the same machine idling, band by band, mean over the bands."""
    if idle_power is None:
        return np.full(len(weights), np.nan)
    cut, idle = weights @ turns.level[:, at], idle_power[at]
    added = np.maximum(cut - idle, 0.05 * idle) / np.maximum(idle, 1e-20)
    return 10.0 * np.log10(added).mean(axis=1)


def columns(have_hz: np.ndarray, wanted_hz: np.ndarray) -> list[int]:
    """Where the wanted bands stand among those there are."""
    have = [tuple(one) for one in have_hz.tolist()]
    return [have.index(tuple(one)) for one in wanted_hz.tolist()]


def _groups(low_hz: np.ndarray) -> tuple[np.ndarray, ...]:
    return low_hz < LOW_HZ, (low_hz >= LOW_HZ) & (low_hz < HIGH_HZ), low_hz >= HIGH_HZ


def _mean(x: np.ndarray, group: np.ndarray) -> np.ndarray:
    return x[:, group].mean(axis=1) if group.any() else np.full(len(x), np.nan)
