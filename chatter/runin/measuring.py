"""The value of every item in one recording of idling."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from chatter.job.machine import Machine
from chatter.runin.idle import CARRIER_HZ, IdleSound, MeanSpectrum
from chatter.runin.items import LEVEL, FollowedItem, ItemReadings, Value
from chatter.runin.orders import MESH_HARMONICS, mesh_order
from chatter.runin.striking import all_strikes
from chatter.runin.turning import IdleSpeed
from chatter.sound.spectrum import db

_BROAD_HZ = (1000.0, 8000.0)
#: Multiples of the mains that stay whatever the machine does, up to this frequency.
_MAINS_TOP_HZ = 1000.0
#: A line must be this many times the scatter of the noise to count as heard.
_LINE = 4.0
#: Sidebands that are followed, in turns of the gear's shaft; and where they may be in the way.
_SIDES, _WIDE_SIDES = (-1, 1), (-2, -1, 1, 2)


def measure_items(
    idle: IdleSound,
    turning: IdleSpeed,
    machine: Machine,
    items: Sequence[FollowedItem],
    *,
    usual_hz: float,
    harmonics: Mapping[str, tuple[int, ...]] | None = None,
) -> ItemReadings:
    """Measure every item; what cannot be had is left out.

    Parameters
    ----------
    idle : IdleSound
    turning : IdleSpeed
        Items that turn are left out when the speed was not heard.
    machine : Machine
    items : sequence of FollowedItem
    usual_hz : float [Hz]
        Spindle frequency as usually heard at this gear step: by it is decided which lines lie
        too near to others, alike on every date.
    harmonics : mapping of str to tuple of int, optional
        Of each gear, by its part, the mesh harmonics to be followed, from ``strong_harmonics``;
        all of them if left out.
    """
    ruler = _Ruler(idle.sound, turning, _busy(machine, items, usual_hz), usual_hz)
    ratios = {gear.name: gear.ratio for gear in machine.gears}
    values: dict[str, Value] = {}
    hidden = combed = frozenset[str]()
    if turning.heard:
        values, hidden, combed = all_strikes(idle.envelope, turning.spindle_hz, machine, items)
    for item in items:
        value: Value | None = None
        if item.part == "broad":
            value = ruler.band(*_BROAD_HZ)
        elif item.part == "line":
            if not ruler.crowded(item.at, item.key):
                value = ruler.line(item.at, item.at * 1.5e-3)
        elif turning.heard and item.part == "ray":
            if not ruler.crowded(item.at * usual_hz, item.key):
                value = ruler.order(item.at)
        elif turning.heard and item.part.startswith("gear:"):
            shaft = ratios[item.part.partition(":")[2]]
            used = MESH_HARMONICS if harmonics is None else harmonics.get(item.part, ())
            if item.sort == LEVEL:
                value = ruler.mesh(item.at, used, item.part)
            else:
                value = ruler.sidebands(item.at, shaft, used, item.part)
        if value is not None and math.isfinite(value.value_db):
            values[item.key] = value
    return ItemReadings(turning, values, _references(ruler, machine, items), hidden, combed)


def strong_harmonics(
    heard: Sequence[tuple[IdleSound, IdleSpeed]], machine: Machine
) -> dict[str, tuple[int, ...]]:
    """Mesh harmonics of each gear that stand well out of the noise in most of some recordings.

    To be asked of the first dates and kept: a family whose members change from date to date
    is another thing each time.
    """
    strong_of = {}
    for gear in machine.gears:
        kept = []
        for h in MESH_HARMONICS:
            lines = [
                _Ruler(idle.sound, turning, (), turning.spindle_hz).member(h * mesh_order(gear))
                for idle, turning in heard
                if turning.heard
            ]
            known = [one for one in lines if one is not None]
            strong = sum(power > 2.0 * _LINE * noise for power, noise in known)
            if known and strong >= 0.6 * len(known):
                kept.append(h)
        strong_of[f"gear:{gear.name}"] = tuple(kept)
    return strong_of


def _busy(
    machine: Machine, items: Sequence[FollowedItem], usual_hz: float
) -> list[tuple[float, str]]:
    """Where lines of their own stand, and whose: sidebands there would be somebody else's."""
    busy = []
    for gear in machine.gears:
        for h in range(1, 7):
            busy.append((h * mesh_order(gear) * usual_hz, f"gear:{gear.name}"))
            for k in _WIDE_SIDES:
                at = (h * mesh_order(gear) + k * gear.ratio) * usual_hz
                busy.append((at, f"gear:{gear.name}"))
    busy += [(i.at * usual_hz, i.key) for i in items if i.part == "ray"]
    busy += [(i.at, i.key) for i in items if i.part == "line"]
    if machine.mains_hz is not None:
        busy += [(k * machine.mains_hz, "mains") for k in range(1, 25)]
    return busy


class _Ruler:
    """Reads powers out of one mean spectrum."""

    def __init__(
        self,
        spectrum: MeanSpectrum,
        turning: IdleSpeed,
        busy: Sequence[tuple[float, str]],
        usual_hz: float,
    ) -> None:
        self.s, self.turning, self.usual_hz = spectrum, turning, usual_hz
        self._busy_hz = np.array([f for f, _ in busy])
        self._busy_of = [of for _, of in busy]

    def excess(self, at_hz: float, reach_hz: float) -> tuple[float, float] | None:
        """Power of a line over its surroundings and the scatter of that, mean square.

        Summed over the line's bins and scaled so that the frame's length cancels.
        """
        step = self.s.step_hz
        first, last = round((at_hz - reach_hz) / step) - 1, round((at_hz + reach_hz) / step) + 1
        if first < 2 or last >= self.s.power.size - 2:
            return None
        window = slice(first, last + 1)
        floor = self.s.floor[window]
        noise = float(np.sqrt(np.sum(floor**2) / self.s.averages))
        scale = 2.0 / self.s.frame
        return float((self.s.power[window] - floor).sum()) * scale, noise * scale

    def reach(self, at_hz: float) -> float:
        """Half the width over which a line that turns spreads."""
        return at_hz * max(6e-4, 2.0 * self.turning.relative_error)

    def crowded(self, at: float, own: str) -> bool:
        """A line of another part stands too near to this frequency [Hz]."""
        near = 3.0 * self.s.step_hz + 1e-3 * at
        close = np.flatnonzero(np.abs(self._busy_hz - at) < near)
        return any(self._busy_of[i] != own for i in close)

    def line(self, at_hz: float, reach_hz: float) -> Value | None:
        excess = self.excess(at_hz, reach_hz)
        if excess is None:
            return None
        power, noise = excess
        return Value(float(db(max(power, noise))), power > _LINE * noise)

    def order(self, order: float) -> Value | None:
        at = order * self.turning.spindle_hz
        return self.line(at, self.reach(at))

    def mesh(self, order: float, harmonics: Sequence[int], own: str) -> Value | None:
        """Mean level of the mesh line and its harmonics.

        The mean of levels: in a room each line is raised or lowered by where the phone
        stands, and the mean over several scatters less than the strongest of them.
        """
        alone = [h for h in harmonics if not self.crowded(h * order * self.usual_hz, own)]
        members = [self.member(h * order) for h in alone]
        pairs = [one for one in members if one is not None]
        if not pairs:
            return None
        heard = any(power > _LINE * noise for power, noise in pairs)
        return Value(_mean_level(pairs), heard)

    def sidebands(
        self, order: float, shaft: float, harmonics: Sequence[int], own: str
    ) -> Value | None:
        """Mean level of the sidebands one shaft turn away, less that of their meshes.

        Only where they part from the mesh line and from other parts' lines, and below where
        bearings ring.
        """
        meshes: list[tuple[float, float]] = []
        sides: list[tuple[float, float]] = []
        for h in harmonics:
            at = h * order * self.usual_hz
            if h > 1 and at > CARRIER_HZ[0]:
                break  # up there the ringing of a bearing may lie between
            if self.crowded(
                at, own
            ) or shaft * self.usual_hz < 2.5 * self.s.step_hz + 2.0 * self.reach(at):
                continue
            line = self.member(h * order)
            places = [h * order + k * shaft for k in _SIDES]
            around = [self.member(o) for o in places if not self.crowded(o * self.usual_hz, own)]
            members = [one for one in around if one is not None]
            if line is None or not members:
                continue
            meshes += [line] * len(members)
            sides += members
        if not sides:
            return None
        noise = math.hypot(*(one[1] for one in sides))
        heard = sum(one[0] for one in sides) > _LINE * noise
        return Value(_mean_level(sides) - _mean_level(meshes), heard)

    def band(self, low_hz: float, high_hz: float) -> Value | None:
        """Power of the floor in a band, lines left out."""
        a, b = round(low_hz / self.s.step_hz), round(high_hz / self.s.step_hz)
        part = self.s.floor[a:b]
        if part.size < 0.5 * (b - a) or not part.size:
            return None
        return Value(float(db(float(np.mean(part)) * 2.0 / self.s.frame * part.size)), True)

    def member(self, order: float) -> tuple[float, float] | None:
        """Power of the line at an order, and the scatter of its noise."""
        at = order * self.turning.spindle_hz
        return self.excess(at, self.reach(at))


def _mean_level(pairs: Sequence[tuple[float, float]]) -> float:
    """Mean level [dB] of lines, each a power and the scatter of its noise.

    Twice the noise is added: what is hardly heard then scatters no more than what is.
    """
    return float(np.mean([db(max(power, 0.0) + 2.0 * noise) for power, noise in pairs]))


def _references(
    ruler: _Ruler, machine: Machine, items: Sequence[FollowedItem]
) -> dict[float, float]:
    """Mains lines that are heard and that no line of the machine comes near."""
    if machine.mains_hz is None:
        return {}
    busy = [item.at for item in items if item.part == "line"]
    for item in items:
        if item.part == "ray":
            busy.append(item.at * ruler.usual_hz)
        elif item.part.startswith("gear:"):
            busy += [h * item.at * ruler.usual_hz for h in (1, 2, 3, 4, 5, 6)]
    references = {}
    for multiple in range(2, int(_MAINS_TOP_HZ / machine.mains_hz) + 1):
        at = multiple * machine.mains_hz
        if any(abs(at - other) < max(2.0, 0.02 * at) for other in busy):
            continue
        line = ruler.line(at, max(0.05, 1e-3 * at))
        if line is not None and line.heard:
            references[float(multiple)] = line.value_db
    return references
