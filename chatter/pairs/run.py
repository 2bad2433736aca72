"""Run: pairs are simulated, written, and measured as any two recordings would be."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from chatter.compare.contrast import SideFeatures, common_bands, side_features, usable
from chatter.compare.take import Listened, Measured, fastest_of, hear, measure, tones_of
from chatter.pairs.draw import Drawn, draw_pair
from chatter.simulate import simulate
from chatter.simulate.codec import write_recording
from chatter.simulate.recording import stated_job


@dataclass(frozen=True)
class PairFeatures:
    """Both sides' features of one pair; None where a side could not be measured."""

    index: int
    kind: str
    sides: tuple[SideFeatures, SideFeatures] | None


def written(drawn: Drawn, folder: Path) -> list[Path]:
    """Simulate and write both takes.  Raises ValueError where a cut tears itself out."""
    paths = []
    for side, scene in enumerate(drawn.scenes):
        signal, rate_hz, _ = simulate(scene, drawn.chance(side))
        path, _ = write_recording(folder / f"take-{side}", signal, rate_hz, scene.format)
        paths.append(path)
    return paths


def pair_features(ranges: str, sort: str, count: int) -> Iterator[PairFeatures]:
    """Features of both sides of so many pairs, for fitting the between-take terms.

    Parameters
    ----------
    ranges : str
        "development" or "reporting".
    sort : str
        "identical" or "rubbing".
    count : int
    """
    for index in range(count):
        try:
            drawn = draw_pair(ranges, sort, index)
            with tempfile.TemporaryDirectory(prefix="chatter-pairs-") as folder:
                takes = [
                    hear(path, stated_job(scene), units="metric", progress=None)
                    for path, scene in zip(written(drawn, Path(folder)), drawn.scenes, strict=True)
                ]
                measured = measured_takes(takes)
        except ValueError:  # no such cut can be: neither is there a recording of it
            continue
        sides = None
        if all(usable(one) for one in measured):
            bands = common_bands(measured)
            sides = tuple(side_features([one], bands) for one in measured)
        yield PairFeatures(index, drawn.scenes[0].kind, sides)


def measured_takes(takes: list[Listened]) -> list[Measured]:
    """Both takes measured, the speed heard in one helping the other."""
    tones = tones_of(takes)
    heard = [t.speed_rev_min for t in takes if t.speed_rev_min is not None]
    speed = float(np.median(heard)) if heard else None
    fastest = fastest_of(takes)
    return [measure(t, tones, fastest_hz=fastest, speed_rev_min=speed) for t in takes]
