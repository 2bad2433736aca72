"""Rubbing: a plate dragging on the wall of its slot, once per turn and at its own tones."""

from __future__ import annotations

import numpy as np

from chatter.lab.simulate.course import slow_noise, stretched
from chatter.lab.simulate.radiation import convolve, mode_bank, rms
from chatter.lab.simulate.scene import Rub

#: lambda squared of an annular plate, clamped at the bore and free at the rim, Poisson's
#: ratio 0.3, no nodal circle, for 0 to 4 nodal diameters (Vogel and Skinner 1965; values
#: from our own Bessel determinant, the row of 0.5 agrees with Blevins 1979).
PLATE = {
    0.1: (4.2374, 3.4781, 5.6227, 12.4505, 21.8356),
    0.2: (5.1811, 4.8130, 6.4471, 12.6147, 21.8590),
    0.3: (6.6604, 6.5523, 7.9565, 13.2757, 22.0738),
    0.4: (9.0206, 9.1155, 10.4645, 14.9631, 22.9785),
    0.5: (13.0243, 13.2898, 14.7038, 18.5620, 25.5958),
    0.6: (20.5218, 20.9360, 22.5013, 25.9800, 32.0648),
    0.7: (36.9526, 37.4983, 39.2769, 42.6545, 48.0714),
}
STEEL_E_PA, STEEL_KG_M3, POISSON = 210e9, 7850.0, 0.3


def plate_modes_hz(outer_m: float, collar_m: float, thickness_m: float) -> np.ndarray:
    """Bending modes of a steel disc held by collars, 0 to 9 nodal diameters.

    f = lambda^2 / (2 pi a^2) sqrt(D / (rho h)) with D = E h^3 / (12 (1 - nu^2)); between
    the rows of the table log-linear in b/a; beyond four nodal diameters the frequency
    grows as the square of their number.

    Parameters
    ----------
    outer_m, collar_m, thickness_m : float
        Outer diameter, collar diameter and thickness [m].
    """
    ratio = float(np.clip(collar_m / outer_m, 0.1, 0.7))
    rows = np.array(sorted(PLATE))
    table = np.array([PLATE[row] for row in rows])
    lam2 = np.array([np.exp(np.interp(ratio, rows, np.log(table[:, n]))) for n in range(5)])
    beyond = lam2[4] * (np.arange(5, 10) / 4.0) ** 2
    stiff = STEEL_E_PA * thickness_m**2 / (12 * (1 - POISSON**2) * STEEL_KG_M3)
    return np.append(lam2, beyond) * np.sqrt(stiff) / (2 * np.pi * (outer_m / 2) ** 2)


def contact(turns: np.ndarray, rub: Rub, rng: np.random.Generator) -> np.ndarray:
    """How hard the plate presses on the wall over the turn, mean 1 over a turn, float32."""
    first, second = rng.uniform(0, 1, 2)
    press = 1 - rub.wobble + rub.wobble * (1 + np.cos(2 * np.pi * (turns - first)))
    press += rub.second * np.cos(4 * np.pi * (turns - second))
    press = np.maximum(press, 0) ** (1 + rub.wobble)
    if rub.wedged_chips > 0:
        whole = turns.astype(np.int64)
        at = whole[0] + np.arange(np.ptp(whole) + 1)
        chips = (rng.random(len(at)) < rub.wedged_chips) * rng.exponential(2.0, len(at))
        place = rng.random(len(at))
        gap = np.abs(turns - whole - place[whole - whole[0]])
        press += chips[whole - whole[0]] * np.exp(-((gap / 0.06) ** 2))
    return (press / max(press.mean(), 1e-9)).astype(np.float32)


def rubbing_sound(
    rub: Rub,
    engaged: np.ndarray,
    turns: np.ndarray,
    rate_hz: float,
    rng: np.random.Generator,
) -> np.ndarray:
    """Friction noise and squeal, float32 of shape (n,), unit r.m.s. while engaged.

    Parameters
    ----------
    engaged : ndarray, shape (n,), float32
        Share of the plate in the slot, 0..1, with any drift along the pass.
    turns : ndarray, shape (n,)
        Spindle angle [turns].
    """
    n = len(engaged)
    press = contact(turns, rub, rng) * engaged
    noise = rng.standard_normal(n, dtype=np.float32)
    low, high = np.exp(rng.uniform(np.log((900, 3500)), np.log((2000, 8500))))
    broad = mode_bank(rng, rate_hz, 40, (low, high), (0.03, 0.2), rng.uniform(-3, 1))
    plate_hz = plate_modes_hz(rub.outer_m, rub.collar_m, rub.thickness_m)
    plate_hz = plate_hz * np.exp(0.02 * rng.standard_normal(len(plate_hz)))
    out = convolve(noise * press, broad)
    out += convolve(noise * press, _plate_ring(plate_hz, rate_hz, rng)) * 0.5
    share = max(rms(out[engaged > 0.5]), 1e-12)
    out /= np.float32(share)
    if rub.squeal_db is not None:
        out += _squeal(plate_hz, press, rate_hz, rng) * np.float32(10 ** (rub.squeal_db / 20))
    return out


def _plate_ring(plate_hz: np.ndarray, rate_hz: float, rng: np.random.Generator) -> np.ndarray:
    t = np.arange(int(0.25 * rate_hz)) / rate_hz
    out = np.zeros(len(t))
    for f in plate_hz[plate_hz < 0.45 * rate_hz]:
        zeta = np.exp(rng.uniform(np.log(0.002), np.log(0.02)))
        gain = np.sqrt(f * zeta) / f**2
        out += gain * np.exp(-2 * np.pi * f * zeta * t) * np.sin(2 * np.pi * f * t)
    out = np.diff(out, n=2, prepend=(0.0, 0.0))  # acceleration radiates
    return (out / max(np.sqrt(np.sum(out**2)), 1e-12)).astype(np.float32)


def _squeal(
    plate_hz: np.ndarray,
    press: np.ndarray,
    rate_hz: float,
    rng: np.random.Generator,
) -> np.ndarray:
    """One to three self-excited plate tones that come and go with the contact."""
    from scipy.signal import lfilter

    n = len(press)
    able = plate_hz[(plate_hz > 900) & (plate_hz < min(9000, 0.42 * rate_hz))]
    if len(able) == 0:
        able = np.array([rng.uniform(1200, 6000)])
    chosen = rng.choice(able, size=min(len(able), int(rng.integers(1, 4))), replace=False)
    total = np.zeros(n, np.float32)
    blocks = n // 480 + 2
    for rank, f in enumerate(chosen):
        # Friction holds a tone only where the plate presses hard enough; it builds up and
        # dies within some tens of cycles; its pitch bends slightly with the pressure.
        threshold = rng.uniform(0.6, 1.4)
        drive = np.sqrt(np.maximum(press - threshold, 0))
        keep = np.exp(-1.0 / (rate_hz * rng.uniform(0.01, 0.05)))
        amplitude = lfilter([1 - keep], [1, -keep], drive)
        bend = 0.001 * stretched(slow_noise(blocks, 480 / rate_hz, 0.5, rng), 480)[:n]
        phase = 2 * np.pi * np.cumsum(f * (1 + bend + 0.002 * (amplitude - 0.5))) / rate_hz
        tone = np.sin(phase) + 0.15 * np.sin(2 * phase + rng.uniform(0, 6))
        total += (0.6**rank * amplitude * tone).astype(np.float32)
    return total / np.float32(max(rms(total[press > 0.2]), 1e-9))
