"""True spindle speed of an idling machine: a comb of its known orders over the spectrum."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from chatter.runin.idle import MeanSpectrum

#: The dial plate may be off by this much.
SEARCH = 0.06
_STEP = 1.5e-4
_SEARCH_AGAIN = 0.012
_LOUDEST_DB = 20.0  # one loud line must not outvote the others
#: Robust standard deviations above what other speeds score.
_SURE, _SURE_AGAIN = 6.0, 3.0


@dataclass(frozen=True)
class IdleSpeed:
    """Spindle speed of an idling machine.

    Attributes
    ----------
    spindle_hz : float
        As heard; as stated when not heard.
    heard : bool
    relative_error : float
        Standard error of the speed over the speed.
    """

    spindle_hz: float
    heard: bool
    relative_error: float


def spindle_heard(
    spectrum: MeanSpectrum,
    stated_hz: float,
    orders: Sequence[float],
    *,
    mains_hz: float | None = None,
    usual_hz: float | None = None,
) -> IdleSpeed:
    """Find the speed at which lines stand at the known orders.

    Parameters
    ----------
    spectrum : MeanSpectrum
    stated_hz : float [Hz]
    orders : sequence of float
        Orders of lines that the machine has (gear meshes and their harmonics).
    mains_hz : float, optional
        Lines at its multiples count for nothing.
    usual_hz : float, optional
        The speed heard at this gear step on other dates: only the slip of a motor away from
        it is looked for, and less is needed to be sure.

    Returns
    -------
    Turning
    """
    unknown = IdleSpeed(stated_hz, False, 0.02)
    centre_hz, reach = (stated_hz, SEARCH) if usual_hz is None else (usual_hz, _SEARCH_AGAIN)
    step = spectrum.step_hz
    lowest, highest = 60.0, (spectrum.power.size - 4) * step
    used = [o for o in orders if lowest < o * centre_hz * (1 - reach)]
    used = [o for o in used if o * centre_hz * (1 + reach) < highest]
    if not used:
        return unknown
    ratio = spectrum.power / spectrum.floor
    if mains_hz is not None:
        for multiple in range(1, int(1000 / mains_hz) + 1):
            at = round(multiple * mains_hz / step)
            ratio[max(0, at - 2) : at + 3] = 1.0
    above = np.clip(10.0 * np.log10(np.maximum(ratio, 1.0)), 0.0, _LOUDEST_DB)
    speeds = centre_hz * (1.0 + np.arange(-reach, reach + _STEP / 2, _STEP))
    bins = np.arange(above.size)
    score = np.zeros(len(speeds))
    for order in used:
        score += np.interp(order * speeds / step, bins, above)
    off = (speeds / stated_hz - 1.0) / 0.03
    score -= 0.5 * off**2  # half a decibel against a plate that is 3 % off
    best = int(np.argmax(score))
    middle = float(np.median(score))
    scatter = 1.4826 * float(np.median(np.abs(score - middle))) + 0.5
    strong = sum(
        float(np.interp(order * speeds[best] / step, bins, ratio))
        > spectrum.significant(0.01, bins=3 * len(used) * len(speeds))
        for order in used
    )
    sure = _SURE if usual_hz is None else _SURE_AGAIN
    if score[best] < middle + sure * scatter or strong < min(2, len(used)):
        return unknown
    near = score > score[best] - 3.0
    near &= np.abs(speeds - speeds[best]) < 0.004 * stated_hz
    error = max(_STEP, 0.3 * float(np.ptp(speeds[near])) / stated_hz)
    return IdleSpeed(float(np.average(speeds[near], weights=score[near])), True, error)
