"""Where the sound changes, against the exact change points of ``ruptures``.

C. Truong, L. Oudre, N. Vayatis, *Selective review of offline change point detection
methods*, Signal Processing 167 (2020) 107299; PELT (Killick, Fearnhead, Eckley, J. Am.
Stat. Assoc. 107, 2012, 1590-1598) is exact for squared errors about the mean: the same cost
and penalty must give the same partition.
"""

from __future__ import annotations

import numpy as np
import pytest
import ruptures

from chatter.listening.segments import change_points, find_segments
from chatter.sound.frames import make_frames

RATE = 16000


@pytest.mark.parametrize("bands", [1, 3, 12])
@pytest.mark.parametrize("least", [1, 2, 5])
@pytest.mark.parametrize("penalty", [4.0, 20.0, 120.0])
def test_the_same_edges_under_the_same_penalty(bands, least, penalty):
    for seed in range(4):
        rng = np.random.default_rng(100 * seed + bands)
        level = np.repeat(rng.normal(0.0, 3.0, (7, bands)), rng.integers(3, 30, 7), axis=0)
        level += rng.standard_normal(level.shape)
        solver = ruptures.Pelt(model="l2", min_size=least, jump=1).fit(level)
        theirs = solver.predict(pen=penalty)
        ours = change_points(level, penalty=penalty, least=least)

        def worth(edges, level=level):
            parts = (level[a:b] for a, b in zip((0, *edges), edges, strict=False))
            return sum(float(((p - p.mean(axis=0)) ** 2).sum()) for p in parts)

        # PELT's pruning with a shortest segment may miss the best by a hair: never ours
        best = worth(theirs) + penalty * (len(theirs) - 1)
        mine = worth(ours[1:]) + penalty * (len(ours) - 2)
        assert mine <= best + 1e-6 * best
        if least == 1:
            assert ours[1:] == theirs


@pytest.mark.parametrize(
    "steps",
    [
        [(6.0, -40), (9.0, -20), (5.0, -40)],
        [(4.0, -45), (5.0, -25), (3.0, -45), (6.0, -25), (4.0, -45)],
        [(7.0, -20), (8.0, -38)],
    ],
)
def test_edges_in_sound_agree(steps):
    """On the same course of level, with its own penalty."""
    rng = np.random.default_rng(12)
    x = np.concatenate(
        [10 ** (level / 20) * rng.standard_normal(round(s * RATE)) for s, level in steps]
    ).astype(np.float32)
    frames = make_frames(lambda a, b: x[a:b], x.size, RATE)
    ours = [span.end_s for span in find_segments(frames, turn_s=0.25)[:-1]]
    level = 10 * np.log10(frames.power.mean(axis=1))[:, None]
    found = ruptures.Pelt(model="l2", min_size=20, jump=2).fit(level).predict(pen=400.0)
    theirs = [float(frames.time_s[i]) for i in found[:-1]]
    true = list(np.cumsum([s for s, _ in steps])[:-1])
    np.testing.assert_allclose(theirs, true, atol=0.06)  # the reference itself is right
    # two frames of 43 ms, half overlapped; a block across an edge (0.25 s) may be bounded twice
    for edge in theirs:
        assert min(abs(edge - one) for one in ours) < 0.11
    for edge in ours:
        assert min(abs(edge - one) for one in theirs) < 0.26
