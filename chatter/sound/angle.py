"""From time to shaft angle: resampling, order spectra and synchronous averages.

``turns`` is the angle of the shaft in revolutions, as a function of time.  A signal that
repeats every revolution lies on whole orders; everything else falls between them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from chatter.sound.spectrum import hann, running_floor


def turns_at(time_s: np.ndarray, course: tuple[tuple[float, float], ...]) -> np.ndarray:
    """Angle in revolutions at each time, zero at the first.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Ascending times.
    course : sequence of (time [s], spindle frequency [Hz])
        At least one point; straight lines between, constant beyond.
    """
    knots = np.array([t for t, _ in course])
    speed = np.interp(time_s, knots, np.array([f for _, f in course]))
    steps = np.diff(time_s)
    return np.concatenate([[0.0], np.cumsum(0.5 * (speed[1:] + speed[:-1]) * steps)])


def to_angle(x: np.ndarray, turns: np.ndarray, points: int) -> np.ndarray:
    """Resample to ``points`` per revolution over the whole revolutions there are.

    Parameters
    ----------
    x : ndarray, shape (channels, n)
    turns : ndarray, shape (n,)
        Ascending angle of each sample [revolutions].
    points : int
        Samples per revolution.

    Returns
    -------
    ndarray, shape (channels, revolutions, points)
    """
    revolutions = int(np.floor(turns[-1] - turns[0]))
    grid = turns[0] + np.arange(revolutions * points) / points
    out = np.stack([np.interp(grid, turns, row) for row in x])
    return out.reshape(x.shape[0], revolutions, points)


@dataclass(frozen=True)
class OrderLines:
    """Order spectra of several channels.

    Attributes
    ----------
    revolutions : int
        Whole revolutions in the data: the bin spacing is 1 / revolutions orders.
    power : ndarray, shape (channels, bins)
        Squared amplitude spectrum (a sine of amplitude A gives A**2 at its bin).
    floor : ndarray, shape (channels, bins)
        Mean noise in the same measure, from the bins between whole orders.
    """

    revolutions: int
    power: np.ndarray
    floor: np.ndarray

    def ratio(self, order: int) -> np.ndarray:
        """Power over floor at a whole order, shape (channels,); exponential by chance."""
        i = order * self.revolutions
        if i >= self.power.shape[1]:
            return np.zeros(self.power.shape[0])
        return self.power[:, i] / np.maximum(self.floor[:, i], 1e-30)

    def excess(self, order: int) -> np.ndarray:
        """Squared amplitude at a whole order less the noise there, shape (channels,)."""
        i = order * self.revolutions
        if i >= self.power.shape[1]:
            return np.zeros(self.power.shape[0])
        return np.maximum(self.power[:, i] - self.floor[:, i], 0.0)


def order_lines(cycles: np.ndarray) -> OrderLines:
    """Order spectra of angle-domain data.

    Parameters
    ----------
    cycles : ndarray, shape (channels, revolutions, points)
    """
    channels, revolutions, _points = cycles.shape
    flat = cycles.reshape(channels, -1)
    n = flat.shape[1]
    window = hann(n)
    spectrum = np.fft.rfft((flat - flat.mean(axis=1, keepdims=True)) * window, axis=1)
    # unit-power window: a sine of amplitude A has |X| = A sum(w) / 2
    power = np.abs(spectrum) ** 2 * (2.0 / np.sum(window)) ** 2
    whole = np.arange(power.shape[1]) % revolutions
    near = np.minimum(whole, revolutions - whole)
    between = power.copy()
    if revolutions >= 8:  # leave the lines themselves (three bins wide) out of the floor
        gaps = np.flatnonzero(near > 1)
        for row in between:
            row[near <= 1] = np.interp(np.flatnonzero(near <= 1), gaps, row[gaps])
    floor = running_floor(between, max(15, int(1.5 * revolutions))) / np.log(2.0)
    return OrderLines(revolutions, power, np.maximum(floor, 1e-30))


def synchronous_average(cycles: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Average over revolutions and how much of the signal it explains.

    Parameters
    ----------
    cycles : ndarray, shape (channels, revolutions, points)

    Returns
    -------
    mean : ndarray, shape (channels, points)
    spread : ndarray, shape (channels, points)
        Standard error of the mean.
    share : ndarray, shape (channels,)
        Share of the variance that repeats every revolution, freed of what chance
        gives: 0 for noise, 1 for a perfectly repeating signal.
    """
    revolutions = cycles.shape[1]
    mean = cycles.mean(axis=1)
    within = cycles.var(axis=1, ddof=1) if revolutions > 1 else np.zeros_like(mean)
    spread = np.sqrt(within / revolutions)
    between = mean.var(axis=1) - within.mean(axis=1) / revolutions
    total = np.maximum(between + within.mean(axis=1), 1e-30)
    return mean, spread, np.clip(between / total, 0.0, 1.0)
