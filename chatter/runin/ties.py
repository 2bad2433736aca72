"""What ties the levels of one recording to those of another.

A phone sets its gain anew for every recording.  The mains hum of the machine, which no gear
and no bearing changes, is heard in each: levels are counted from it.  Where no hum is heard,
a stated "same phone, same place" must do; where the phone or the place changed, nothing ties
levels well, for every microphone and every corner of a room colours them.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

#: What another microphone or another place adds to a level counted from the hum [dB], one
#: standard deviation.  Common practice, no source.
OTHER_POST_DB = 5.0
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
    lines = sorted({key for one in references for key in one})
    common = [key for key in lines if sum(key in one for one in references) >= _HEARD_SHARE * count]
    means = {key: np.mean([one[key] for one in references if key in one]) for key in common}
    found: list[float | None] = []
    for one in references:
        shifts = [one[key] - means[key] for key in common if key in one]
        found.append(float(np.median(shifts)) if shifts else None)
    return found
