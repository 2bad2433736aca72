"""Rays through speed: which lines turn with the spindle and which stay where they are.

Each recording of a survey gives a list of lines.  A line that keeps its order (frequency
over spindle frequency) from speed to speed belongs to the shafts; one that keeps its
frequency belongs to the structure, the motor or the mains.  How many of the other
recordings hold a line at the right place by chance follows from how densely lines lie
there: that is the significance of a ray.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

#: Expected number of chance rays in a whole survey below which a ray is believed.
BELIEVED = 0.01
FEWEST_SPEEDS = 3
#: Tolerances besides half a bin: shafts are known by their speed, mains drift by this much.
_ORDER_TOLERANCE = 2.5e-3
_FIXED_TOLERANCE = 1.2e-3
#: Speeds that were aligned against each other are then as good as speeds that were heard.
_ALIGNED = 1e-3
#: The loudest ray is looked for among so many lines of each recording, this near to the dial.
_LOUDEST, _DIAL = 3, 0.03


@dataclass(frozen=True)
class SpeedLines:
    """Lines of one recording.

    Attributes
    ----------
    spindle_hz : float
    lines_hz : ndarray, shape (n,), ascending
    level_db : ndarray, shape (n,)
        Above the local floor.
    step_hz : float
        Bin width: lines are placed to about half of it.
    low_hz, high_hz : float
        Where lines can be heard.
    relative_error : float
        Standard error of the speed over the speed.
    """

    spindle_hz: float
    lines_hz: np.ndarray
    level_db: np.ndarray
    step_hz: float
    low_hz: float
    high_hz: float
    relative_error: float = 1e-3


@dataclass(frozen=True)
class Ray:
    """Lines of several recordings that belong together.

    Attributes
    ----------
    turns : bool
        True: the order is constant.  False: the frequency is.
    at : float
        Order, or frequency [Hz].
    spread : float
        Standard deviation of it over the recordings.
    members : tuple of (int, int)
        Recording and line, by index.
    possible : int
        Recordings in which it would lie within the heard band.
    chance : float
        Expected number of rays as good as this one if lines lay anywhere.
    """

    turns: bool
    at: float
    spread: float
    members: tuple[tuple[int, int], ...]
    possible: int
    chance: float


def find_rays(recordings: Sequence[SpeedLines], *, believed: float = BELIEVED) -> tuple[Ray, ...]:
    """All rays that chance does not explain, the surest first; no line in two of them.

    Parameters
    ----------
    recordings : sequence of SpeedLines
        One for each speed.
    believed : float
        Greatest expected number of chance rays.
    """
    if len(recordings) < FEWEST_SPEEDS:
        return ()
    free = [np.ones(one.lines_hz.size, bool) for one in recordings]
    density = [_density(one) for one in recordings]
    tried = 2 * sum(one.lines_hz.size for one in recordings)
    cache: dict[tuple[int, int, bool], Ray | None] = {}
    rays: list[Ray] = []
    while True:
        best: Ray | None = None
        for i in range(len(recordings)):
            for j in np.flatnonzero(free[i]):
                for turns in (False, True):
                    key = (i, int(j), turns)
                    if key not in cache:
                        cache[key] = _candidate(recordings, free, density, i, int(j), turns, tried)
                    ray = cache[key]
                    if ray is not None and (best is None or ray.chance < best.chance):
                        best = ray
        if best is None or best.chance > believed:
            return tuple(rays)
        rays.append(best)
        taken = set(best.members)
        for recording, line in taken:
            free[recording][line] = False
        cache = {
            key: ray
            for key, ray in cache.items()
            if ray is not None and not taken & set(ray.members)
        } | {key: None for key, ray in cache.items() if ray is None}


def _density(recording: SpeedLines) -> np.ndarray:
    """Lines per hertz around each place, shape (n,): what chance would put there.

    Counted over an octave about the line; one line is added, for none is not nothing.
    """
    f = recording.lines_hz
    low = np.maximum(f / np.sqrt(2.0), recording.low_hz)
    high = np.minimum(f * np.sqrt(2.0), recording.high_hz)
    near = np.searchsorted(f, high) - np.searchsorted(f, low)
    return (near + 1.0) / np.maximum(high - low, 1.0)


def _density_at(recording: SpeedLines, density: np.ndarray, f: float) -> float:
    if density.size == 0:
        return 1.0 / max(recording.high_hz - recording.low_hz, 1.0)
    return float(np.interp(f, recording.lines_hz, density))


def density_at(recording: SpeedLines, f: float) -> float:
    """Lines per hertz about a frequency of a recording."""
    return _density_at(recording, _density(recording), f)


def _candidate(
    recordings: Sequence[SpeedLines],
    free: list[np.ndarray],
    density: list[np.ndarray],
    i: int,
    j: int,
    turns: bool,
    tried: int,
) -> Ray | None:
    seed = recordings[i]
    at = seed.lines_hz[j] / (seed.spindle_hz if turns else 1.0)
    members, odds, possible = [(i, j)], [], 1
    for k, recording in enumerate(recordings):
        if k == i:
            continue
        f = at * (recording.spindle_hz if turns else 1.0)
        if not recording.low_hz * 1.02 < f < recording.high_hz * 0.98:
            continue
        if not turns and abs(recording.spindle_hz / seed.spindle_hz - 1) < 0.02:
            continue  # the same speed again says nothing of what stays
        possible += 1
        relative = _FIXED_TOLERANCE
        if turns:
            relative = max(
                _ORDER_TOLERANCE, 2.0 * np.hypot(recording.relative_error, seed.relative_error)
            )
        reach = max(0.8 * max(recording.step_hz, seed.step_hz * f / seed.lines_hz[j]), relative * f)
        odds.append(1.0 - np.exp(-2.0 * reach * _density_at(recording, density[k], f)))
        # Taken lines count for nothing, and the chance of hitting them was counted all the same.
        off = np.where(free[k], np.abs(recording.lines_hz - f), np.inf)
        if off.size and off.min() <= reach:
            members.append((k, int(np.argmin(off))))
    if len(members) < FEWEST_SPEEDS:
        return None
    # The same ray is met from each of its members: so many of the tries are one.
    chance = tried / len(members) * at_least(len(members) - 1, np.array(odds))
    places = np.array(
        [
            recordings[k].lines_hz[m] / (recordings[k].spindle_hz if turns else 1.0)
            for k, m in members
        ]
    )
    return Ray(
        turns,
        float(np.median(places)),
        float(places.std(ddof=1)),
        tuple(sorted(members)),
        possible,
        float(chance),
    )


def at_least(hits: int, odds: np.ndarray) -> float:
    """Chance of ``hits`` or more successes in trials of unequal odds (exact)."""
    count = np.zeros(odds.size + 1)
    count[0] = 1.0
    for p in odds:
        count[1:] = count[1:] * (1 - p) + count[:-1] * p
        count[0] *= 1 - p
    return float(count[hits:].sum())


# ---------------------------------------------------------------- unknown speeds


def align_speeds(recordings: Sequence[SpeedLines], *, most: float = 0.05) -> tuple[SpeedLines, ...]:
    """Correct the stated speeds against each other, when no gear on the card tells them.

    Plates are off by a few per cent, unequally: each recording's orders are shifted, on a
    logarithmic scale, to where most of them meet those of the others.  What that search
    makes meet by chance is counted by ``chance_after_aligning``.
    """
    if len(recordings) < FEWEST_SPEEDS:
        return tuple(recordings)
    grid = np.arange(-most, most + 1e-9, 0.5 * _ORDER_TOLERANCE)
    logs = [np.log(one.lines_hz / one.spindle_hz) for one in recordings]
    shift = np.zeros(len(recordings))
    start = int(np.argmax([one.size for one in logs]))
    order = sorted(range(len(recordings)), key=lambda k: -logs[k].size)
    known = [start]
    for _ in range(3):
        for k in order:
            if k == start:
                continue
            others = [logs[m] + shift[m] for m in known if m != k]
            if not others or logs[k].size == 0:
                continue
            pool = np.sort(np.concatenate(others))
            at = logs[k][None, :] + grid[:, None]
            place = np.clip(np.searchsorted(pool, at), 1, max(1, pool.size - 1))
            left = np.abs(pool[place - 1] - at)
            right = np.abs(pool[np.minimum(place, pool.size - 1)] - at)
            near = np.minimum(left, right) / _ORDER_TOLERANCE
            score = np.exp(-0.5 * near**2).sum(axis=1) - 0.3 * (grid / 0.03) ** 2
            shift[k] = float(grid[int(np.argmax(score))])
            if k not in known:
                known.append(k)
    shift -= np.median(shift)
    return tuple(
        replace(one, spindle_hz=one.spindle_hz * float(np.exp(-s)), relative_error=_ALIGNED)
        for one, s in zip(recordings, shift, strict=True)
    )


def rays_of_unknown_speeds(
    recordings: Sequence[SpeedLines], *, draws: int = 49, seed: int = 0
) -> tuple[tuple[Ray, ...], tuple[SpeedLines, ...]]:
    """Rays when the true speeds are not known, and the recordings with corrected speeds.

    Lines that stay are found and set aside first.  The rest is aligned, and the same is
    done to ``draws`` copies in which each recording's lines are turned round on a
    logarithmic scale by chance: a ray that turns is believed when fewer than one copy in
    fifty holds one as good.  Where one of the loudest lines of each recording keeps its order
    about as the dial says, the speeds are read off that line instead.
    """
    loud = loudest_ray(recordings)
    if loud is not None:
        return _by_loudest(recordings, loud)
    stay = [ray for ray in find_rays(recordings) if not ray.turns]
    taken = {member for ray in stay for member in ray.members}
    rest = [_without(one, [m for k, m in taken if k == i]) for i, one in enumerate(recordings)]
    shifted = align_speeds(rest)
    rng = np.random.default_rng(seed)
    best = []
    for _ in range(draws):
        copy = align_speeds([_turned(one, rng) for one in rest])
        best.append(min((ray.chance for ray in find_rays(copy) if ray.turns), default=np.inf))
    best.sort()
    limit = min(BELIEVED, best[0])
    corrected = tuple(
        replace(one, spindle_hz=moved.spindle_hz, relative_error=_ALIGNED)
        for one, moved in zip(recordings, shifted, strict=True)
    )
    rays = [ray for ray in find_rays(corrected) if not ray.turns or ray.chance < limit]
    return tuple(rays), corrected


def loudest_ray(recordings: Sequence[SpeedLines]) -> Ray | None:
    """The one ray among the few lines that stand out furthest, by the dial's speeds.

    A drive line with half of all power must not be lost among sixty faint ones: few lines are
    asked, so that chance seldom puts one where the dial wants it, wrong by 3 % though it may be.
    """
    if len(recordings) < FEWEST_SPEEDS or any(
        not recording.lines_hz.size for recording in recordings
    ):
        return None
    loud = [np.argsort(recording.level_db)[::-1][:_LOUDEST] for recording in recordings]
    best: Ray | None = None
    for i, seed in enumerate(recordings):
        for j in loud[i]:
            at = seed.lines_hz[j] / seed.spindle_hz
            members, chance = [(i, int(j))], float(_LOUDEST)
            for k, recording in enumerate(recordings):
                if k == i:
                    continue
                if abs(recording.spindle_hz / seed.spindle_hz - 1.0) < 2.0 * _DIAL:
                    continue  # a line that stays would do as well
                off = np.abs(recording.lines_hz[loud[k]] / (at * recording.spindle_hz) - 1.0)
                if off.min() > _DIAL:
                    break
                members.append((k, int(loud[k][int(np.argmin(off))])))
                # Lines lie anywhere on a logarithmic scale.
                wide = np.log(recording.high_hz / recording.low_hz)
                chance *= 1.0 - np.exp(-2.0 * _DIAL * len(loud[k]) / wide)
            else:
                orders = [recordings[k].lines_hz[m] / recordings[k].spindle_hz for k, m in members]
                ray = Ray(
                    True, float(np.median(orders)), float(np.std(orders, ddof=1)),
                    tuple(sorted(members)), len(members), chance,
                ) if len(members) >= FEWEST_SPEEDS else None  # fmt: skip
                if ray is not None and (best is None or ray.chance < best.chance):
                    best = ray
    return best if best is not None and best.chance <= BELIEVED else None


def _by_loudest(
    recordings: Sequence[SpeedLines], loud: Ray
) -> tuple[tuple[Ray, ...], tuple[SpeedLines, ...]]:
    """All rays once the speeds are read off the loudest."""
    at = dict(loud.members)
    corrected = tuple(
        replace(one, spindle_hz=float(one.lines_hz[at[k]] / loud.at), relative_error=_ALIGNED)
        if k in at
        else one
        for k, one in enumerate(recordings)
    )
    rest = [
        replace(
            one,
            lines_hz=np.delete(one.lines_hz, at[k]),
            level_db=np.delete(one.level_db, at[k]),
        )
        if k in at
        else one
        for k, one in enumerate(corrected)
    ]
    others = [
        replace(
            ray,
            members=tuple((k, m + (k in at and m >= at[k])) for k, m in ray.members),
        )
        for ray in find_rays(rest)
    ]
    return (loud, *others), corrected


def _without(recording: SpeedLines, taken: list[int]) -> SpeedLines:
    keep = np.ones(recording.lines_hz.size, bool)
    keep[taken] = False
    return replace(recording, lines_hz=recording.lines_hz[keep], level_db=recording.level_db[keep])


def _turned(recording: SpeedLines, rng: np.random.Generator) -> SpeedLines:
    """The same number of lines, as dense as before, at places that mean nothing."""
    if recording.lines_hz.size == 0:
        return recording
    low, high = np.log(recording.low_hz), np.log(recording.high_hz)
    moved = np.log(recording.lines_hz) + rng.normal(0.0, 0.08, recording.lines_hz.size)
    moved = low + np.abs(moved - low)
    moved = high - np.abs(high - moved)
    at = np.argsort(moved)
    return replace(recording, lines_hz=np.exp(moved[at]), level_db=recording.level_db[at])
