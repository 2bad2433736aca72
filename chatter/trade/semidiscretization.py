"""Stability of milling with the teeth's force as it really varies, for any pitches.

Semi-discretization after Insperger & Stepan (Int. J. Numer. Meth. Engng 61, 2004, 117-141):
time is cut into steps, the turning tooth's factor is averaged over each step, the delayed
motion is a polynomial within it, and the rest is solved exactly; the map over one period is a
matrix, and the cut is stable when its largest eigenvalue lies inside the unit circle.  Two
things differ from the paper's first-order scheme: the delayed motion is interpolated by a
cubic (the error of the straight line is what makes coarse grids optimistic by 17 % at many
waves per tooth), and there may be one delay per tooth (unequal pitch).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from chatter.trade.directions import feed_factor_integral, mean_feed_factor
from chatter.trade.zero_order import Oscillator, averaged_limit

#: Steps in one wave of the mode.
STEPS_PER_WAVE = 14

#: Fewest steps from tooth to tooth: the factor's own course must be followed too.
STEPS_PER_TOOTH = 100


@dataclass(frozen=True)
class Milling:
    """One mode along the feed, cut by straight teeth."""

    mode: Oscillator
    pitches: tuple[float, ...]  # shares of a turn, summing to one
    entry: float  # [rad]
    leave: float  # [rad]
    tangential_n_m2: float
    radial_n_m2: float

    @property
    def repeat(self) -> int:
        """After how many teeth the spacing repeats."""
        n = len(self.pitches)
        p = np.asarray(self.pitches)
        return next(r for r in range(1, n + 1) if n % r == 0 and np.allclose(p, np.roll(p, r)))

    @property
    def mean_factor_n_m2(self) -> float:
        """Factor along the feed, summed over teeth and averaged over a turn."""
        return mean_feed_factor(
            len(self.pitches), self.entry, self.leave, self.tangential_n_m2, self.radial_n_m2
        )


class Stepper:
    """The part of the map that does not depend on depth, for one speed."""

    def __init__(self, cut: Milling, rev_min: float, refine: float = 1.0) -> None:
        """Lay out the grid; ``refine`` multiplies the number of steps."""
        self.cut = cut
        turn_s = 60.0 / rev_min
        pitches = np.asarray(cut.pitches)
        period_s = turn_s * float(pitches[: cut.repeat].sum())
        by_wave = STEPS_PER_WAVE * cut.mode.frequency_hz * period_s
        self.steps = int(np.ceil(refine * max(by_wave, STEPS_PER_TOOTH * cut.repeat)))
        self.dt = period_s / self.steps
        # A cutter's tooth j follows tooth j - 1 by pitch j, so it meets a wave that old.
        share, kind = np.unique(np.round(pitches, 12), return_inverse=True)
        self.delay_steps = share * turn_s / self.dt
        edges = 2.0 * np.pi * np.arange(self.steps + 1) * self.dt / turn_s
        self.factor = np.zeros((self.steps, len(share)))
        for which, lag in zip(kind, np.cumsum(pitches), strict=True):
            swept = feed_factor_integral(
                edges - 2.0 * np.pi * lag,
                cut.entry,
                cut.leave,
                cut.tangential_n_m2,
                cut.radial_n_m2,
            )
            self.factor[:, which] += np.diff(swept) * turn_s / (2.0 * np.pi * self.dt)
        whole = np.floor(self.delay_steps + 1e-9).astype(int)
        part = self.delay_steps - whole
        # Delayed time within a step is s - part relative to node -whole; nodes -2..1 or -1..2.
        self.nodes, self.polynomials = [], []
        for r, q in zip(whole, part, strict=True):
            nodes = np.arange(-2, 2) if q > 1e-9 else np.arange(-1, 3)
            self.nodes.append(nodes - r)
            self.polynomials.append(_shifted_lagrange(nodes.astype(float), q))
        self.reach = int(whole.max()) + 2

    def monodromy(self, depth_m: float) -> NDArray[np.float64]:
        """Map of (x, v, past x) over one period, shape (reach + 2, reach + 2)."""
        mode, p, m = self.cut.mode, self.steps, self.reach
        w = 2.0 * np.pi * mode.frequency_hz
        push = depth_m / (mode.stiffness_n_m / w**2) * self.factor  # (p, kinds) [1/s^2]
        # Motion driven by 1, s, s^2, s^3 within a step (s from 0 to 1), by one exponential;
        # time in steps and speed in metres per step keep the numbers near one.
        big = np.zeros((p, 6, 6))
        big[:, 0, 1] = 1.0
        big[:, 1, 0] = -(w**2 + push.sum(axis=1)) * self.dt**2
        big[:, 1, 1] = -2.0 * mode.damping_ratio * w * self.dt
        big[:, 1, 2] = 1.0
        big[:, 2, 3] = big[:, 3, 4] = big[:, 4, 5] = 1.0
        solved = _exponentials(big)
        own, driven = solved[:, :2, :2], _powers(solved)
        offsets = np.unique(np.concatenate(self.nodes))
        weight = np.zeros((p, 2, len(offsets)))
        for kind, (nodes, poly) in enumerate(zip(self.nodes, self.polynomials, strict=True)):
            force = push[:, kind, None, None] * self.dt**2 * (driven @ poly)
            weight[:, :, np.searchsorted(offsets, nodes)] += force
        size = m + 2
        rows = np.zeros((m + 1 + p, size))
        rows[m, 0] = 1.0  # x now
        for back in range(1, m + 1):
            rows[m - back, 1 + back] = 1.0
        speed = np.zeros(size)
        speed[1] = 1.0
        for i in range(p):
            now = m + i
            # einsum, because threads of a matrix product cost more than this small one
            both = np.einsum("ko,on->kn", weight[i], rows[now + offsets])
            both += np.outer(own[i, :, 0], rows[now]) + np.outer(own[i, :, 1], speed)
            rows[now + 1], speed = both[0], both[1]
        last = m + p
        return np.vstack([rows[last], speed, rows[last - 1 : last - m - 1 : -1]])

    def radius(self, depth_m: float) -> complex:
        """Eigenvalue of largest modulus: above 1 the cut chatters; near -1 it is a flip."""
        return dominant_eigenvalue(self.monodromy(depth_m))


def dominant_eigenvalue(matrix: NDArray[np.float64], size: int = 40) -> complex:
    """Eigenvalue of largest modulus, by Arnoldi's method with a check of its residual.

    Past motion dies out fast, so all but a few eigenvalues are near zero and a small Krylov
    space holds the large ones; when it does not, all eigenvalues are worked out instead.
    """
    n = len(matrix)
    if n <= size:
        values = np.linalg.eigvals(matrix)
        return complex(values[np.argmax(np.abs(values))])
    basis, small = np.zeros((size + 1, n)), np.zeros((size + 1, size))
    start = np.random.default_rng(0).standard_normal(n)
    basis[0] = start / np.sqrt((start**2).sum())
    used = size
    for j in range(size):
        # einsum, because threads of a matrix product cost more than these small ones
        new = np.einsum("ij,j->i", matrix, basis[j])
        for _ in range(2):  # a second sweep keeps the basis square to itself
            part = np.einsum("ij,j->i", basis[: j + 1], new)
            new = new - np.einsum("i,ij->j", part, basis[: j + 1])
            small[: j + 1, j] += part
        small[j + 1, j] = np.sqrt((new**2).sum())
        if small[j + 1, j] < 1e-12:
            used = j + 1
            break
        basis[j + 1] = new / small[j + 1, j]
    values, vectors = np.linalg.eig(small[:used, :used])
    top = np.argmax(np.abs(values))
    if small[used, used - 1] * abs(vectors[-1, top]) > 1e-6 * abs(values[top]) and used == size:
        values = np.linalg.eigvals(matrix)
        top = np.argmax(np.abs(values))
    return complex(values[top])


def driven_by_powers(chains: NDArray[np.float64]) -> NDArray[np.float64]:
    """Motion (x, v) after one step from rest, driven by 1, s, s^2, s^3; shape (n, 2, 4).

    ``chains`` holds x, v and four integrators that feed v, so that the last of them gives
    s^3 / 3! and so on.
    """
    return _powers(_exponentials(chains))


def _powers(solved: NDArray[np.float64]) -> NDArray[np.float64]:
    return solved[:, :2, 2:] * np.array([1.0, 1.0, 2.0, 6.0])  # s^m = m! times the chain


def _exponentials(matrices: NDArray[np.float64]) -> NDArray[np.float64]:
    """Exponentials of a stack of small matrices by Taylor's series with halving.

    ``scipy.linalg.expm`` is as exact, but goes through a threaded solver once per matrix.
    """
    norm = float(np.abs(matrices).sum(axis=2).max())
    halvings = max(0, int(np.ceil(np.log2(max(norm, 1e-300)))))
    scaled = matrices / 2.0**halvings
    term = np.broadcast_to(np.eye(matrices.shape[1]), matrices.shape)
    total = term.copy()
    for k in range(1, 19):  # 1 / 19! < 1e-17
        term = term @ scaled / k
        total += term
    for _ in range(halvings):
        total = total @ total
    return total


def _shifted_lagrange(nodes: NDArray[np.float64], back: float) -> NDArray[np.float64]:
    """Coefficients of 1, s, s^2, s^3 (rows) of the cubic through the nodes, at s - ``back``."""
    columns = []
    for i, node in enumerate(nodes):
        others = np.delete(nodes, i)
        # np.poly takes roots; as a function of s they lie at node + back.
        columns.append(np.poly(others + back)[::-1] / np.prod(node - others))
    return np.array(columns).T


def depth_limit(
    cut: Milling, rev_min: float, *, ceiling_m: float, refine: float = 1.0, rel: float = 2e-3
) -> tuple[float, complex]:
    """Smallest depth [m] at which the cut chatters, and the eigenvalue there.

    The depth is raised in steps of a fifth from half the averaged limit (or from 1 % of the
    ceiling), then halved in: a stable gap thinner than a fifth is not seen.  ``inf`` when the
    cut is stable up to ``ceiling_m``.

    Raises
    ------
    ValueError
        The ceiling is not finite.
    """
    if not math.isfinite(ceiling_m):
        raise ValueError("the deepest depth to try must be finite")
    stepper = Stepper(cut, rev_min, refine)
    rough = averaged_limit(rev_min, cut.mode, cut.pitches, cut.mean_factor_n_m2)[0]
    low = 0.5 * min(rough, ceiling_m) if np.isfinite(rough) else 0.01 * ceiling_m
    while abs(stepper.radius(low)) > 1.0:
        low *= 0.5
    high = low
    while abs(stepper.radius(high)) <= 1.0:
        low, high = high, 1.2 * high
        if low > ceiling_m:
            return float("inf"), complex("nan")
    while high / low > 1.0 + rel:
        middle = 0.5 * (low + high)
        low, high = (low, middle) if abs(stepper.radius(middle)) > 1.0 else (middle, high)
    return 0.5 * (low + high), stepper.radius(high)


def unequal_pitches(teeth: int, difference: float, kind: str = "alternating") -> tuple[float, ...]:
    """Pitches as shares of a turn.

    Parameters
    ----------
    teeth : int
    difference : float
        Difference of neighbouring pitches over the mean pitch.
    kind : str
        "alternating" (long, short, long ...; an odd count has one mean pitch) or "rising".
    """
    j: ArrayLike = np.arange(teeth)
    if kind == "alternating":
        shift = np.where(np.arange(teeth) % 2 == 0, 0.5, -0.5)
        if teeth % 2:
            shift[-1] = 0.0
    else:
        shift = j - (teeth - 1) / 2.0
    pitches = (1.0 + difference * shift) / teeth
    return tuple(float(p) for p in pitches / pitches.sum())
