"""Edges of passes against the change points of ``ruptures``.

C. Truong, L. Oudre, N. Vayatis, *Selective review of offline change point detection
methods*, Signal Processing 167 (2020) 107299; PELT (Killick, Fearnhead, Eckley, J. Am.
Stat. Assoc. 107, 2012, 1590-1598) on the same level course, with its own cost.
"""

from __future__ import annotations

import numpy as np
import pytest
import ruptures

from chatter.listening.passes import find_plateaus
from chatter.sound.frames import make_frames

RATE = 16000
SPINDLE_HZ = 4.0


@pytest.mark.parametrize(
    "steps",
    [
        [(6.0, -40), (9.0, -20), (5.0, -40)],
        [(4.0, -45), (5.0, -25), (3.0, -45), (6.0, -25), (4.0, -45)],
        [(7.0, -20), (8.0, -38)],
    ],
)
def test_edges_agree(steps):
    rng = np.random.default_rng(12)
    x = np.concatenate(
        [10 ** (level / 20) * rng.standard_normal(round(s * RATE)) for s, level in steps]
    ).astype(np.float32)
    frames = make_frames(lambda a, b: x[a:b], x.size, RATE)
    plateaus = find_plateaus(frames, spindle_hz=SPINDLE_HZ)
    assert plateaus.thresholds_db
    spans = plateaus.spans_above(1, spindle_hz=SPINDLE_HZ)
    ours = sorted(
        t for span in spans for t in (span.start_s, span.end_s) if 0.5 < t < frames.time_s[-1] - 0.5
    )

    level = 10 * np.log10(frames.power.mean(axis=1))[:, None]
    found = ruptures.Pelt(model="l2", min_size=20, jump=2).fit(level).predict(pen=400.0)
    theirs = [float(frames.time_s[i]) for i in found[:-1]]
    true = list(np.cumsum([s for s, _ in steps])[:-1])
    np.testing.assert_allclose(theirs, true, atol=0.06)  # the reference itself is right
    # ours is averaged over one turn (0.25 s): half of it and a frame beside
    np.testing.assert_allclose(ours, theirs, atol=0.16)
