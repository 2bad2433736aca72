"""Damped sinusoids in a ring-down: matrix pencil, band by band.

A ring-down is a sum of damped exponentials.  A linear filter with finite memory changes the
size of each but not its frequency or decay, once the tap lies outside the filter's memory; so
each octave is moved to zero frequency, filtered, thinned out, and its exponentials are found
by the matrix pencil (Hua & Sarkar, IEEE Trans. ASSP 38, 1990, 814-824; from memory).  Unlike
the width of a spectral peak this does not confuse the length of the window with damping.

A pencil always gives as many exponentials as it is asked for.  One that is only noise wanders
when it is asked for fewer or more, and explains next to nothing of what was heard: a ring is
judged by the energy that it explains within the window, never by what its decay, followed back
to the blow, would have been there.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Complexes = NDArray[np.complexfloating]

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

#: A pole stays when this many orders of model more or fewer are asked for, ...
_OTHER_ORDERS = (-3, -2, -1, 1, 2)
#: ... in this share of them, within these shares of its frequency and its decay.
_STAYS, _NEAR_HZ, _NEAR_RATE = 0.6, 0.01, 0.35
#: Energy of a ring in the window over the noise power of one sample: what a matched filter needs.
_HEARD = 25.0
#: A ring below this share of its band's energy is an error of the stronger ones' fit.
_SHARE = 1e-3
#: All rings of a band together explain at least this share of it, else it was no ringing.
_EXPLAINED = 0.5
#: A ring is followed back to the blow by no more than this factor of energy.
_BACK = 10.0

#: Damping ratios outside are no mode of a set-up: hum, or the tap itself.
DAMPING = (3e-4, 0.25)


@dataclass(frozen=True)
class RingWindow:
    """How much of a ring is looked at."""

    depth_db: float | None  # until a band has sunk by this much; None: to the noise
    floor: float  # weakest singular value believed, as a share of the strongest


#: A first look, and a shorter one that must agree with it: a sum of damped sinusoids looks
#: the same in both, a room's tail or a gain that moves does not.
LOOKS = (RingWindow(None, 3e-3), RingWindow(20.0, 3e-3))

#: The same where a room's tail was heard: stop before it takes over, believe only the strong.
ROOM_LOOKS = (RingWindow(17.0, 0.06), RingWindow(12.0, 0.06))


@dataclass(frozen=True)
class Ring:
    """One damped sinusoid of one tap."""

    frequency_hz: float  # undamped natural frequency
    damping_ratio: float
    energy: float  # explained in the window, full scale squared times seconds
    rate_per_s: float  # decay of the amplitude


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
) -> tuple[Complexes, float, float]:
    """Move a band to zero frequency, filter and thin it out.

    Returns
    -------
    y : ndarray, shape (n,), complex
        Sample i stands for the time i / rate of ``x``.
    rate : float [Hz]
    centre : float [Hz]
    """
    from scipy.signal import upfirdn

    h, step = _filter(low_hz, high_hz, rate_hz)
    centre = 0.5 * (low_hz + high_hz)
    middle = len(h) // 2
    # The filter is turned up instead of the sound down, and only what is kept is computed.
    turned = h * np.exp(2j * np.pi * centre / rate_hz * np.arange(len(h)))
    ahead = -middle % step
    y = upfirdn(turned, np.concatenate([np.zeros(ahead), x]), down=step)
    kept = -(-len(x) // step)
    y = y[(middle + ahead) // step :][:kept]
    at = middle + step * np.arange(len(y))
    return y * np.exp(-2j * np.pi * centre / rate_hz * at), rate_hz / step, centre


def matrix_pencil(
    y: Complexes, noise: float, floor_ratio: float = 3e-3
) -> tuple[Complexes, Complexes]:
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
    v, order = _subspace(y, noise, floor_ratio)
    if order == 0:
        return np.empty(0, complex), np.empty(0, complex)
    z = _poles(v, order)
    return z, _sizes(y, z)


def _subspace(y: Complexes, noise: float, floor_ratio: float) -> tuple[Complexes, int]:
    """Right singular vectors, strongest first, and how many stand out of the noise."""
    n = len(y)
    pencil = n // 3
    hankel = np.lib.stride_tricks.sliding_window_view(y, pencil + 1)  # (n - pencil, pencil + 1)
    # Right singular vectors by the small Gram matrix, summed without threads: these matrices
    # are so small that a threaded decomposition costs a hundred times its work.
    gram = np.einsum("ni,nj->ij", hankel.conj(), hankel)
    power, vectors = np.linalg.eigh(gram)
    s = np.sqrt(np.maximum(power[::-1], 0.0))
    # The largest singular value of white noise in such a matrix is near the first term.
    floor = max(1.5 * noise * (np.sqrt(n - pencil) + np.sqrt(pencil + 1)), floor_ratio * s[0])
    return vectors[:, ::-1].conj(), min(int((s > floor).sum()), MOST, pencil // 2)


def _poles(v: Complexes, order: int) -> Complexes:
    part = v[:, :order]  # rows run along time within the window
    return np.linalg.eigvals(np.linalg.lstsq(part[:-1], part[1:], rcond=None)[0])


def _sizes(y: Complexes, z: Complexes) -> Complexes:
    return np.linalg.lstsq(z[None, :] ** np.arange(len(y))[:, None], y, rcond=None)[0]


def _staying(v: Complexes, order: int, rate: float, centre_hz: float) -> Complexes:
    """Poles of a model that models of other orders have too."""

    def s_of(z: Complexes) -> Complexes:
        return np.log(z) * rate + 2j * np.pi * centre_hz

    z = _poles(v, order)
    s = s_of(z)
    others = [order + k for k in _OTHER_ORDERS if 1 <= order + k <= v.shape[1] // 2]
    seen = np.zeros(order)
    for other in others:
        apart = s_of(_poles(v, other))[None, :] - s[:, None]
        # A frequency is known the worse, the faster it dies.
        near = (
            np.abs(apart.imag) < _NEAR_HZ * np.abs(s.imag)[:, None] + 0.2 * np.abs(s.real)[:, None]
        )
        near &= np.abs(apart.real) < _NEAR_RATE * np.abs(s.real)[:, None]
        seen += near.any(axis=1)
    # A model of order 1 to 3 has few below it: the strongest singular vectors are the ring.
    return z[seen >= _STAYS * len(others)] if others else z


def rings(
    x: NDArray[np.floating],
    rate_hz: int,
    tap_at: int,
    end: int,
    *,
    looks: Sequence[RingWindow] = LOOKS[:1],
    skip_s: float = 0.002,
) -> tuple[list[Ring], ...]:
    """Damped sinusoids after one tap, for each look at it.

    Parameters
    ----------
    x : ndarray, shape (n,)
        The recording around the tap, with at least 0.1 s of what was before it.
    rate_hz : int
    tap_at, end : int
        Sample of the tap, and the one before which the next event lies.
    looks : sequence of RingWindow
        How much of the ring is looked at.
    skip_s : float
        The hammer still touches for about this long.
    """
    of_looks: tuple[list[Ring], ...] = tuple([] for _ in looks)
    for low, high in pairwise(EDGES_HZ):
        if high > 0.45 * rate_hz:
            break
        band = _band(x, rate_hz, tap_at, end, low, high, skip_s)
        for own, look in zip(of_looks, looks, strict=True):
            own.extend(_band_rings(band, low, high, look))
    return of_looks


@dataclass(frozen=True)
class _Band:
    """One octave after one tap."""

    y: Complexes  # from where the filter no longer remembers the blow
    rate: float
    centre_hz: float
    since_s: float  # from the blow to the first sample
    noise: float


def _band(
    x: NDArray[np.floating],
    rate_hz: int,
    tap_at: int,
    end: int,
    low: float,
    high: float,
    skip_s: float,
) -> _Band:
    y, rate, centre = band_signal(x, rate_hz, low, high)
    wait = memory_s(low, high, rate_hz)
    at = tap_at / rate_hz
    first = int(np.ceil((at + wait + skip_s) * rate))
    last = int(min(end / rate_hz - wait, at + wait + LONGEST_S) * rate)
    quiet = y[max(0, int((at - wait - 0.25) * rate)) : max(0, int((at - wait) * rate))]
    after = y[first : max(first, int((end / rate_hz - wait) * rate))]
    return _Band(y[first:last], rate, centre, first / rate - at, _noise(quiet, after))


def _band_rings(band: _Band, low: float, high: float, look: RingWindow) -> list[Ring]:
    piece, rate, centre, noise = band.y, band.rate, band.centre_hz, band.noise
    length = min(_heard_length(piece, noise, look.depth_db), MOST_SAMPLES)
    if length < FEWEST:
        return []
    piece = piece[:length]
    v, order = _subspace(piece, noise, look.floor)
    if order == 0:
        return []
    z = _staying(v, order, rate, centre)
    if not len(z):
        return []
    a = _sizes(piece, z)
    n = np.arange(length)
    left = piece - (z[None, :] ** n[:, None]) @ a
    total = float(np.sum(np.abs(piece) ** 2))
    unexplained = float(np.sum(np.abs(left) ** 2))
    if unexplained > (1.0 - _EXPLAINED) * total:
        return []
    noise = max(noise, float(np.sqrt(unexplained / length)))
    energies = np.abs(a) ** 2 * np.sum(np.abs(z[None, :]) ** (2 * n[:, None]), axis=0)
    kept = []
    for pole, energy in zip(z, energies, strict=True):
        s = np.log(pole) * rate + 2j * np.pi * centre
        w = abs(s)
        damping = -s.real / w
        inside = low <= w / (2.0 * np.pi) < high
        heard = energy > _HEARD * noise**2 and energy > _SHARE * total
        if inside and DAMPING[0] < damping < DAMPING[1] and heard:
            # Low bands are looked at later, for their filters are longer.
            back = min(_BACK, float(np.exp(-2.0 * s.real * band.since_s)))
            kept.append(Ring(w / (2.0 * np.pi), damping, 2.0 * energy / rate * back, -s.real))
    return kept


def _noise(quiet: Complexes, after: Complexes) -> float:
    """R.m.s. of the noise before a blow; after its ring where the file begins with the blow."""
    if len(quiet) > 8:
        return float(np.sqrt(np.mean(np.abs(quiet) ** 2)))
    fifth = len(after) // 5
    if fifth < 4:
        return 0.0
    late, earlier = (float(np.mean(np.abs(p) ** 2)) for p in (after[-fifth:], after[:fifth]))
    # What still falls at the end of a short clip is the ring and not the noise.
    return math.sqrt(late) if late < 1e-3 * earlier else 0.0


def _heard_length(piece: Complexes, noise: float, depth_db: float | None) -> int:
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
