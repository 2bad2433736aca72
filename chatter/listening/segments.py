"""Where the sound changes: a recording cut at the change points of its band levels.

These are candidates, not decisions: which stretches are cuts is judged later, for all of them
together, by what is measured in them.  Real passes rise by 3 to 6 dB over a running machine, in
some bands only, so that no threshold of level parts them; a change of the spectrum's shape does.
"""

from __future__ import annotations

import itertools

import numpy as np

from chatter.listening.spans import Span
from chatter.sound.frames import Frames
from chatter.sound.spectrum import db

#: Bands that are looked at [Hz].
_LOWEST_HZ, _HIGHEST_HZ = 110.0, 9000.0
#: Blocks are a turn long, within these limits, so that a saw of few teeth in the cut is steady.
_SHORTEST_BLOCK_S, _LONGEST_BLOCK_S = 0.2, 1.0
#: Blocks in a recording; longer ones get longer blocks.
_MOST_BLOCKS = 3000
#: No segment is shorter.
_LEAST_S = 0.5
#: Level changes beyond this are no better evidence of a change.
_CLIP_DB = 40.0
#: Least noise of a band's level from block to block [dB].
_LEAST_NOISE_DB = 0.3


def find_segments(frames: Frames, *, turn_s: float) -> tuple[Span, ...]:
    """Cut a recording at the change points of its band levels.

    Parameters
    ----------
    frames : Frames
        Band levels of the whole recording.
    turn_s : float [s]
        One turn of the spindle, as stated.

    Returns
    -------
    tuple of Span
        Together they cover the recording.

    Notes
    -----
    Optimal partitioning of the band levels in dB, each band divided by its own robust noise from
    block to block, under a penalty of Schwarz's kind for each change (Jackson and others, 2005;
    pruned as Killick, Fearnhead and Eckley, 2012.  From memory).
    """
    total_s = frames.power.shape[0] * frames.step_s
    block_s = float(np.clip(turn_s, _SHORTEST_BLOCK_S, _LONGEST_BLOCK_S))
    block_s = max(block_s, total_s / _MOST_BLOCKS)
    width = max(1, round(block_s / frames.step_s))
    blocks = frames.power.shape[0] // width
    whole = Span(0.0, float(frames.time_s[-1] + frames.time_s[0]))
    least = max(1, int(np.ceil(_LEAST_S / (width * frames.step_s))))
    if blocks < 2 * least + 1:
        return (whole,)
    bands = (frames.edges_hz[:-1] >= _LOWEST_HZ) & (frames.edges_hz[1:] <= _HIGHEST_HZ)
    power = frames.power[:, bands]
    mean = power[: blocks * width].reshape(blocks, width, -1).mean(axis=1)
    level = _standardised(np.asarray(db(mean + 1e-13)))
    penalty = level.shape[1] * np.log(blocks) + 30.0
    edges = change_points(level, penalty=penalty, least=least)
    fine = np.asarray(db(power + 1e-13))
    places = [edge * width for edge in edges[1:-1]]
    inner = [_refined(fine, place, width) for place in places]
    first = frames.time_s[0]
    cuts = [0.0, *(float(first + (i - 0.5) * frames.step_s) for i in inner), whole.end_s]
    return tuple(Span(a, b) for a, b in itertools.pairwise(cuts) if b > a)


def _standardised(level_db: np.ndarray) -> np.ndarray:
    """Levels about their median, in units of each band's own noise from block to block."""
    steps = np.diff(level_db, axis=0)
    noise = 1.4826 * np.median(np.abs(steps - np.median(steps, axis=0)), axis=0) / np.sqrt(2.0)
    centred = np.clip(level_db - np.median(level_db, axis=0), -_CLIP_DB, _CLIP_DB)
    return centred / np.maximum(noise, _LEAST_NOISE_DB)


def change_points(level: np.ndarray, *, penalty: float, least: int) -> list[int]:
    """Edges of the segments that explain ``level`` best by one mean each.

    Parameters
    ----------
    level : ndarray, shape (n, bands)
        Of unit noise.
    penalty : float
        What a further segment must save in squares.
    least : int
        Shortest segment.

    Returns
    -------
    list of int
        Ascending, from 0 to n.
    """
    n = level.shape[0]
    sums = np.vstack([np.zeros(level.shape[1]), np.cumsum(level, axis=0)])
    squares = np.r_[0.0, np.cumsum((level**2).sum(axis=1))]
    cost = np.full(n + 1, np.inf)
    cost[0] = -penalty
    before = np.zeros(n + 1, int)
    alive = np.zeros(0, int)
    for j in range(least, n + 1):
        alive = np.append(alive, j - least)
        alive = alive[np.isfinite(cost[alive])]
        inside = squares[j] - squares[alive]
        inside -= ((sums[j] - sums[alive]) ** 2).sum(axis=1) / (j - alive)
        total = cost[alive] + inside
        best = int(np.argmin(total))
        cost[j] = total[best] + penalty
        before[j] = alive[best]
        alive = alive[total <= cost[j]]
    edges = [n]
    while edges[-1] > 0:
        edges.append(int(before[edges[-1]]))
    return edges[::-1]


def _refined(fine_db: np.ndarray, place: int, width: int) -> int:
    """The frame nearest to an edge of blocks at which the two sides part best."""
    low, high = max(0, place - width), min(fine_db.shape[0], place + width)
    if high - low < 4:
        return place
    left = fine_db[max(0, low - width) : place].mean(axis=0)
    right = fine_db[place : min(fine_db.shape[0], high + width)].mean(axis=0)
    around = fine_db[low:high]
    nearer = ((around - left) ** 2).sum(axis=1) - ((around - right) ** 2).sum(axis=1)
    return low + int(np.argmin(np.r_[0.0, np.cumsum(nearer)]))
