"""What is followed from date to date, and its value in one recording of idling.

Two sorts of values.  A *ratio* compares two things within one recording and near each other
in frequency, so that the phone's gain cancels: sidebands against their mesh line, the strikes
of a bearing against the hiss they are heard in.  A *level* is a line against the reference
lines of the same recording (mains hum, which no gear or bearing changes): it needs the same
phone at the same place, for microphones and rooms colour.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from chatter.job.machine import Machine
from chatter.runin.idle import IdleSound, MeanSpectrum
from chatter.runin.orders import (
    FAULTS,
    MESH_HARMONICS,
    SLIP_HIGH,
    SLIP_LOW,
    fault_order,
    fault_words,
    mesh_order,
)
from chatter.runin.rays import Ray
from chatter.runin.turning import Turning
from chatter.sound.spectrum import db

RATIO, LEVEL = "ratio", "level"
_BROAD_HZ = (1000.0, 8000.0)
#: Multiples of the mains that stay whatever the machine does, up to this frequency.
_MAINS_TOP_HZ = 1000.0
#: Chance that noise alone is taken for a sideband family or a bearing's strikes.
_HEARD = 1e-3


@dataclass(frozen=True)
class Item:
    """Something that is followed.

    Attributes
    ----------
    key : str
        "gear:NAME:sidebands", "bearing:NAME:outer", "ray:12.5", "line:98.2", "broad".
    title : str
        For people.
    part : str
        What it belongs to: "gear:NAME", "bearing:NAME", "ray", "line", "broad".
    sort : str
        RATIO or LEVEL.
    at : float
        Order, or frequency [Hz] of a line that stays.
    """

    key: str
    title: str
    part: str
    sort: str
    at: float


@dataclass(frozen=True)
class Value:
    """An item in one recording.

    Attributes
    ----------
    value_db : float
    heard : bool
        It stands out of the noise of its own recording.
    """

    value_db: float
    heard: bool


@dataclass(frozen=True)
class Measured:
    """All items of one recording of idling.

    Attributes
    ----------
    turning : Turning
    values : dict of str to Value
        By the item's key.  Levels are raw: dB re full scale.
    references : dict of float to float
        Mains lines heard, by multiple of the mains: level, dB re full scale.
    """

    turning: Turning
    values: dict[str, Value]
    references: dict[float, float]


def items_of(machine: Machine, rays: Sequence[Ray] = ()) -> tuple[Item, ...]:
    """Everything to follow: what the card names, and what the survey found besides.

    Parameters
    ----------
    machine : Machine
    rays : sequence of Ray
        Rays that the card does not name and that are no mains lines.
    """
    found: list[Item] = []
    for gear in machine.gears:
        part, order = f"gear:{gear.name}", mesh_order(gear)
        found.append(Item(f"{part}:level", f"{gear.name}, level of its mesh", part, LEVEL, order))
        title = f"{gear.name}, sidebands against its mesh"
        found.append(Item(f"{part}:sidebands", title, part, RATIO, order))
    for bearing in machine.bearings:
        part = f"bearing:{bearing.name}"
        for fault in FAULTS:
            title = f"{bearing.name}, strikes of the {fault_words(fault)}"
            found.append(Item(f"{part}:{fault}", title, part, RATIO, fault_order(bearing, fault)))
    for ray in rays:
        if ray.turns:
            title = f"line at {ray.at:.3g} x spindle"
            found.append(Item(f"ray:{ray.at:.4g}", title, "ray", LEVEL, ray.at))
        else:
            title = f"line that stays at {ray.at:.4g} Hz"
            found.append(Item(f"line:{ray.at:.4g}", title, "line", LEVEL, ray.at))
    found.append(Item("broad", "hiss from 1 to 8 kHz", "broad", LEVEL, math.nan))
    return tuple(found)


def speed_orders(machine: Machine, items: Sequence[Item]) -> tuple[float, ...]:
    """Orders by which the true speed is heard: gear meshes, else rays of the survey."""
    meshes = [h * mesh_order(gear) for gear in machine.gears for h in (1, 2, 3, 4)]
    return tuple(meshes or [item.at for item in items if item.part == "ray"])


def measure(idle: IdleSound, turning: Turning, machine: Machine, items: Sequence[Item]) -> Measured:
    """The value of every item in one recording; what cannot be had is left out.

    Parameters
    ----------
    idle : IdleSound
    turning : Turning
        Items that turn are left out when the speed was not heard.
    machine : Machine
    items : sequence of Item
    """
    ruler = _Ruler(idle.sound, turning)
    ratios = {gear.name: gear.ratio for gear in machine.gears}
    values: dict[str, Value] = {}
    if turning.heard:
        values |= _all_strikes(idle, turning, machine, items)
    for item in items:
        name = item.part.partition(":")[2]
        value: Value | None = None
        if item.part == "broad":
            value = ruler.band(*_BROAD_HZ)
        elif item.part == "line":
            value = ruler.line(item.at, item.at * 1.5e-3)
        elif not turning.heard:
            continue
        elif item.part == "ray":
            value = ruler.order(item.at)
        elif item.sort == LEVEL:
            value = ruler.mesh(item.at)
        elif item.part.startswith("gear:"):
            value = ruler.sidebands(item.at, ratios[name])
        if value is not None and math.isfinite(value.value_db):
            values[item.key] = value
    return Measured(turning, values, _references(ruler, machine, items))


class _Ruler:
    """Reads powers out of one mean spectrum."""

    def __init__(self, spectrum: MeanSpectrum, turning: Turning) -> None:
        self.s, self.turning = spectrum, turning

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

    def line(self, at_hz: float, reach_hz: float) -> Value | None:
        found = self.excess(at_hz, reach_hz)
        if found is None:
            return None
        power, noise = found
        return Value(float(db(max(power, noise))), power > 4.0 * noise)

    def order(self, order: float) -> Value | None:
        at = order * self.turning.spindle_hz
        return self.line(at, self.reach(at))

    def mesh(self, order: float) -> Value | None:
        """Mesh line with its harmonics, those that can be heard."""
        found = [self._member(h * order) for h in MESH_HARMONICS]
        pairs = [one for one in found if one is not None]
        if not pairs:
            return None
        power = sum(one[0] for one in pairs)
        noise = math.sqrt(sum(one[1] ** 2 for one in pairs))
        return Value(float(db(max(power, noise))), power > 4.0 * noise)

    def sidebands(self, order: float, shaft: float) -> Value | None:
        """Sidebands one and two shaft turns away, against their mesh lines.

        Only where they part from the mesh line; never less than what noise would give.
        """
        spindle = self.turning.spindle_hz
        mesh = side = noise = 0.0
        for h in MESH_HARMONICS:
            at = h * order * spindle
            apart = shaft * spindle
            if apart < 2.5 * self.s.step_hz + 2.0 * self.reach(at):
                continue
            own = self._member(h * order)
            around = [self._member(h * order + k * shaft) for k in (-2, -1, 1, 2)]
            if own is None or any(one is None for one in around):
                continue
            if own[0] < 8.0 * own[1]:
                continue  # no mesh line, nothing to be beside
            mesh += own[0]
            side += sum(one[0] for one in around)  # type: ignore[index]
            noise = math.hypot(noise, *(one[1] for one in around))  # type: ignore[index]
        if mesh <= 0.0:
            return None
        return Value(float(db(max(side, noise) / mesh)), side > 4.0 * noise)

    def band(self, low_hz: float, high_hz: float) -> Value | None:
        """Median power in a band, lines left out."""
        a, b = round(low_hz / self.s.step_hz), round(high_hz / self.s.step_hz)
        part = self.s.floor[a:b]
        if part.size < 0.5 * (b - a) or not part.size:
            return None
        return Value(float(db(float(np.mean(part)) * 2.0 / self.s.frame * part.size)), True)

    def _member(self, order: float) -> tuple[float, float] | None:
        at = order * self.turning.spindle_hz
        return self.excess(at, self.reach(at))


@dataclass(frozen=True)
class _Found:
    """Strikes at the place where an envelope holds most of them."""

    value: Value
    strength: float  # ratio to the level of chance
    order: float


def _all_strikes(
    idle: IdleSound, turning: Turning, machine: Machine, items: Sequence[Item]
) -> dict[str, Value]:
    """Strikes of every part of every bearing, the loudest first.

    A loud pit has many harmonics, with copies one turn of its shaft (or cage) beside them:
    they are masked where the others are looked for, so that one bad bearing does not make
    all of them bad.
    """
    shafts = {bearing.name: bearing.ratio for bearing in machine.bearings}
    waiting = [i for i in items if i.part.startswith("bearing:") and i.sort == RATIO]
    masked = np.zeros(idle.envelope.power.size, bool)
    step = idle.envelope.step_hz
    for ratio in {1.0, *shafts.values(), *(gear.ratio for gear in machine.gears)}:
        _mask(masked, step, ratio * turning.spindle_hz, reach=lambda _f: 1.6 * step)
    values: dict[str, Value] = {}
    while waiting:
        found = {i.key: _strikes(idle.envelope, turning.spindle_hz, i.at, masked) for i in waiting}
        waiting = [i for i in waiting if found[i.key] is not None]
        if not waiting:
            break
        loudest = max(waiting, key=lambda i: found[i.key].strength)  # type: ignore[union-attr]
        if found[loudest.key].strength < 1.0:  # type: ignore[union-attr]
            values |= {i.key: found[i.key].value for i in waiting}  # type: ignore[union-attr]
            break
        values[loudest.key] = found[loudest.key].value  # type: ignore[union-attr]
        waiting.remove(loudest)
        base = found[loudest.key].order * turning.spindle_hz  # type: ignore[union-attr]
        shaft = shafts[loudest.part.partition(":")[2]] * turning.spindle_hz
        for beside in (0.0, shaft, -shaft):
            _mask(masked, step, base, reach=lambda f: 1.6 * step + 4e-3 * f, beside=beside)
    return values


def _mask(
    masked: np.ndarray,
    step_hz: float,
    base_hz: float,
    *,
    reach: Callable[[float], float],
    beside: float = 0.0,
) -> None:
    """Mask the first twelve multiples of a frequency, or the places ``beside`` them."""
    for k in range(1, 13):
        f = k * base_hz + beside
        first = max(0, int(np.ceil((f - reach(f)) / step_hz)))
        masked[first : max(first, int(np.floor((f + reach(f)) / step_hz)) + 1)] = True


def _strikes(
    envelope: MeanSpectrum, spindle_hz: float, order: float, masked: np.ndarray
) -> _Found | None:
    """Strikes at ``order`` in the envelope of the hiss: mean over three harmonics, dB re floor.

    At the one slip, within what bearings have, where the three are strongest together.
    """
    step = envelope.step_hz
    slips = np.arange(SLIP_LOW, SLIP_HIGH, 1e-3)
    ratio = np.where(masked, np.nan, envelope.power / envelope.floor)
    rows, bins = [], 0
    for h in (1, 2, 3):
        at = h * order * (1 + slips) * spindle_hz / step
        if at[-1] >= ratio.size - 2 or at[0] < 3.0:
            break
        place = np.round(at).astype(int)
        rows.append(np.fmax(np.fmax(ratio[place - 1], ratio[place]), ratio[place + 1]))
        bins += int(np.isfinite(ratio[place[0] - 1 : place[-1] + 2]).sum())
    if not rows:
        return None
    each = np.array(rows)
    there = np.isfinite(each).sum(axis=0)
    if there.max() == 0:
        return None
    mean = np.where(there == there.max(), np.nansum(each, axis=0) / np.maximum(there, 1), -1.0)
    best = int(np.argmax(mean))
    limit = envelope.significant(_HEARD, bins=max(1, bins))
    strength = float(np.nanmax(each[:, best])) / limit
    value = Value(float(db(float(mean[best]))), strength > 1.0)
    return _Found(value, strength, order * (1 + float(slips[best])))


def _references(ruler: _Ruler, machine: Machine, items: Sequence[Item]) -> dict[float, float]:
    """Mains lines that are heard and that no line of the machine comes near."""
    if machine.mains_hz is None:
        return {}
    spindle = ruler.turning.spindle_hz
    busy = [item.at for item in items if item.part == "line"]
    for item in items:
        if item.part == "ray":
            busy.append(item.at * spindle)
        elif item.part.startswith("gear:"):
            busy += [h * item.at * spindle for h in (1, 2, 3, 4, 5, 6)]
    found = {}
    for multiple in range(2, int(_MAINS_TOP_HZ / machine.mains_hz) + 1):
        at = multiple * machine.mains_hz
        if any(abs(at - other) < max(2.0, 0.01 * at) for other in busy):
            continue
        line = ruler.line(at, max(0.05, 1e-3 * at))
        if line is not None and line.heard:
            found[float(multiple)] = line.value_db
    return found
