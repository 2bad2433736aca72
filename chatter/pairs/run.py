"""Run: pairs are simulated, written, and measured as any two recordings would be."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from chatter.compare import CutterTakes, compare
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


def written(drawn: Drawn, folder: Path) -> list[list[Path]]:
    """Simulate and write all takes.  Raises ValueError where a cut tears itself out."""
    made: list[list[Path]] = []
    for side, scenes in enumerate(drawn.sides):
        made.append([])
        for take, scene in enumerate(scenes):
            signal, rate_hz, _ = simulate(scene, drawn.chance(side, take))
            stem = folder / f"side-{side}-take-{take}"
            path, _ = write_recording(stem, signal, rate_hz, scene.format)
            made[side].append(path)
    return made


def pair_features(
    ranges: str, sort: str, count: int, *, same_phone: bool = False
) -> Iterator[PairFeatures]:
    """Features of both sides of so many pairs, for fitting the between-take terms.

    Parameters
    ----------
    ranges : str
        "development" or "reporting".
    sort : str
        "identical" or "rubbing".
    count : int
    same_phone : bool
        Both takes of a pair with one phone in one room.
    """
    for index in range(count):
        try:
            drawn = draw_pair(ranges, sort, index, same_phone=same_phone)
            with tempfile.TemporaryDirectory(prefix="chatter-pairs-") as folder:
                takes = [
                    hear(path, stated_job(scenes[0]), units="metric", progress=None)
                    for (path,), scenes in zip(
                        written(drawn, Path(folder)), drawn.sides, strict=True
                    )
                ]
                measured = measured_takes(takes)
        except ValueError:  # no such cut can be: neither is there a recording of it
            continue
        sides = None
        if all(usable(one) for one in measured):
            bands = common_bands(measured)
            sides = tuple(side_features([one], bands) for one in measured)
        yield PairFeatures(index, drawn.kind, sides)


@dataclass(frozen=True)
class Outcome:
    """What a comparison said of one pair."""

    index: int
    kind: str
    processed: bool  # a phone with automatic gain or noise suppression
    verdict: str
    shown: tuple[str, ...]  # families claimed to differ
    rubbing_db: float | None
    rubbing_half_db: float | None

    @property
    def found(self) -> bool:
        """Whether more rubbing was shown on the second side."""
        return "rubbing" in self.shown and (self.rubbing_db or 0.0) > 0.0


def outcomes(
    ranges: str, sort: str, count: int, *, takes: int = 1, same_phone: bool = False, first: int = 0
) -> Iterator[Outcome]:
    """Compare so many pairs through the front door.

    Parameters
    ----------
    ranges, sort, takes, same_phone
        As for :func:`chatter.pairs.draw.draw_pair`.
    count, first : int
        How many, and the index of the first.
    """
    for index in range(first, first + count):
        try:
            drawn = draw_pair(ranges, sort, index, takes=takes, same_phone=same_phone)
            with tempfile.TemporaryDirectory(prefix="chatter-pairs-") as folder:
                paths = written(drawn, Path(folder))
                cutters = [
                    CutterTakes(
                        name, tuple((p, stated_job(s)) for p, s in zip(files, scenes, strict=True))
                    )
                    for name, files, scenes in zip(
                        ("first", "second"), paths, drawn.sides, strict=True
                    )
                ]
                found = compare(cutters).comparison
        except ValueError:  # no such cut can be: neither is there a recording of it
            continue
        rubbing = next(one for one in found.differences if one.family == "rubbing")
        yield Outcome(
            index,
            drawn.kind,
            drawn.processed,
            found.verdict,
            tuple(one.family for one in found.differences if one.said == "shown"),
            rubbing.difference_db,
            None if rubbing.difference_db is None else (rubbing.high_db - rubbing.low_db) / 2.0,
        )


def measured_takes(takes: list[Listened]) -> list[Measured]:
    """Both takes measured, the speed heard in one helping the other."""
    tones = tones_of(takes)
    heard = [t.speed_rev_min for t in takes if t.speed_rev_min is not None]
    speed = float(np.median(heard)) if heard else None
    fastest = fastest_of(takes)
    return [measure(t, tones, fastest_hz=fastest, speed_rev_min=speed) for t in takes]
