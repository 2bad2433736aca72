"""The spectrum folded at the tooth-passing frequency: families that single lines hide.

Regenerative chatter puts lines at f_c + k f_tp and -f_c + k f_tp (secondary Hopf), or at
(k + 1/2) f_tp (flip); forced vibration puts them at k f_tp.  Laying the spectrum's
stretches of one tooth-passing frequency over each other and adding the log-likelihoods
makes a family stand out even where no member does on its own, while a resonance, which
is broad and stands in one place, folds flat.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from chatter.listening.tones import FrameSpectra
from chatter.sound.spectrum import running_floor

_POINTS = 64  # places within one tooth-passing spacing
_LINE_CAP = 8.0
_TOP_HZ = 5000.0
_LOWEST_HZ = 90.0


@dataclass(frozen=True)
class Folded:
    """Families in a spectrum.

    Attributes
    ----------
    score : ndarray, shape (64,)
        Robust z of the family at each offset, 0 .. 1 tooth-passing spacings; the offsets
        d and 1 - d belong to the same family and are added.
    orders : int
        Tooth-passing spacings that were laid over each other; 0 when it can't be done.
    """

    score: np.ndarray
    orders: int

    def at(self, offset: float) -> float:
        """Score of the family that a line with this offset belongs to."""
        if self.orders == 0:
            return float("nan")
        i = round(offset * _POINTS)
        return float(max(self.score[(i + d) % _POINTS] for d in (-1, 0, 1)))

    def best_free(self, width: float) -> tuple[float, float]:
        """Offset (0 .. 0.5) and score of the strongest family off the teeth."""
        if self.orders == 0:
            return float("nan"), float("nan")
        offset = np.arange(_POINTS) / _POINTS
        away = np.minimum(offset, 1.0 - offset)
        score = np.where(away > max(width, 2.5 / _POINTS), self.score, -np.inf)
        best = int(np.argmax(score))
        return float(away[best]), float(score[best])


def fold(spectra: FrameSpectra, *, tooth_hz: float, speed_error: float) -> Folded:
    """Fold the mean spectrum of a pass at the tooth-passing frequency.

    Parameters
    ----------
    spectra : FrameSpectra
    tooth_hz : float
    speed_error : float
        Relative standard error of the speed: orders it blurs by more than a twelfth of
        a spacing are left out.
    """
    top = min(_TOP_HZ, (spectra.mean.size - 2) * spectra.step_hz, tooth_hz / (12 * speed_error))
    first = int(np.ceil(_LOWEST_HZ / tooth_hz))
    orders = np.arange(first, int(top / tooth_hz))
    if orders.size < 3 or spectra.step_hz > 0.15 * tooth_hz:
        return Folded(np.zeros(_POINTS), 0)
    # the floor follows humps as wide as one spacing: only what is narrower counts as a line
    width = int(max(9, tooth_hz / spectra.step_hz))
    floor = running_floor(spectra.mean, width)
    ratio = spectra.mean / np.maximum(floor, 1e-20)
    safe = np.maximum(ratio, 1e-6)
    averages = min(spectra.averages, 40.0)
    gain = np.where(safe > 1.0, averages * (safe - 1.0 - np.log(safe)), 0.0)
    gain = np.minimum(gain, _LINE_CAP)
    offset = np.arange(_POINTS) / _POINTS
    place = (orders[:, None] + offset[None, :]) * tooth_hz / spectra.step_hz
    i = np.minimum(place.astype(int), gain.size - 2)
    share = place - i
    laid = gain[i] * (1 - share) + gain[i + 1] * share
    total = laid.mean(axis=0)
    total = total + np.roll(total[::-1], 1)  # f_c and -f_c
    middle = float(np.median(total))
    spread = max(1.4826 * float(np.median(np.abs(total - middle))), 1.0 / orders.size)
    return Folded((total - middle) / spread, int(orders.size))
