"""Physics-based recordings with truth, for developing, testing and demonstrating.

::

    scene = draw_scene(np.random.default_rng(7), "chatter", ranges_development)
    signal, rate_hz, truth = simulate(scene, seed=7)
"""

from __future__ import annotations

from chatter.lab.simulate.draw import KINDS, draw_any, draw_scene
from chatter.lab.simulate.ranges import ranges_development, ranges_reporting
from chatter.lab.simulate.recording import simulate
from chatter.lab.simulate.scene import Scene
from chatter.lab.simulate.truth import TruePass, TrueStretch, Truth

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
