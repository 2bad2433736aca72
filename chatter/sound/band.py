"""The band of frequencies that reached the file."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from chatter.sound.stats import SoundStats

#: A coder's or converter's upper limit is a cliff: this fall within this width, and nothing
#: above it.  Rooms and microphones roll off, but not by 18 dB in 700 Hz up there.
_CLIFF_DB = 18.0
_CLIFF_HZ = 700.0
_LOWEST_CLIFF_HZ = 1500.0
_SMOOTH_HZ = 150.0
#: Below the lower edge the sound is this much weaker than from 200 to 1,000 Hz.
_ROLL_OFF_DB = 20.0
_NOBODY_HEARS_HZ = 20.0


def usable_band(heard: SoundStats) -> tuple[float, float]:
    """Lower and upper edge of what the file can hold of the sound.

    Parameters
    ----------
    heard : SoundStats

    Returns
    -------
    low_hz, high_hz : float [Hz]
        The upper edge is the top of the highest cliff in the mean spectrum, or half the
        sampling rate when there is none.  The lower edge is where the mean spectrum
        first comes within 20 dB of its level from 200 to 1,000 Hz.
    """
    hz, level = heard.spectrum_hz, heard.spectrum_db
    step = float(hz[1])
    return _lower_edge(hz, level), _upper_edge(
        hz, _smoothed(level, max(1, round(_SMOOTH_HZ / step)))
    )


def _smoothed(level_db: np.ndarray, width: int) -> np.ndarray:
    """Running mean of the power, in dB: a lone line must not hide the floor's cliff."""
    if width < 2:
        return level_db
    padded = np.pad(level_db, (width // 2, width - 1 - width // 2), mode="edge")
    return np.median(np.lib.stride_tricks.sliding_window_view(padded, width), axis=1)


def _upper_edge(hz: np.ndarray, level: np.ndarray) -> float:
    nyquist = float(hz[-1])
    reach = max(1, round(_CLIFF_HZ / hz[1]))
    if len(level) <= reach + 1:
        return nyquist
    above = np.maximum.accumulate(level[::-1])[::-1]  # loudest at or above each frequency
    fall = level[:-reach] - above[reach:]
    cliffs = np.flatnonzero((fall >= _CLIFF_DB) & (hz[:-reach] >= _LOWEST_CLIFF_HZ))
    if not len(cliffs):
        return nyquist
    # The foot of the cliff is `reach` above its last point; its top is where the level
    # last was within 6 dB of what it had before the fall.
    for last in cliffs[::-1]:
        # Up to a coder's limit the band is full; a whistle falls off as steeply, but stands
        # alone.
        plateau = float(np.median(level[max(0, last - 3 * reach) : last + 1]))
        if plateau - above[last + reach] < 0.6 * _CLIFF_DB:
            continue
        # The foot of the cliff is `reach` above its last point; its top is where the level
        # last was within 6 dB of what it had before the fall.
        near = np.flatnonzero(level[: last + reach] >= plateau - 6.0)
        return float(hz[near[-1]]) if len(near) else float(hz[last])
    return nyquist


def _lower_edge(hz: np.ndarray, level: np.ndarray) -> float:
    middle = level[(hz >= 200.0) & (hz <= 1000.0)]
    strong = np.flatnonzero(level[1:] >= np.median(middle) - _ROLL_OFF_DB) + 1
    return max(_NOBODY_HEARS_HZ, float(hz[strong[0]])) if len(strong) else _NOBODY_HEARS_HZ
