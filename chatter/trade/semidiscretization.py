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

#: Depths that are asked at once.
_AT_ONCE = 5

#: Points through which the motion over one step is interpolated.
_NODES = 14


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

    def monodromies(self, depths_m: ArrayLike) -> NDArray[np.float64]:
        """Maps of (x, v, past x) over one period, shape (depths, reach + 2, reach + 2)."""
        mode, p, m = self.cut.mode, self.steps, self.reach
        w = 2.0 * np.pi * mode.frequency_hz
        depths = np.atleast_1d(np.asarray(depths_m, dtype=float))
        push = depths[:, None, None] / (mode.stiffness_n_m / w**2) * self.factor
        own, driven = self._steps(push.sum(axis=2) * self.dt**2)
        offsets = np.unique(np.concatenate(self.nodes))
        weight = np.zeros((len(depths), p, 2, len(offsets)))
        for kind, (nodes, poly) in enumerate(zip(self.nodes, self.polynomials, strict=True)):
            force = push[:, :, kind, None, None] * self.dt**2 * (driven @ poly)
            weight[..., np.searchsorted(offsets, nodes)] += force
        size = m + 2
        rows = np.zeros((len(depths), m + 1 + p, size))
        rows[:, m, 0] = 1.0  # x now
        for back in range(1, m + 1):
            rows[:, m - back, 1 + back] = 1.0
        state = np.zeros((len(depths), 2, size))  # x and v, now
        state[:, [0, 1], [0, 1]] = 1.0
        for i in range(p):
            now = m + i
            state = weight[:, i] @ rows[:, now + offsets] + own[:, i] @ state
            rows[:, now + 1] = state[:, 0]
        last = m + p
        past = rows[:, last - 1 : last - m - 1 : -1]
        return np.concatenate([state, past], axis=1)

    def _steps(self, added: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Motion over one step: free, (..., 2, 2), and driven by powers of s, (..., 2, 4).

        ``added`` is what the cut adds to (w dt)^2 in each step.  The exponential is a smooth
        function of it, so it is worked out at a dozen of its values and interpolated between
        them by the polynomial through these (Chebyshev points: exact to rounding).
        """
        mode, dt = self.cut.mode, self.dt
        w = 2.0 * np.pi * mode.frequency_hz
        low, high = float(added.min()), float(added.max())
        nodes = np.cos(np.pi * (np.arange(_NODES) + 0.5) / _NODES)
        values = 0.5 * (low + high) + 0.5 * max(high - low, 1e-12) * nodes
        # Motion driven by 1, s, s^2, s^3 within a step (s from 0 to 1), by one exponential;
        # time in steps and speed in metres per step keep the numbers near one.
        big = np.zeros((_NODES, 6, 6))
        big[:, 0, 1] = 1.0
        big[:, 1, 0] = -((w * dt) ** 2 + values)
        big[:, 1, 1] = -2.0 * mode.damping_ratio * w * dt
        big[:, 1, 2] = 1.0
        big[:, 2, 3] = big[:, 3, 4] = big[:, 4, 5] = 1.0
        solved = exponentials(big)
        order = np.arange(_NODES)
        basis = np.cos(np.outer(np.arccos(nodes), order))  # T_k at the nodes
        spectrum = np.linalg.solve(basis, solved.reshape(_NODES, 36))
        at = (added - 0.5 * (low + high)) / (0.5 * max(high - low, 1e-12))
        angle = np.arccos(np.clip(at, -1.0, 1.0))
        transition = (np.cos(angle[..., None] * order) @ spectrum).reshape(*added.shape, 6, 6)
        return transition[..., :2, :2], driven_by_powers(transition)

    def radii(self, depths_m: ArrayLike) -> NDArray[np.complex128]:
        """Eigenvalues of largest modulus: above 1 the cut chatters; near -1 it is a flip."""
        return dominant_eigenvalues(self.monodromies(depths_m))


def dominant_eigenvalues(matrices: NDArray[np.float64], size: int = 24) -> NDArray[np.complex128]:
    """Eigenvalue of largest modulus of each matrix, by Arnoldi's method, residuals checked.

    Past motion dies out fast, so all but a few eigenvalues are near zero and a small Krylov
    space holds the large ones; where it does not, all eigenvalues are worked out instead.

    Parameters
    ----------
    matrices : ndarray, shape (m, n, n)
    size : int
        Dimension of the Krylov space.

    Returns
    -------
    ndarray, shape (m,), complex
    """
    count, n = matrices.shape[:2]
    if n <= size:
        values = np.linalg.eigvals(matrices).astype(complex)
        return values[np.arange(count), np.argmax(np.abs(values), axis=1)]
    basis, small = np.zeros((count, size + 1, n)), np.zeros((count, size + 1, size))
    start = np.random.default_rng(0).standard_normal((n,))
    basis[:, 0] = start / np.sqrt((start**2).sum())
    for j in range(size):
        # einsum, because threads of a matrix product cost more than these small ones
        new = np.einsum("dij,dj->di", matrices, basis[:, j])
        for _ in range(2):  # a second sweep keeps the basis square to itself
            part = np.einsum("dij,dj->di", basis[:, : j + 1], new)
            new = new - np.einsum("di,dij->dj", part, basis[:, : j + 1])
            small[:, : j + 1, j] += part
        length = np.sqrt((new**2).sum(axis=1))
        # A space that is whole already gets a null vector: it adds eigenvalues of zero only.
        length[length < 1e-12] = 0.0
        small[:, j + 1, j] = length
        basis[:, j + 1] = (
            new * np.where(length > 0.0, 1.0 / np.maximum(length, 1e-12), 0.0)[:, None]
        )
    values, vectors = np.linalg.eig(small[:, :size])
    top = np.argmax(np.abs(values), axis=1)
    each = np.arange(count)
    dominant = values[each, top].astype(complex)
    residue = small[:, size, size - 1] * np.abs(vectors[each, -1, top])
    for i in np.flatnonzero(residue > 1e-6 * np.abs(dominant)):
        all_values = np.linalg.eigvals(matrices[i])
        dominant[i] = all_values[np.argmax(np.abs(all_values))]
    return dominant


def driven_by_powers(solved: NDArray[np.float64]) -> NDArray[np.float64]:
    """Motion (x, v) after one step from rest, driven by 1, s, s^2, s^3; shape (..., 2, 4).

    ``solved`` is the exponential of a chain of x, v and four integrators that feed v, so that
    the last of them gives s^3 / 3! and so on.
    """
    return solved[..., :2, 2:] * np.array([1.0, 1.0, 2.0, 6.0])  # s^m = m! times the chain


def exponentials(matrices: NDArray[np.float64]) -> NDArray[np.float64]:
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
    cut: Milling,
    rev_min: float,
    *,
    ceiling_m: float,
    refine: float = 1.0,
    rel: float = 2e-3,
    start_m: float | None = None,
) -> tuple[float, complex]:
    """Smallest depth [m] at which the cut chatters, and the eigenvalue there.

    The depth is raised in steps of a fifth from ``start_m``, by default half the averaged limit
    (or 1 % of the ceiling), then closed in on: a stable gap thinner than a fifth is not seen,
    nor one below a stable start.  Several depths are asked at once, which costs less than one by
    one.  ``inf`` when the cut is stable up to ``ceiling_m``.

    Raises
    ------
    ValueError
        The ceiling is not finite.
    """
    if not math.isfinite(ceiling_m):
        raise ValueError("the deepest depth to try must be finite")
    stepper = Stepper(cut, rev_min, refine)
    low = start_m
    if low is None:
        rough = averaged_limit(rev_min, cut.mode, cut.pitches, cut.mean_factor_n_m2)[0]
        low = 0.5 * min(rough, ceiling_m) if np.isfinite(rough) else 0.01 * ceiling_m
    ladder = 1.2 ** np.arange(_AT_ONCE)
    while True:
        depths = low * ladder
        values = stepper.radii(depths)
        unstable = np.abs(values) > 1.0
        if unstable[0]:
            low /= ladder[-1]
        elif unstable.any():
            break
        elif depths[-1] > ceiling_m:
            return float("inf"), complex("nan")
        else:
            low = depths[-1]
    while True:
        first = int(np.argmax(unstable))
        low, high, value = depths[first - 1], depths[first], values[first]
        if high / low <= 1.0 + rel:
            return float(0.5 * (low + high)), complex(value)
        depths = np.linspace(low, high, _AT_ONCE + 2)
        inner = stepper.radii(depths[1:-1])  # the ends are known already
        values = np.concatenate([[0.0], inner, [value]])
        unstable = np.abs(values) > 1.0


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
    j = np.arange(teeth)
    if kind == "alternating":
        shift = np.where(j % 2 == 0, 0.5, -0.5)
        if teeth % 2:
            shift[-1] = 0.0
    else:
        shift = j - (teeth - 1) / 2.0
    pitches = (1.0 + difference * shift) / teeth
    return tuple(float(p) for p in pitches / pitches.sum())
