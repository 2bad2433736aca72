"""Run: pairs are simulated, written, and measured as any two recordings would be."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

from chatter.comparing import CutterTakes, compare
from chatter.comparing.contrast import SideFeatures, common_bands, side_features, usable
from chatter.comparing.heard import Listened, hear_take
from chatter.comparing.take import measured_takes
from chatter.lab.evaluate.parallel import spread_calls, watched
from chatter.lab.pairs.draw import Drawn, draw_pair
from chatter.lab.simulate import simulate
from chatter.lab.simulate.codec import write_recording
from chatter.lab.simulate.recording import stated_job
from chatter.listening.front import taken_in


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
    ranges: str, sort: str, count: int, *, same_phone: bool = False, jobs: int = 0
) -> list[tuple[str, PairFeatures]]:
    """Features of both sides of so many pairs, for fitting the between-take terms.

    Of cutters that differ in rubbing two takes each are made: that gives two pairs that differ,
    and two of one and the same cut, one of them of the louder rubbing.

    Parameters
    ----------
    ranges : str
        "development" or "reporting".
    sort : str
        "identical" or "rubbing".
    count : int
        How many are drawn.
    same_phone : bool
        All takes of a draw with one phone in one room.
    jobs : int
        Processes; 0 means one per core.

    Returns
    -------
    list of (str, PairFeatures)
        "identical" or "rubbing", and the pair; in the order of the draws.
    """
    asked = [(ranges, sort, index, same_phone) for index in range(count)]
    made = watched(spread_calls(_drawn_features, asked, jobs=jobs), f"pairs: {sort}", count)
    return [pair for _, pairs in sorted(made, key=lambda one: one[0]) for pair in pairs]


def _drawn_features(
    ranges: str, sort: str, index: int, same_phone: bool
) -> tuple[int, list[tuple[str, PairFeatures]]]:
    takes = 2 if sort == "rubbing" else 1
    try:
        drawn = draw_pair(ranges, sort, index, takes=takes, same_phone=same_phone)
        with (
            tempfile.TemporaryDirectory(prefix="chatter-pairs-") as folder,
            ExitStack() as held,
        ):
            first, second = (
                [
                    hear_take(
                        held.enter_context(taken_in(path)),
                        stated_job(scene),
                        units="metric",
                        progress=None,
                    )
                    for path, scene in zip(paths, scenes, strict=True)
                ]
                for paths, scenes in zip(written(drawn, Path(folder)), drawn.sides, strict=True)
            )
            made = [(sort, pair) for pair in zip(first, second, strict=True)]
            if takes > 1:
                made += [("identical", pair) for pair in (first, second)]
            return index, [(of, _features_of(index, drawn.kind, pair)) for of, pair in made]
    except ValueError:  # no such cut can be: neither is there a recording of it
        return index, []


def _features_of(index: int, kind: str, pair: Sequence[Listened]) -> PairFeatures:
    measured = measured_takes(pair)
    if not all(usable(one) for one in measured):
        return PairFeatures(index, kind, None)
    bands = common_bands(measured)
    first, second = (side_features([one], bands) for one in measured)
    return PairFeatures(index, kind, (first, second))


@dataclass(frozen=True)
class PairOutcome:
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


def pair_outcomes(
    ranges: str,
    sort: str,
    count: int,
    *,
    takes: int = 1,
    same_phone: bool = False,
    first: int = 0,
    jobs: int = 0,
) -> list[PairOutcome]:
    """Compare so many pairs through the front door.

    Parameters
    ----------
    ranges, sort, takes, same_phone
        As for :func:`chatter.lab.pairs.draw.draw_pair`.
    count, first : int
        How many, and the index of the first.
    jobs : int
        Processes; 0 means one per core.
    """
    asked = [(ranges, sort, index, takes, same_phone) for index in range(first, first + count)]
    made = watched(spread_calls(pair_outcome, asked, jobs=jobs), f"pairs: {sort}", count)
    return sorted((one for one in made if one is not None), key=lambda one: one.index)


def pair_outcome(
    ranges: str, sort: str, index: int, takes: int, same_phone: bool
) -> PairOutcome | None:
    """Compare one pair; None when no such cut can be."""
    try:
        drawn = draw_pair(ranges, sort, index, takes=takes, same_phone=same_phone)
        with tempfile.TemporaryDirectory(prefix="chatter-pairs-") as folder:
            paths = written(drawn, Path(folder))
            cutters = [
                CutterTakes(
                    name, tuple((p, stated_job(s)) for p, s in zip(files, scenes, strict=True))
                )
                for name, files, scenes in zip(("first", "second"), paths, drawn.sides, strict=True)
            ]
            found = compare(cutters).comparison
    except ValueError:
        return None
    rubbing = next(one for one in found.differences if one.family == "rubbing")
    return PairOutcome(
        index,
        drawn.kind,
        drawn.processed,
        found.verdict,
        tuple(one.family for one in found.differences if one.said == "shown"),
        rubbing.difference_db,
        None if rubbing.difference_db is None else (rubbing.high_db - rubbing.low_db) / 2.0,
    )
