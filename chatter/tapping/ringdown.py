"""Damped sinusoids in a ring-down: matrix pencil, band by band.

A ring-down is a sum of damped exponentials.  A linear filter with finite memory changes the
size of each but not its frequency or decay, once the tap lies outside the filter's memory; so
each octave is moved to zero frequency, filtered, thinned out, and its exponentials are found
by the matrix pencil (Hua & Sarkar, IEEE Trans. ASSP 38, 1990, 814-824; from memory).  Unlike
the width of a spectral peak this does not confuse the length of the window with damping.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

#: Edges of the bands [Hz].  Phones hear little below the first.
EDGES_HZ = (60.0, 120.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 7000.0)

#: A ring has at least this many samples after thinning out; fewer say nothing of decay.
FEWEST = 24

#: More samples than this cost time and add little: a ring in its octave has died by then.
MOST_SAMPLES = 200

#: Most exponentials in one band.
MOST = 12

#: Longest ring looked at [s]; by then all but bells have died away.
LONGEST_S = 0.6

#: Damping ratios outside are no mode of a set-up: hum, or the tap itself.
DAMPING = (3e-4, 0.25)


@dataclass(frozen=True)
class Look:
    """How much of a ring is looked at."""

    depth_db: float | None  # until a band has sunk by this much; None: to the noise
    floor: float  # weakest singular value believed, as a share of the strongest


#: A first look, and a shorter one that must agree with it: a sum of damped sinusoids looks
#: the same in both, a room's tail or a gain that moves does not.
LOOKS = (Look(None, 3e-3), Look(20.0, 3e-3))

#: The same where a room's tail was heard: stop before it takes over, believe only the strong.
ROOM_LOOKS = (Look(17.0, 0.06), Look(12.0, 0.06))


@dataclass(frozen=True)
class Ring:
    """One damped sinusoid of one tap."""

    frequency_hz: float  # undamped natural frequency
    damping_ratio: float
    amplitude: float  # at the moment of the tap, in units of full scale
    rate_per_s: float  # decay of the amplitude
    above_noise_db: float  # at the start of the window


@cache
def _filter(low_hz: float, high_hz: float, rate_hz: int) -> tuple[NDArray[np.float64], int]:
    """Low-pass for a band moved to zero, and by how much it may be thinned out."""
    half = 0.5 * (high_hz - low_hz)
    width = half  # of the transition, from 1.2 to 2.2 half-widths; 50 dB down beyond
    taps = int((50.0 - 8.0) / (2.285 * 2.0 * np.pi * width / rate_hz)) // 2 * 2 + 1
    n = np.arange(taps) - taps // 2
    cut = 1.7 * half / rate_hz
    h = 2.0 * cut * np.sinc(2.0 * cut * n) * np.kaiser(taps, 4.55)
    return h / h.sum(), max(1, int(rate_hz / (4.5 * half)))


def memory_s(low_hz: float, high_hz: float, rate_hz: int) -> float:
    """How long after a tap the filter of a band still remembers it [s]."""
    return len(_filter(low_hz, high_hz, rate_hz)[0]) / 2.0 / rate_hz


def band_signal(
    x: NDArray[np.floating], rate_hz: int, low_hz: float, high_hz: float
) -> tuple[NDArray[np.complex128], float, float]:
    """Move a band to zero frequency, filter and thin it out.

    Returns
    -------
    y : ndarray, shape (n,), complex
        Sample i stands for the time i / rate of ``x``.
    rate : float [Hz]
    centre : float [Hz]
    """
    from scipy.signal import oaconvolve

    h, step = _filter(low_hz, high_hz, rate_hz)
    centre = 0.5 * (low_hz + high_hz)
    turned = x * np.exp(-2j * np.pi * centre / rate_hz * np.arange(len(x)))
    return oaconvolve(turned, h, mode="same")[::step], rate_hz / step, centre


def matrix_pencil(
    y: NDArray[np.complex128], noise: float, floor_ratio: float = 3e-3
) -> tuple[NDArray[np.complex128], NDArray[np.complex128]]:
    """Poles z and amplitudes of y[n] = sum a z^n + noise.

    Parameters
    ----------
    y : ndarray, shape (n,), complex
    noise : float
        R.m.s. of the noise; singular values it explains are cut off.
    floor_ratio : float
        Singular values below this share of the largest are cut off.

    Returns
    -------
    z, a : ndarray, shape (order,), complex
        Empty when nothing stands out of the noise.
    """
    n = len(y)
    pencil = n // 3
    hankel = np.lib.stride_tricks.sliding_window_view(y, pencil + 1)  # (n - pencil, pencil + 1)
    # Right singular vectors by the small Gram matrix, summed without threads: these matrices
    # are so small that a threaded decomposition costs a hundred times its work.
    gram = np.einsum("ni,nj->ij", hankel.conj(), hankel)
    power, vectors = np.linalg.eigh(gram)
    s, vh = np.sqrt(np.maximum(power[::-1], 0.0)), vectors[:, ::-1].conj().T
    # The largest singular value of white noise in such a matrix is near the first term.
    floor = max(1.5 * noise * (np.sqrt(n - pencil) + np.sqrt(pencil + 1)), floor_ratio * s[0])
    order = min(int((s > floor).sum()), MOST, pencil // 2)
    if order == 0:
        return np.empty(0, complex), np.empty(0, complex)
    v = vh[:order].T  # rows run along time within the window
    z = np.linalg.eigvals(np.linalg.lstsq(v[:-1], v[1:], rcond=None)[0])
    a = np.linalg.lstsq(z[None, :] ** np.arange(n)[:, None], y, rcond=None)[0]
    return z, a


def rings(
    x: NDArray[np.floating],
    rate_hz: int,
    tap_at: int,
    end: int,
    *,
    look: Look = LOOKS[0],
    skip_s: float = 0.002,
) -> list[Ring]:
    """Damped sinusoids after one tap.

    Parameters
    ----------
    x : ndarray, shape (n,)
        The recording around the tap, with at least 0.1 s of what was before it.
    rate_hz : int
    tap_at, end : int
        Sample of the tap, and the one before which the next event lies.
    look : Look
        How much of the ring is looked at.
    skip_s : float
        The hammer still touches for about this long.
    """
    found: list[Ring] = []
    for low, high in pairwise(EDGES_HZ):
        if high > 0.45 * rate_hz:
            break
        found.extend(_band_rings(x, rate_hz, tap_at, end, low, high, skip_s, look))
    return found


def _band_rings(
    x: NDArray[np.floating],
    rate_hz: int,
    tap_at: int,
    end: int,
    low: float,
    high: float,
    skip_s: float,
    look: Look,
) -> list[Ring]:
    y, rate, centre = band_signal(x, rate_hz, low, high)
    wait = memory_s(low, high, rate_hz)
    at = tap_at / rate_hz
    quiet = y[max(0, int((at - wait - 0.25) * rate)) : max(1, int((at - wait) * rate))]
    noise = float(np.sqrt(np.mean(np.abs(quiet) ** 2))) if len(quiet) > 8 else 0.0
    first = int(np.ceil((at + wait + skip_s) * rate))
    last = int(min(end / rate_hz - wait, at + wait + LONGEST_S) * rate)
    piece = y[first:last]
    length = min(_heard_length(piece, noise, look.depth_db), MOST_SAMPLES)
    if length < FEWEST:
        return []
    piece = piece[:length]
    z, a = matrix_pencil(piece, noise, look.floor)
    kept = []
    for pole, amplitude in zip(z, a, strict=True):
        s = np.log(pole) * rate + 2j * np.pi * centre
        w = abs(s)
        damping = -s.real / w
        start = abs(amplitude)
        above = 20.0 * np.log10(max(start, 1e-12) / max(noise, 1e-12))
        inside = low <= w / (2.0 * np.pi) < high
        if inside and DAMPING[0] < damping < DAMPING[1] and above > 6.0:
            back = np.exp(-s.real * (first / rate - at))
            kept.append(Ring(w / (2.0 * np.pi), damping, 2.0 * start * back, -s.real, above))
    return kept


def _heard_length(piece: NDArray[np.complex128], noise: float, depth_db: float | None) -> int:
    """Samples until the band has sunk to twice the noise (or far enough, in a room)."""
    if len(piece) < FEWEST:
        return 0
    width = 8
    power = np.convolve(np.abs(piece) ** 2, np.ones(width) / width, mode="valid")
    heard = _until(power, 4.0 * noise**2, width, len(piece))
    if depth_db is None:
        return heard
    short = _until(power, power[: 3 * width].max() * 10.0 ** (-depth_db / 10.0), width, heard)
    return min(heard, max(FEWEST, short))  # a ring that dies at once is not looked at less


def _until(power: NDArray[np.float64], bound: float, width: int, end: int) -> int:
    """Samples until a running mean of power sinks below a bound, at most ``end``."""
    under = np.nonzero(power < bound)[0]
    return min(end, int(under[0] + width // 2)) if len(under) else end
