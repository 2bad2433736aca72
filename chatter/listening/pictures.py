"""Reduces spectra and order lines to arrays of picture size."""

from __future__ import annotations

import numpy as np

from chatter.listening.exhibits import ModulationMap, OrderSpectrum
from chatter.listening.lines import FineSpectrum
from chatter.listening.turning import Turning
from chatter.sound.spectrum import chance_level, db

_SPECTRUM_POINTS = 2400
_TOP_HZ = 6000.0
_MAP_COLUMNS = 480


def order_spectrum(fine: FineSpectrum, spindle_hz: float) -> OrderSpectrum:
    """Spectrum over revolution orders, the maximum kept in each picture column."""
    top = min(fine.mean.size, int(_TOP_HZ / fine.step_hz))
    width = max(1, int(np.ceil(top / _SPECTRUM_POINTS)))
    count = top // width
    mean = fine.mean[: count * width].reshape(count, width)
    floor = fine.floor[: count * width].reshape(count, width)
    at = np.arange(count) * width + mean.argmax(axis=1)
    return OrderSpectrum(
        order=at * fine.step_hz / spindle_hz,
        level_db=np.asarray(db(mean.max(axis=1))),
        floor_db=np.asarray(db(floor.mean(axis=1))),
    )


def modulation_map(turning: Turning) -> ModulationMap:
    """Depth over carrier band and modulation order, up to a little over two tooth orders."""
    r = turning.revolutions
    top = min(int(2.3 * turning.teeth * r) + 1, turning.lines.power.shape[1])
    top = max(top, min(4 * r, turning.lines.power.shape[1]))
    width = max(1, int(np.ceil(top / _MAP_COLUMNS)))
    count = top // width
    power = turning.lines.power[:, : count * width].reshape(-1, count, width)
    at = (np.arange(count) + 0.5) * width / r
    floor = float(np.median(turning.lines.floor[:, :top]))
    return ModulationMap(
        carrier_hz=turning.edges_hz,
        modulation_order=at,
        depth=np.sqrt(power.max(axis=2)),
        significant_depth=float(np.sqrt(floor * chance_level(width, 1e-3))),
    )
