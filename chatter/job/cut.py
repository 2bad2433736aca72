"""Cut: speed, feed, depth, material; Job = Machine + Cutter + Cut + Take."""

from __future__ import annotations

from dataclasses import dataclass, field

from chatter.job.cutter import BORED_OR_TURNED, Cutter
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
    work_diameter_m: float | None = None  # turned or bored: the diameter that is being cut
    blade_speed_m_s: float | None = None  # of a band saw


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
    def cut_diameter_m(self) -> float | None:
        """Diameter [m] on which the edge runs, None when it is not stated."""
        return cut_diameter_m(self.cutter, self.cut.work_diameter_m)

    @property
    def chip_load_m(self) -> float | None:
        """Feed per tooth [m], None when no feed is stated."""
        if self.cut.feed_m_s is None:
            return None
        return self.cut.feed_m_s * 60.0 / (self.cut.speed_rev_min * self.cutter.teeth)


def cut_diameter_m(cutter: Cutter, work_diameter_m: float | None) -> float | None:
    """Diameter [m] that sets the cutting speed.

    A rotating cutter's own; in turning, parting and boring that of the work or the bore, never
    that of the tool or the bar; None for a band saw.
    """
    if cutter.form == "band_saw":
        return None
    return work_diameter_m if cutter.form in BORED_OR_TURNED else cutter.diameter_m
