"""The arrays behind the pictures: a by-product of listening, never stored.

They can be re-made by listening to the same file again, so ``Findings`` does not hold
them.  All arrays are small enough to draw directly (a few thousand columns at most).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Overview:
    """Spectrogram of the whole recording, reduced to picture size.

    Attributes
    ----------
    time_s : ndarray, shape (n,)
        Centre of each column.
    frequency_hz : ndarray, shape (m,)
        Centre of each row, ascending, spaced evenly in log frequency.
    level_db : ndarray, shape (m, n), float32
        Power re full scale, the maximum within each cell.
    """

    time_s: np.ndarray
    frequency_hz: np.ndarray
    level_db: np.ndarray


@dataclass(frozen=True)
class OrderSpectrum:
    """Spectrum of one pass over orders of the spindle.

    Attributes
    ----------
    order : ndarray, shape (n,)
        Frequency / spindle frequency.
    level_db, floor_db : ndarray, shape (n,)
        Level and local noise floor, dB re full scale.
    """

    order: np.ndarray
    level_db: np.ndarray
    floor_db: np.ndarray


@dataclass(frozen=True)
class ModulationMap:
    """Cyclic modulation: how strongly each carrier band swells at each rate.

    Attributes
    ----------
    carrier_hz : ndarray, shape (m + 1,)
        Edges of the carrier bands.
    modulation_order : ndarray, shape (n,)
        Modulation frequency / spindle frequency.
    depth : ndarray, shape (m, n)
        Modulation depth (amplitude of the relative envelope), 0..1.
    significant_depth : float
        Depth that chance alone exceeds with probability 1e-3 in one cell.
    """

    carrier_hz: np.ndarray
    modulation_order: np.ndarray
    depth: np.ndarray
    significant_depth: float


@dataclass(frozen=True)
class PassExhibit:
    """Pictures of one pass (same ``index`` as in the findings)."""

    index: int
    spectrum: OrderSpectrum
    modulation: ModulationMap


@dataclass(frozen=True)
class Exhibits:
    """All pictures' data of one recording."""

    overview: Overview
    passes: tuple[PassExhibit, ...]
