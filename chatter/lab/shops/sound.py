"""Shops with sound: every cut is simulated on the shop's machine, in its room, by its phone.

Hours for sixty shops: a cut takes seconds to make and to listen to, a shop has a hundred.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np

from chatter.errors import ChatterError
from chatter.findings import CAUSES
from chatter.lab.shops.draw import Shop, ShopCut, outcome_table
from chatter.lab.shops.run import LABELS, WRONG, Score, taught_and_scored
from chatter.lab.simulate import Scene, draw_any, ranges_reporting, simulate
from chatter.lab.simulate.codec import write_recording

#: Later cuts that a shop with sound is scored on.
LATER_WITH_SOUND = 60
_KINDS = {
    "normal": 0.45,
    "side_rubbing": 0.15,
    "chatter_hopf": 0.22,
    "uneven_teeth": 0.10,
    "machine_only": 0.08,
}
_A_DAY = 4
_TRIES = 5


def sound_shop(seed: int, shop: int, wrong: float = WRONG) -> dict[int, tuple[Score, Score, str]]:
    """As ``run.one_shop``, with every cut made and listened to."""
    rng = np.random.default_rng([seed, shop, 1])
    own = _scene(rng)
    cuts = [
        cut
        for day in range((max(LABELS) + LATER_WITH_SOUND) // _A_DAY)
        for cut in _day(rng, own, day)
    ]
    told, later = cuts[: max(LABELS)], cuts[max(LABELS) :]
    shop = Shop(outcome_table().share, np.zeros(len(CAUSES)), 1.0)
    return taught_and_scored(rng, shop, told, later, wrong)


def _scene(rng: np.random.Generator) -> Scene:
    return draw_any(rng, _KINDS, lambda _: ranges_reporting, _TRIES)


def _day(rng: np.random.Generator, own: Scene, day: int) -> Iterator[ShopCut]:
    """Cuts of one day: the phone lies a little otherwise than the day before."""
    nearer = float(rng.normal(0.0, 3.0))
    for _ in range(_A_DAY):
        scene = _scene(rng)
        # wider than what the fit has seen: a louder machine, a more reverberant room
        machine = own.machine and replace(own.machine, level_db=own.machine.level_db + 4.0 - nearer)
        room = replace(own.room, wet_db=own.room.wet_db + 4.0 + nearer)
        phone = replace(own.phone, tilt_db_octave=1.5 * own.phone.tilt_db_octave)
        scene = replace(scene, machine=machine, room=room, phone=phone)
        try:
            yield _heard(scene, int(rng.integers(2**31)), day)
        except ValueError:  # this cut tore itself out of the work: none was recorded
            continue


def _heard(scene: Scene, seed: int, day: int) -> ShopCut:
    from chatter.listening.front import listen

    signal, rate_hz, truth = simulate(scene, seed)
    label = truth.passes[0].verdict if truth.passes else "machine_only"
    with tempfile.TemporaryDirectory(prefix="chatter-shops-") as folder:
        path, _ = write_recording(Path(folder) / "cut", signal, rate_hz, scene.format)
        try:
            found = listen(path, truth.job).findings
        except ChatterError:
            return ShopCut(day, label, dict.fromkeys(CAUSES, 0.2), "cannot_tell", 0.0)
    if not found.passes:
        return ShopCut(day, label, dict.fromkeys(CAUSES, 0.2), "cannot_tell", 0.0)
    longest = max(found.passes, key=lambda one: one.end_s - one.start_s)
    return ShopCut(day, label, dict(longest.probabilities), longest.verdict, longest.confidence)
