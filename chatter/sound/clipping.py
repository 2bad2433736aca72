"""Where the recorder ran into its end stop."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from chatter.sound.stats import AMPLITUDE_BIN

if TYPE_CHECKING:
    from chatter.sound.stats import SoundStats

#: A flat top counts when it lies at the recording's own end stop, to half a per cent.
_SAME_STOP = 0.995
#: After a lossy coder tops scatter about the stop; the pile-up is sought about full scale.
_STOP_RANGE = (0.85, 1.15)
#: The pile-up must stand this much above the amplitudes just below it.  Unclipped sound
#: has ever fewer samples at ever larger amplitudes: a ratio below one.
_PILE_UP = 1.15
_FEWEST_SAMPLES = 200
#: A steady tone piles up at its crest too; it gives itself away by a crest factor of the
#: root of two, to within this much (noise 25 dB below it adds up to 0.1).
_TONE_CREST = 0.12
#: Frames that hold this many samples beyond full scale were clipped before they were coded.
_FEWEST_BEYOND = 2


def clipped_frames(heard: SoundStats) -> np.ndarray:
    """Which frames hold clipped samples.

    Three signs, each sufficient: several samples of a frame on exactly the level of the
    recording's end stop; samples beyond full scale, which only the decoder of a clipped
    recording makes in numbers; and, in lossy recordings, tops within a pile-up of the
    amplitude histogram about full scale.

    Parameters
    ----------
    heard : SoundStats

    Returns
    -------
    ndarray, shape (frames,), bool
    """
    high_stop, low_stop = float(heard.high.max()), float(heard.low.min())
    flat = heard.flat_high & (heard.high >= _SAME_STOP * high_stop)
    flat |= heard.flat_low & (heard.low <= _SAME_STOP * low_stop) & (low_stop < 0.0)
    if not heard.lossy:
        return flat
    flat |= heard.beyond >= _FEWEST_BEYOND
    stop = pile_up(heard.amplitude)
    if stop is not None:
        reach = np.maximum(heard.high, -heard.low)
        at_stop = reach >= 0.97 * stop
        crest = (
            float(np.median(reach[at_stop] / np.sqrt(heard.power[at_stop])))
            if at_stop.any()
            else 0.0
        )
        if abs(crest - np.sqrt(2.0)) > _TONE_CREST:
            flat |= at_stop
    return flat


def clipping_depth_db(heard: SoundStats, clipped: np.ndarray) -> float:
    """How near the clipped frames come to a square wave.

    Parameters
    ----------
    heard : SoundStats
    clipped : ndarray, shape (frames,), bool

    Returns
    -------
    float [dB]
        Their r.m.s. re the end stop: 0 for a square wave, -1.8 when half of all samples
        of Gaussian noise are clipped, -6 when 4 % are.
    """
    if not clipped.any():
        return -np.inf
    stop = 1.0 if heard.lossy else max(float(heard.high.max()), -float(heard.low.min()))
    return 10.0 * float(np.log10(np.mean(heard.power[clipped]) / stop**2 + 1e-15))


def pile_up(amplitude: np.ndarray) -> float | None:
    """Amplitude about full scale at which samples pile up.

    Parameters
    ----------
    amplitude : ndarray, shape (201,)
        Histogram of absolute amplitude, bins of 0.01, the last one open.

    Returns
    -------
    float or None
        Middle of the pile-up re full scale; None when there is none.
    """
    smooth = np.convolve(amplitude[:-1].astype(float), np.ones(3) / 3.0, mode="same")
    first, last = (round(edge / AMPLITUDE_BIN) for edge in _STOP_RANGE)
    top = first + int(np.argmax(smooth[first:last]))
    below = float(smooth[top - 10 : top - 5].mean())
    if 3.0 * smooth[top] < _FEWEST_SAMPLES or smooth[top] < _PILE_UP * below:
        return None
    return (top + 0.5) * AMPLITUDE_BIN
