"""Cut: speed, feed, depth, material; Job = Machine + Cutter + Cut + Take."""

from __future__ import annotations

from dataclasses import dataclass, field

from chatter.job.cutter import Cutter
from chatter.job.machine import Machine


@dataclass(frozen=True)
class Observed:
    """A cut that was made earlier with this set-up: did it chatter?"""

    depth_m: float
    speed_rev_min: float
    chatters: bool


@dataclass(frozen=True)
class Cut:
    """What is being cut, and how."""

    speed_rev_min: float
    material: str | None = None  # a key of the cutting-data tables
    depth_m: float | None = None  # radial depth for a disc cutter (slot depth), axial for end mills
    width_m: float | None = None  # width of cut across the other direction
    feed_m_s: float | None = None  # table feed
    direction: str | None = None  # "conventional" (up) or "climb" (down)
    purpose: str | None = None  # "roughing" or "finishing"
    length_m: float | None = None
    overhang_m: float | None = None  # distance from the nearest support of arbor or work
    observed: tuple[Observed, ...] = ()  # what earlier cuts with this set-up did


@dataclass(frozen=True)
class Take:
    """What the machinist says of the recording itself."""

    span_s: tuple[float, float] | None = None  # only judge this span
    idle_path: str | None = None  # a recording of the same machine running idle
    taps_path: str | None = None  # what ``chatter tap --json`` wrote for this set-up
    simulated: bool = False  # the recording is made by ``chatter.lab.simulate``


@dataclass(frozen=True)
class Job:
    """Everything the machinist states."""

    cutter: Cutter
    cut: Cut
    machine: Machine = field(default_factory=Machine)
    take: Take = field(default_factory=Take)

    @property
    def chip_load_m(self) -> float | None:
        """Feed per tooth [m], None when no feed is stated."""
        if self.cut.feed_m_s is None:
            return None
        return self.cut.feed_m_s * 60.0 / (self.cut.speed_rev_min * self.cutter.teeth)
