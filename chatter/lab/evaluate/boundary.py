"""Boundary: do the verdicts trace the stability boundary of a published milling benchmark?

Benchmark: T. Insperger, G. Stepan, "Updated semi-discretization method for periodic
delay-differential equations with discrete delay", Int. J. Numer. Meth. Engng 61 (2004)
117-141: one mode in the feed direction (0.03993 kg, 922 Hz, damping 0.011), Kt = 6e8 and
Kn = 2e8 N/m2, two straight teeth, down-milling.  Every cell of a grid of speed and depth is
simulated in the time domain with noise, sounded through room and phone, and listened to; the
boundary is worked out by ``chatter.trade.semidiscretization``, which shares no code with the
simulator and is checked against converged limits elsewhere.
"""

from __future__ import annotations

import math
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from chatter.lab.evaluate.matching import match_passes
from chatter.lab.evaluate.outcome import recording_outcome
from chatter.lab.evaluate.parallel import spread_calls, watched
from chatter.lab.simulate import Scene, simulate
from chatter.lab.simulate.codec import write_recording
from chatter.lab.simulate.cutting import Metal, Teeth
from chatter.lab.simulate.scene import (
    MachineNoise,
    MachinistStatement,
    PassPlan,
    Phone,
    Radiation,
    SimulatedRoom,
)
from chatter.lab.simulate.structure import StructureMode

MASS_KG, MODE_HZ, DAMPING = 0.03993, 922.0, 0.011
KT_N_M2, KN_N_M2 = 6e8, 2e8
STIFFNESS_N_M = MASS_KG * (2 * math.pi * MODE_HZ) ** 2
IMMERSIONS = (1.0, 0.5, 0.1)
#: Share of depth within which a limit makes a cell doubtful: drift and noise move it as far.
NEAR = 0.1
_DEEPEST_M = 0.05


@dataclass(frozen=True)
class Cell:
    """One cut of the grid."""

    immersion: float  # radial, over diameter
    rev_min: float
    depth_m: float
    should: bool  # the benchmark chatters there
    near: bool  # a tenth more or less depth changes that: either answer can be defended
    verdict: str
    chatter: bool  # chatter was named
    probability: float  # of chatter

    @property
    def answered(self) -> bool:
        """There is a verdict."""
        return self.verdict != "cannot_tell"


@dataclass(frozen=True)
class Grid:
    """The whole grid with its figures."""

    cells: tuple[Cell, ...]
    curves: dict[float, tuple[tuple[float, float], ...]]  # immersion -> (rev/min, limit [m])
    agreement: float  # of the answered cells away from the limit
    coverage: float
    about: str
    sentence: str


def boundary(*, jobs: int = 0, quick: bool = False) -> Grid:
    """Listen to the grid.

    Parameters
    ----------
    jobs : int
        Processes; 0 means one per core.
    quick : bool
        A coarse grid of one immersion.
    """
    immersions = IMMERSIONS[1:2] if quick else IMMERSIONS
    speeds = np.geomspace(5000, 25_000, 8 if quick else 17)
    curves = {a: _curve(a, np.geomspace(5000, 25_000, 61 if quick else 161)) for a in immersions}
    cuts = []
    for immersion in immersions:
        least = min(limit for _, limit in curves[immersion])
        depths = np.geomspace(0.6 * least, 9.0 * least, 6 if quick else 10)
        cuts += [(immersion, float(n), float(b)) for n in speeds for b in depths]
    work = [(*cut, at) for at, cut in enumerate(cuts)]
    cells = tuple(sorted(
        watched(spread_calls(cell_of, work, jobs=jobs), "boundary", len(work)),
        key=lambda c: (c.immersion, c.rev_min, c.depth_m),
    ))  # fmt: skip
    sure = [c for c in cells if not c.near]
    told = [c for c in sure if c.answered]
    agreement = sum(c.chatter == c.should for c in told) / max(len(told), 1)
    coverage = len(told) / max(len(sure), 1)
    return Grid(
        cells,
        curves,
        agreement,
        coverage,
        (__doc__ or "").split("\n\n", 1)[1].replace("``", "").replace("\n", " ").strip(),
        f"Away from the limit by {100 * NEAR:.0f} % or more, {100 * coverage:.1f} % of "
        f"{len(sure)} cuts got an answer; of these answers {100 * agreement:.1f} % agree with the "
        f"published boundary ({len(cells) - len(sure)} cuts nearer to it are left out).",
    )


def _benchmark(immersion: float):
    from chatter.trade.semidiscretization import Milling
    from chatter.trade.zero_order import Oscillator

    return Milling(
        Oscillator(MODE_HZ, DAMPING, STIFFNESS_N_M),
        (0.5, 0.5),
        math.acos(2 * immersion - 1),
        math.pi,
        KT_N_M2,
        KN_N_M2,
    )


def limit_m(immersion: float, rev_min: float) -> float:
    """Smallest depth at which the benchmark becomes unstable [m]; inf when above 50 mm."""
    from chatter.trade.semidiscretization import depth_limit

    return depth_limit(_benchmark(immersion), rev_min, ceiling_m=_DEEPEST_M)[0]


def unstable(immersion: float, rev_min: float, depths_m: Sequence[float]) -> list[bool]:
    """Whether the benchmark chatters, asked at each depth (it may calm down beyond a limit)."""
    from chatter.trade.semidiscretization import Stepper

    radii = Stepper(_benchmark(immersion), rev_min).radii(np.array(depths_m))
    return [bool(one) for one in np.abs(radii) > 1.0]


def _curve(immersion: float, speeds: np.ndarray) -> tuple[tuple[float, float], ...]:
    return tuple((float(n), limit_m(immersion, float(n))) for n in speeds)


def scene_of(immersion: float, rev_min: float, depth_m: float) -> Scene:
    """The benchmark as a scene: idling, one pass of down-milling, idling."""
    arc = (math.pi - math.acos(2 * immersion - 1)) / (2 * math.pi)
    return Scene(
        kind="benchmark", regime="end_mill", form="end_mill", material="aluminium",
        diameter_m=0.0127, immersion=immersion,
        teeth=Teeth((0.0, 0.5), (0.0, 0.0), (1.0, 1.0)),
        metal=Metal(KT_N_M2, KN_N_M2 / KT_N_M2, 0.0, 0.0, 0.03, 0.03, 0.0),
        modes=(StructureMode(MODE_HZ, DAMPING, STIFFNESS_N_M, 0.0),),
        rev_min=rev_min, droop=0.0, wander=3e-4,
        passes=(PassPlan(1.0, 3.5, "climb", arc, depth_m, 1e-4, 0.3, 0.1),),
        duration_s=4.3,
        radiation=Radiation(0.0, -8.0, 40, (180.0, 11_000.0), (0.004, 0.04), -1.5),
        machine=MachineNoise(-22.0, (31.0, 47.0), 24.3, (3.6,), 50.0, -8.0, 0.0, 0.0),
        rub=None, room=SimulatedRoom(0.3, -6.0), phone=Phone(48_000, 100.0, 2, 0.0, -70.0, 0.6),
        stated=MachinistStatement(round(rev_min, -1), 2),
    )  # fmt: skip


def cell_of(immersion: float, rev_min: float, depth_m: float, seed: int) -> Cell:
    """Simulate, sound and hear one cut."""
    from chatter.listening.front import listen

    scene = scene_of(immersion, rev_min, depth_m)
    signal, rate_hz, truth = simulate(scene, seed)
    with tempfile.TemporaryDirectory(prefix="chatter-boundary-") as folder:
        path, _ = write_recording(Path(folder) / "cut", signal, rate_hz, scene.format)
        heard = listen(path, truth.job)
    pairs = match_passes(recording_outcome(0, truth, heard, make_s=0.0, listen_s=0.0)).pairs
    one = pairs[0][1] if pairs else None
    should, less, more = unstable(
        immersion, rev_min, (depth_m, (1 - NEAR) * depth_m, (1 + NEAR) * depth_m)
    )
    return Cell(
        immersion, rev_min, depth_m, should, less != more,
        one.verdict if one else "cannot_tell",
        one is not None and one.verdict != "cannot_tell" and "chatter" in (one.verdict, *one.also),
        one.probabilities["chatter"] if one else math.nan,
    )  # fmt: skip


def boundary_lines(grid: Grid) -> str:
    """Figures as text, in all and by immersion."""
    lines = [grid.sentence]
    for immersion in grid.curves:
        sure = [c for c in grid.cells if c.immersion == immersion and not c.near]
        told = [c for c in sure if c.answered]
        beyond = [c for c in told if c.should]
        below = [c for c in told if not c.should]
        lines.append(
            f"radial immersion {immersion:g}: {len(sure)} cuts, {len(told)} answered; beyond the "
            f"limit chatter named in {sum(c.chatter for c in beyond)} of {len(beyond)}, below it "
            f"in {sum(c.chatter for c in below)} of {len(below)}"
        )
    return "\n".join(lines)


def boundary_svg(grid: Grid) -> str:
    """Verdicts as dots over speed and depth, with the published boundary."""
    from chatter.lab.evaluate.drawing import as_svg, drawing
    from chatter.report.line_drawing import BAD, DIM, GOOD, INK

    many = len(grid.curves)
    with drawing(3.9, 0.5 + 2.4 * many) as (figure, first):
        first.remove()
        panels = figure.subplots(many, 1, sharex=True, squeeze=False)[:, 0]
        for axes, (immersion, curve) in zip(panels, grid.curves.items(), strict=True):
            speed, limit = np.array(curve).T
            axes.plot(speed, 1e3 * limit, color=INK, lw=1.1)
            cells = [c for c in grid.cells if c.immersion == immersion]
            for some, marker, colour, face in (
                ([c for c in cells if c.chatter], "o", BAD, BAD),
                ([c for c in cells if c.answered and not c.chatter], "o", GOOD, "none"),
                ([c for c in cells if not c.answered], "x", DIM, DIM),
            ):
                axes.scatter(
                    [c.rev_min for c in some], [1e3 * c.depth_m for c in some], s=15,
                    marker=marker, edgecolors=colour if marker == "o" else None, facecolors=face,
                    lw=1.0, zorder=3,
                )  # fmt: skip
            depths = [1e3 * c.depth_m for c in cells]
            axes.set(xscale="log", yscale="log", ylim=(0.8 * min(depths), 1.25 * max(depths)))
            axes.set_title(
                f"radial immersion {immersion:g} of the diameter", loc="left",
                fontsize=8, color=INK,
            )  # fmt: skip
            ticks = [d for d in (0.2, 0.5, 1, 2, 5, 10) if min(depths) < d < max(depths)]
            axes.set_yticks(ticks, [f"{d:g}" for d in ticks])
            axes.set_xticks([5000, 10_000, 20_000], ["5 000", "10 000", "20 000"])
            axes.minorticks_off()
            axes.set_ylabel("depth [mm]")
        panels[-1].set_xlabel("spindle speed [rev/min]")
        return as_svg(figure, "Verdicts and the published boundary", grid.sentence)
