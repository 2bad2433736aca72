"""What ties the levels of one recording to those of another.

A phone sets its gain anew for every recording.  The mains hum of the machine, which no gear
and no bearing changes, is heard in each: levels are counted from it.  Where no hum is heard,
a stated "same phone, same place" must do; where the phone or the place changed, nothing ties
levels, for every microphone and every corner of a room colours them by many decibels.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

#: References must be heard in this share of the recordings.
_HEARD_SHARE = 0.8


def offsets(references: Sequence[dict[float, float]]) -> list[float | None]:
    """The gain of each recording [dB], from the lines that should not change.

    Parameters
    ----------
    references : sequence of dict
        Of each recording: levels of mains lines by multiple.

    Returns
    -------
    list of float or None
        To be subtracted from levels; None where nothing ties the recording.
        The median over lines is taken, so that one line that does change is outvoted.
    """
    count = len(references)
    lines = sorted({key for hum in references for key in hum})
    common = [key for key in lines if sum(key in hum for hum in references) >= _HEARD_SHARE * count]
    means = {key: np.mean([hum[key] for hum in references if key in hum]) for key in common}
    gains: list[float | None] = []
    for hum in references:
        shifts = [hum[key] - means[key] for key in common if key in hum]
        gains.append(float(np.median(shifts)) if shifts else None)
    return gains
