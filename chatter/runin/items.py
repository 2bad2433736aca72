"""What is followed from date to date.

Two sorts of values.  A *ratio* compares two things within one recording and near each other
in frequency, so that the phone's gain cancels: sidebands against their mesh line, the strikes
of a bearing against the hiss they are heard in.  A *level* is a line against the reference
lines of the same recording (mains hum, which no gear or bearing changes): it needs the same
phone at the same place, for microphones and rooms colour.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from chatter.job.machine import Machine
from chatter.runin.orders import (
    FAULTS,
    SLIP_HIGH,
    SLIP_LOW,
    fault_order,
    fault_words,
    mesh_order,
)
from chatter.runin.rays import Ray
from chatter.runin.turning import IdleSpeed

RATIO, LEVEL = "ratio", "level"


@dataclass(frozen=True)
class FollowedItem:
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
    low, high : float
        Range of the order, for bearings slip.
    """

    key: str
    title: str
    part: str
    sort: str
    at: float
    low: float = math.nan
    high: float = math.nan

    @property
    def strikes(self) -> bool:
        """It is what a pit in a bearing would strike."""
        return self.part.startswith("bearing:")


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
class ItemReadings:
    """All items of one recording of idling.

    Attributes
    ----------
    turning : IdleSpeed
    values : dict of str to Value
        By the item's key.  Levels are raw: dB re full scale.
    references : dict of float to float
        Mains lines heard, by multiple of the mains: level, dB re full scale.
    hidden : frozenset of str
        Items that something louder hides.
    combed : frozenset of str
        Those of them that lie on the comb of something else that turns.
    """

    turning: IdleSpeed
    values: dict[str, Value]
    references: dict[float, float]
    hidden: frozenset[str] = frozenset()
    combed: frozenset[str] = frozenset()


def items_of(machine: Machine, rays: Sequence[Ray] = ()) -> tuple[FollowedItem, ...]:
    """Everything to follow: what the card names, and what the survey found besides.

    Parameters
    ----------
    machine : Machine
    rays : sequence of Ray
        Rays that the card does not name and that are no mains lines.
    """
    items: list[FollowedItem] = []
    for gear in machine.gears:
        part, order = f"gear:{gear.name}", mesh_order(gear)
        items.append(
            FollowedItem(f"{part}:level", f"{gear.name}, level of its mesh", part, LEVEL, order)
        )
        title = f"{gear.name}, sidebands against its mesh"
        items.append(FollowedItem(f"{part}:sidebands", title, part, RATIO, order))
    items += _strikes(machine)
    for ray in rays:
        if ray.turns:
            title = f"line at {ray.at:.4g} x spindle"
            items.append(FollowedItem(f"ray:{ray.at:.4g}", title, "ray", LEVEL, ray.at))
        else:
            title = f"line that stays at {ray.at:.4g} Hz"
            items.append(FollowedItem(f"line:{ray.at:.4g}", title, "line", LEVEL, ray.at))
    items.append(FollowedItem("broad", "hiss from 1 to 8 kHz", "broad", LEVEL, math.nan))
    return tuple(items)


def _strikes(machine: Machine) -> list[FollowedItem]:
    """One item for each part of each bearing; parts that strike alike share one.

    Where two orders lie within each other's slip, the sound cannot tell them apart, and an
    item that named one of them would be wrong every other time.
    """
    single = []
    for bearing in machine.bearings:
        for fault in FAULTS:
            order = fault_order(bearing, fault)
            single.append((order * (1 + SLIP_LOW), order * (1 + SLIP_HIGH), bearing.name, fault))
    groups: list[list[tuple[float, float, str, str]]] = []
    for strike in sorted(single):
        if groups and strike[0] <= max(other[1] for other in groups[-1]):
            groups[-1].append(strike)
        else:
            groups.append([strike])
    items = []
    for group in groups:
        low, high = group[0][0], max(strike[1] for strike in group)
        names = list(dict.fromkeys(name for *_, name, _ in group))
        key = "+".join(f"{name}:{fault}" for *_, name, fault in group)
        what = " or ".join(f"{fault_words(fault)} of {name}" for *_, name, fault in group)
        if len(names) == 1:
            faults = " or ".join(fault_words(fault) for *_, fault in group)
            key = f"{names[0]}:{'+'.join(fault for *_, fault in group)}"
            title = f"{names[0]}, strikes of the {faults}"
        else:
            title = f"strikes of the {what}"
        part = f"bearing:{' or '.join(names)}"
        middle = high / (1 + SLIP_HIGH)
        items.append(FollowedItem(f"bearing:{key}", title, part, RATIO, middle, low, high))
    return items


def speed_orders(machine: Machine, items: Sequence[FollowedItem]) -> tuple[float, ...]:
    """Orders by which the true speed is heard: gear meshes, else rays of the survey."""
    meshes = [h * mesh_order(gear) for gear in machine.gears for h in (1, 2, 3, 4)]
    return tuple(meshes or [item.at for item in items if item.part == "ray"])
