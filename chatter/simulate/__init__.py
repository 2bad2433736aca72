"""Physics-based recordings with truth, for developing, testing and demonstrating.

::

    scene = draw_scene(np.random.default_rng(7), "chatter", ranges_development)
    signal, rate_hz, truth = simulate(scene, seed=7)
"""

from __future__ import annotations

from chatter.simulate.draw import KINDS, draw_any, draw_scene
from chatter.simulate.ranges import ranges_development, ranges_reporting
from chatter.simulate.recording import simulate
from chatter.simulate.scene import Scene
from chatter.simulate.truth import TruePass, TrueStretch, Truth

__all__ = [
    "KINDS",
    "Scene",
    "TruePass",
    "TrueStretch",
    "Truth",
    "draw_any",
    "draw_scene",
    "ranges_development",
    "ranges_reporting",
    "simulate",
]
