"""Draw: pairs of takes of the same cut, or of cuts with one known difference."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace

import numpy as np

from chatter.lab.pairs.retake import TakeStreams, retaken
from chatter.lab.simulate import draw_any
from chatter.lab.simulate.ranges import ALL
from chatter.lab.simulate.scene import Scene

#: What identical pairs are drawn from, with how often each is drawn.
KINDS = {
    "normal": 0.35,
    "side_rubbing": 0.3,
    "uneven_teeth": 0.15,
    "chatter_hopf": 0.15,
    "rubbing_uneven": 0.05,
}
#: Length of the cut in revolutions, as far as ``LONGEST_S`` allows.
TURNS = (15.0, 25.0)
LONGEST_S = 13.0
#: Idling before the cut [s]: what the README asks of a recording, shortened.
IDLE_S = (2.5, 4.5)
RISE_DB = 6.0
#: Phones, coders and rooms for fitting are drawn wider than the development ranges have them:
#: what is fitted must cover phones that were not met while developing.
WIDE = {
    "agc": 0.4,
    "suppression": 0.25,
    "band_limit": 0.25,
    "phone_tilt": (-3.0, 3.0),
    "roll_off_hz": (40.0, 250.0),
    "rates_hz": (16_000, 22_050, 32_000, 44_100, 48_000),
    "room_s": (0.06, 1.1),
    "wet_db": (-15.0, 6.0),
    "formats": (
        *(("wav", 0), ("m4a", 96_000), ("m4a", 64_000), ("m4a", 32_000), ("ogg", 64_000)),
        *(("mp3", 96_000), ("mp3", 64_000), ("webm", 32_000), ("3gp", 12_200)),
    ),
}
_TRIES = 20


@dataclass(frozen=True)
class Drawn:
    """Two sides' scenes to be simulated, and the seeds of their chance."""

    sides: tuple[tuple[Scene, ...], tuple[Scene, ...]]  # a scene for each take
    own: int  # seed of what belongs to the cutter and the machine
    takes: tuple[tuple[int, ...], tuple[int, ...]]  # seeds of what belongs to each take

    @property
    def kind(self) -> str:
        """Kind of the scene."""
        return self.sides[0][0].kind

    @property
    def processed(self) -> bool:
        """Whether any phone has automatic gain or noise suppression."""
        phones = [scene.phone for side in self.sides for scene in side]
        return any(one.agc_db > 0 or one.suppression_db > 0 for one in phones)

    def chance(self, side: int, take: int) -> TakeStreams:
        """What ``simulate`` draws from, for one take."""
        return TakeStreams(self.own, self.takes[side][take])


def draw_pair(
    ranges: str, sort: str, index: int, *, takes: int = 1, same_phone: bool = False
) -> Drawn:
    """Draw one pair.

    Parameters
    ----------
    ranges : str
        "development" or "reporting"; seeds are not shared between the two.
    sort : str
        "identical": the same cut twice; "rubbing": the second rubs 6 dB louder.
    index : int
    takes : int
        Recordings of each side.
    same_phone : bool
        All takes with one phone and coder in one room; else each has its own.

    Raises
    ------
    ValueError
        Nothing of the kind could be drawn.
    """
    name = hashlib.sha256(f"pairs/{ranges}/{sort}".encode()).digest()
    seeds = np.random.SeedSequence([*name[:8], index])
    rng = np.random.default_rng(seeds)
    own, *chance = (int(one) for one in seeds.generate_state(1 + 2 * takes, np.uint32))
    drawn_from = ALL[ranges]
    if ranges == "development":
        drawn_from = replace(drawn_from, **WIDE)
    kinds = {"side_rubbing": 1.0} if sort == "rubbing" else KINDS
    scene = draw_any(rng, kinds, lambda _kind: drawn_from, _TRIES)
    scene = one_pass(rng, scene, no_idle=drawn_from.no_idle)
    first, second = (
        tuple(retaken(rng, scene, drawn_from, same_phone=same_phone) for _ in range(takes))
        for _ in range(2)
    )
    if sort == "rubbing":
        second = tuple(louder_rubbing(one, RISE_DB) for one in second)
    return Drawn((first, second), own, (tuple(chance[:takes]), tuple(chance[takes:])))


def louder_rubbing(scene: Scene, rise_db: float) -> Scene:
    """The same scene with its rubbing louder, nothing else changed."""
    return replace(scene, rub=replace(scene.rub, level_db=scene.rub.level_db + rise_db))


def one_pass(rng: np.random.Generator, scene: Scene, *, no_idle: float) -> Scene:
    """The scene cut down to one pass of a known number of turns, most with idling first."""
    turn_s = 60.0 / scene.rev_min
    length = max(min(rng.uniform(*TURNS) * turn_s, LONGEST_S), 9.0 * turn_s)
    length = max(length, 2.0)  # a second of a quick cutter is no recording
    idle = 0.0 if rng.random() < no_idle else float(rng.uniform(*IDLE_S))
    plan = scene.passes[0]
    ramp = min(plan.entry_s, 0.1 * length)
    plan = replace(
        plan, start_s=idle, end_s=idle + length, entry_s=ramp, exit_s=min(plan.exit_s, ramp)
    )
    return replace(scene, passes=(plan,), duration_s=plan.end_s + min(idle, 1.0), distractors=())
