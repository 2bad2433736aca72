"""The front door of a comparison: cutters with their recordings in, a comparison out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import numpy as np

from chatter.comparing.asides import one_machine, with_asides
from chatter.comparing.conditions import Stand, one_sort, warnings
from chatter.comparing.contrast import common_bands, side_features, usable
from chatter.comparing.decide import differences, rankings
from chatter.comparing.features import columns
from chatter.comparing.heard import Listened, hear_take
from chatter.comparing.results import SCHEMA_VERSION, Comparison
from chatter.comparing.sides import side_report
from chatter.comparing.take import MeasuredTake, measured_takes, tones_of
from chatter.comparing.words import comparison_summary
from chatter.errors import JobError
from chatter.job.cut import Job
from chatter.listening.front import shared_out, taken_in
from chatter.listening.stamp import made_by

Progress = Callable[[float, str], None]


@dataclass(frozen=True)
class CutterTakes:
    """One cutter: its name, its recordings with the job each was made on, and how they were made.

    ``stands`` holds what is stated of phone and place, of any of the takes.
    """

    name: str
    takes: tuple[tuple[Path, Job], ...]
    stands: tuple[Stand, ...] = ()


@dataclass(frozen=True)
class Compared:
    """What a comparison yields: the data, and what was listened to, for the pictures."""

    comparison: Comparison
    listened: tuple[tuple[Listened, ...], ...]


def compare(
    cutters: Sequence[CutterTakes], *, units: str = "metric", progress: Progress | None = None
) -> Compared:
    """Compare two or more cutters by recordings of the same job.

    Parameters
    ----------
    cutters : sequence of CutterTakes
        The first is what the others are held against.
    units : str
        "metric" or "inch", for quantities in sentences.
    progress : callable, optional
        Called with the share done (0..1) and what is being done.

    Returns
    -------
    Compared

    Raises
    ------
    JobError
        Fewer than two cutters, one without recordings, or two of one name.
    RecordingError
        A file cannot be heard.
    """
    _check(cutters)
    say = progress or (lambda _share, _what: None)
    count = sum(len(cutter.takes) for cutter in cutters)
    done = 0
    listened: list[tuple[Listened, ...]] = []
    with ExitStack() as held:  # what is measured in one take depends on what is heard in all
        for cutter in cutters:
            mine = []
            for path, job in cutter.takes:
                base = 0.7 * done / count
                reading, judging = shared_out(partial(_further, say, base, 0.7 / count))
                sound = held.enter_context(taken_in(path, progress=reading))
                mine.append(hear_take(sound, job, units=units, progress=judging))
                done += 1
            listened.append(tuple(mine))
        every = measured_takes(
            [take for side in listened for take in side],
            progress=lambda share, what: say(0.7 + 0.25 * share, what),
        )
    rest = iter(every)
    measured = [[next(rest) for _ in side] for side in listened]
    say(0.96, "comparing")
    comparison = _compared(cutters, listened, measured, units)
    say(1.0, "done")
    return Compared(comparison, tuple(listened))


def _check(cutters: Sequence[CutterTakes]) -> None:
    if len(cutters) < 2:
        raise JobError("Only one cutter is given: name the recordings of at least two.")
    for cutter in cutters:
        if not cutter.takes:
            raise JobError(f"There is no recording of '{cutter.name}': name at least one.")
    names = [cutter.name for cutter in cutters]
    for name in names:
        if names.count(name) > 1:
            raise JobError(f"Two cutters are called '{name}': give each a name of its own.")


def _compared(
    cutters: Sequence[CutterTakes],
    listened: Sequence[Sequence[Listened]],
    measured: Sequence[Sequence[MeasuredTake]],
    units: str,
) -> Comparison:
    names = [cutter.name for cutter in cutters]
    tones = tones_of([take for side in listened for take in side])
    if not one_machine([take for side in listened for take in side]):
        measured = [[replace(take, idle=None, machine=None) for take in side] for side in measured]
    bands = common_bands([m for side in measured for m in side])
    sides = [side_features(side, bands) for side in measured]
    alike = one_sort(
        [
            take
            for side, taken in zip(listened, measured, strict=True)
            for take, rows in zip(side, taken, strict=True)
            if usable(rows)
        ]
    )
    chances = [max(take.chatter_possible for take in side) for side in listened]
    every_difference = differences(names, sides, tones=tones, alike=alike, chatter_possible=chances)
    every_difference = with_asides(every_difference, names, measured, bands)
    decided = [difference for difference in every_difference if difference.said != "cannot_tell"]
    shown = any(difference.said == "shown" for difference in every_difference)
    able = any(difference.difference_db is not None for difference in decided)
    verdict = "difference" if shown else "no_difference" if able else "cannot_tell"
    reports = tuple(
        side_report(cutter.name, heard, taken, values)
        for cutter, heard, taken, values in zip(cutters, listened, measured, sides, strict=True)
    )
    return Comparison(
        schema_version=SCHEMA_VERSION,
        made_by=made_by(),
        verdict=verdict,
        summary=comparison_summary(every_difference, verdict, names),
        sides=reports,
        differences=every_difference,
        rankings=rankings(names, every_difference) if len(names) > 2 else (),
        warnings=warnings(
            names,
            listened,
            units,
            stands=[stand for cutter in cutters for stand in cutter.stands],
            idle_db=_idle_db([m for side in measured for m in side], bands),
            miscounted=[
                (take, rows.rev_min)
                for side, taken in zip(listened, measured, strict=True)
                for take, rows in zip(side, taken, strict=True)
                if rows.speed_from == "swelling" and rows.rev_min is not None
            ],
        ),
        cautions=tuple(
            dict.fromkeys(c for side in listened for take in side for c in take.findings.cautions)
        ),
        how=_how(bands, alike),
        simulated=any(take.findings.simulated for side in listened for take in side),
    )


def _further(say: Progress, base: float, share: float, part: float, what: str) -> None:
    """Tell how far the whole is, from how far one part of it is."""
    say(base + share * part, what)


def _idle_db(takes: Sequence[MeasuredTake], bands_hz: np.ndarray) -> np.ndarray | None:
    """Levels of the idling machine in the takes that hold it, shape (takes, bands)."""
    idle = [
        one.idle[columns(one.turns.bands_hz, bands_hz)]
        for one in takes
        if one.idle is not None and one.turns is not None and usable(one)
    ]
    return 10.0 * np.log10(np.maximum(np.array(idle), 1e-20)) if len(idle) > 1 else None


def _how(bands_hz: np.ndarray, alike: bool) -> tuple[str, ...]:
    reach = f", {bands_hz[0, 0]:.0f} to {bands_hz[-1, 1]:.0f} Hz" if len(bands_hz) else ""
    phones = (
        "one phone in one room, at different distances and gains, as these recordings are all of "
        "one sort"
        if alike
        else "different phones, coders, gains, distances and rooms"
    )
    return (
        "Every number is a ratio within one recording, so that gain, distance and microphone "
        f"cancel: swelling of {len(bands_hz)} bands of noise over the turn{reach}, tones against "
        "their own neighbourhood, levels against the idling machine.",
        "Intervals: whole revolutions drawn again in blocks (circular block bootstrap), and on "
        "top what takes of one and the same cut differ by, measured on simulated pairs of takes "
        f"with {phones} (chatter/comparing/between.json).",
        "All intervals of this comparison hold together: their reach was set on such pairs so that "
        "any difference at all is claimed in fewer than one of twenty where there is none.",
        "Decibels of rubbing are scaled on simulated cuts whose rubbing was made 6 dB louder. That "
        "scale differs from plate to plate: the greater a difference, the less sure its number.",
        "Where the teeth are drowned the turn is taken from the swelling itself, and one tooth "
        "cannot be told from the next.",
    )
