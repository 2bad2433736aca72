"""Retake: the same cut recorded once more, with another phone, gain, place and room.

What belongs to the cutter and the machine stays: teeth, arbor, plate, the ways by which they
radiate, the machine's drive.  What belongs to the take is drawn anew: phone, its gain and
processing, distance, room, coder, and every chance of the cut itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from chatter.lab.simulate.chance import log_uniform, uniform
from chatter.lab.simulate.draw_parts import draw_phone
from chatter.lab.simulate.ranges import Ranges
from chatter.lab.simulate.scene import Format, Scene, SimulatedRoom

#: Distance from the phone to the cut [m]; "about half a metre" is what users are told.
DISTANCE_M = (0.35, 0.8)
#: How much a step back lowers the machine's own noise, as a share of what it lowers the
#: cut (both in dB): a gearbox a metre and more away, heard from all sides, changes less.
MACHINE_SHARE = 0.5


def retaken(
    rng: np.random.Generator, scene: Scene, ranges: Ranges, *, same_phone: bool = False
) -> Scene:
    """The same scene with another phone, gain, distance, room and coder.

    Parameters
    ----------
    rng : Generator
    scene : Scene
    ranges : Ranges
        Where phones, rooms and coders are drawn from.
    same_phone : bool
        Keep phone, coder and room: only gain and distance change, and chance.
    """
    nearer_db = -20.0 * np.log10(log_uniform(rng, DISTANCE_M) / np.sqrt(np.prod(DISTANCE_M)))
    phone = draw_phone(rng, ranges)
    room = SimulatedRoom(log_uniform(rng, ranges.room_s), uniform(rng, ranges.wet_db))
    coder = Format(*ranges.formats[int(rng.integers(len(ranges.formats)))])
    if same_phone:
        phone, room, coder = replace(scene.phone, peak=phone.peak), scene.room, scene.format
    room = replace(room, wet_db=room.wet_db - nearer_db)
    machine = scene.machine
    if machine is not None:
        # levels are re the cut: stepping nearer to it lowers all else beside it
        machine = replace(machine, level_db=machine.level_db - (1 - MACHINE_SHARE) * nearer_db)
    return replace(scene, machine=machine, room=room, phone=phone, format=coder)


#: As many values drawn at once are noise; fewer describe something.
_NOISE_SIZE = 256


class _Plate(np.random.Generator):
    """Draws a plate's own colour from one stream and the rubbing noise from another.

    The simulator draws noise, fast or slow, as long arrays, and everything that describes the
    plate (its ring, its squeals) as single values or a few dozen.
    """

    def __init__(self, plate: np.random.SeedSequence, noise: np.random.Generator) -> None:
        super().__init__(np.random.PCG64(plate))
        self._noise = noise

    def standard_normal(self, size=None, dtype=np.float64, out=None):
        """Noise from the take's stream, all else from the plate's."""
        if size is not None and np.prod(size) >= _NOISE_SIZE:
            return self._noise.standard_normal(size, dtype, out)
        return super().standard_normal(size, dtype, out)


#: Streams that belong to the cutter and the machine, by their place.
_OWN = {2: "path", 4: "plate"}


class TakeStreams(np.random.Generator):
    """Chance for ``simulate``: what is the cutter's own repeats, what is the take's does not.

    Given in place of the seed.  The simulator spawns its streams in the order course, cut,
    path, noise, rubbing, machine, room, distractors, phone; the path (how machine and work
    radiate) and the plate come from ``own``.
    """

    def __init__(self, own: int, take: int) -> None:
        super().__init__(np.random.PCG64(np.random.SeedSequence(take)))
        self._own = own

    def spawn(self, n_children: int) -> Sequence[np.random.Generator]:
        """The streams of one recording."""
        spawned = self.bit_generator.seed_seq.spawn(n_children)
        streams = [np.random.default_rng(one) for one in spawned]
        for place, name in _OWN.items():
            seed = np.random.SeedSequence([self._own, len(name), *name.encode()])
            if name == "plate":
                streams[place] = _Plate(seed, streams[place])
            else:
                streams[place] = np.random.default_rng(seed)
        return streams
