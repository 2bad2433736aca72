"""Conditions: why two jobs are not the same job, so that the cutter is not all that differs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from chatter.comparing.heard import Listened
from chatter.job.cut import Job
from chatter.job.show import show

#: Stated quantities: name, getter, kind of quantity, share by which they may differ.
_STATED = (
    ("spindle speed", lambda job: job.cut.speed_rev_min, "spindle speed", 0.02),
    ("table feed", lambda job: job.cut.feed_m_s, "feed", 0.05),
    ("chip load", lambda job: job.chip_load_m, "chip load", 0.10),
    ("depth of cut", lambda job: job.cut.depth_m, "length", 0.05),
    ("width of cut", lambda job: job.cut.width_m, "length", 0.05),
    ("cutter diameter", lambda job: job.cutter.diameter_m, "length", 0.05),
    ("cutter width", lambda job: job.cutter.width_m, "length", 0.05),
    ("overhang", lambda job: job.cut.overhang_m, "length", 0.10),
)
_WORDS = (
    ("material", lambda job: job.cut.material),
    ("direction", lambda job: job.cut.direction),
    ("machine", lambda job: job.machine.name or None),
)
#: Heard speeds of takes with the same stated speed differ by load and wander only.
_HEARD_SHARE = 0.03
_FEW_TURNS = 15
#: With one phone in one room, some steps nearer or farther, the levels of the idling machine in
#: half-octave bands differed by less than this (r.m.s. about their median) in 97 % of simulated
#: pairs, with another phone and room in 80 %.
_MOVED_DB = 7.0


@dataclass(frozen=True)
class Stand:
    """Which phone recorded a take, and where it lay, as the logbook has it; empty: not stated."""

    phone: str = ""
    position: str = ""


def warnings(
    names: Sequence[str],
    sides: Sequence[Sequence[Listened]],
    units: str,
    *,
    stands: Sequence[Stand] = (),
    idle_db: np.ndarray | None = None,
    miscounted: Sequence[tuple[Listened, float]] = (),
) -> tuple[str, ...]:
    """Everything that differs between the jobs, or makes a take doubtful.

    Parameters
    ----------
    names : sequence of str
    sides : sequence of sequences of Listened
    units : str
        "metric" or "inch".
    stands : sequence of Stand
        Of all takes of which any is stated.
    idle_db : ndarray, shape (takes, bands), optional
        Level of the idling machine in each take that holds it.
    miscounted : sequence of (Listened, float)
        Takes that swell at another speed [rev/min] than their teeth tell.
    """
    said = _jobs(names, [takes[0].job for takes in sides], units)
    for (first, a), (second, b) in combinations(zip(names, sides, strict=True), 2):
        said += _heard(first, a, second, b)
    said += _phones(sides)
    said += _stands(stands)
    every = [take for takes in sides for take in takes]
    if one_sort(every) and len({take.job.cut.speed_rev_min for take in every}) == 1:
        said += _moved(idle_db)
    for takes in sides:
        for take in takes:
            said += _take(take)
    said += [
        _count(take, rev_min, told)
        for take, rev_min in miscounted
        if (told := take.speed_rev_min) is not None
    ]
    return tuple(dict.fromkeys(said))


def _jobs(names: Sequence[str], jobs: Sequence[Job], units: str) -> list[str]:
    """One sentence for each stated thing in which the jobs differ."""
    said = []
    for what, get, kind, share in _STATED:
        stated = [(name, get(job)) for name, job in zip(names, jobs, strict=True)]
        stated = [(name, value) for name, value in stated if value]
        values = [value for _, value in stated]
        if len(values) > 1 and max(values) / min(values) - 1.0 > share:
            shown = [(name, show(value, kind, units)) for name, value in stated]
            said.append(_differs(what, shown) + ", which changes the sound by itself.")
    for what, get in _WORDS:
        shown = [
            (name, word.replace("_", " "))
            for name, job in zip(names, jobs, strict=True)
            if (word := get(job)) is not None
        ]
        if len({word for _, word in shown}) > 1:
            said.append(f"{_differs(what, shown)}.")
    return said


def _differs(what: str, shown: list[tuple[str, str]]) -> str:
    """ "Not the same job: depth of cut is 12 mm for A and B, 8 mm for C"."""
    by_value: dict[str, list[str]] = {}
    for name, value in shown:
        by_value.setdefault(value, []).append(name)
    parts = [f"{value} for {' and '.join(mine)}" for value, mine in by_value.items()]
    return f"Not the same job: {what} is {', '.join(parts)}"


def _heard(first: str, a: Sequence[Listened], second: str, b: Sequence[Listened]) -> list[str]:
    if abs(b[0].job.cut.speed_rev_min / a[0].job.cut.speed_rev_min - 1.0) > 0.02:
        return []
    rev_min = next((t.speed_rev_min for t in a if t.speed_rev_min), None)
    other_rev_min = next((t.speed_rev_min for t in b if t.speed_rev_min), None)
    if (
        rev_min is None
        or other_rev_min is None
        or abs(other_rev_min / rev_min - 1.0) <= _HEARD_SHARE
    ):
        return []
    return [
        f"The spindle was heard at {rev_min:.1f} rev/min with {first} and at "
        f"{other_rev_min:.1f} with {second}, though the same speed is stated: check the gear lever."
    ]


def one_sort(takes: Sequence[Listened]) -> bool:
    """Whether all recordings are of one sort, as one phone with one setting makes them."""
    return len(_sorts(takes)) <= 1


def _sorts(takes: Sequence[Listened]) -> set[tuple[int, str, str]]:
    sources = [take.findings.source for take in takes]
    return {(one.rate_hz, one.codec, one.container) for one in sources}


def _phones(sides: Sequence[Sequence[Listened]]) -> list[str]:
    sorts = _sorts([take for takes in sides for take in takes])
    if len(sorts) == 1:
        return []
    listed = " and ".join(
        f"{container} ({codec}, {rate} Hz)" for rate, codec, container in sorted(sorts)
    )
    return [
        f"The recordings are of different sorts, {listed}: another phone or another setting, which "
        "makes every interval wider; use the same phone, app and place for every cutter."
    ]


def _stands(stands: Sequence[Stand]) -> list[str]:
    """Phones and places that are stated and differ."""
    said = []
    for what, named in (
        ("phones", {one.phone for one in stands} - {""}),
        ("places of the phone", {one.position for one in stands} - {""}),
    ):
        if len(named) > 1:
            listed = " and ".join(f"'{one}'" for one in sorted(named))
            said.append(
                f"Different {what} are stated, {listed}: that changes the sound by itself; record "
                "every cutter with the same phone in the same place."
            )
    return said


def _moved(idle_db: np.ndarray | None) -> list[str]:
    """Whether the idling machine, which is the same, came out in a different tone balance."""
    if idle_db is None or len(idle_db) < 2:
        return []
    off = idle_db[:, None] - idle_db[None, :]
    off -= np.median(off, axis=2, keepdims=True)
    most = float(np.sqrt(np.mean(off**2, axis=2)).max())
    if most < _MOVED_DB:
        return []
    return [
        f"The idling machine came out in a different tone balance from one recording to "
        f"another (by {most:.0f} dB from band to band): the phone lay elsewhere or the "
        "machine ran otherwise; lay the phone in the same place for every cutter."
    ]


def _count(take: Listened, rev_min: float, counted_rev_min: float) -> str:
    teeth = take.job.cutter.teeth
    fitting = teeth * counted_rev_min / rev_min
    return (
        f"{take.path.name}: with {teeth} teeth it would turn at {counted_rev_min:.1f} rev/min, "
        f"but it swells once a turn at {rev_min:.1f}: count the teeth (about {fitting:.0f} would "
        "fit)."
    )


def _take(take: Listened) -> list[str]:
    name, findings = take.path.name, take.findings
    said = [
        f"{name}: {one.sentence}"
        for one in findings.fitness.complaints
        if one.fatal or one.name in ("clipping", "gain_pumping", "gating", "truncated")
    ]
    if not take.passes:
        said.append(f"{name}: no cutting was heard in it.")
    elif all(p.verdict == "machine_only" for p in take.passes):
        said.append(
            f"{name}: taken for a cut all through, as it holds no idling to be held against."
        )
    elif take.speed_rev_min is None:
        said.append(f"{name}: the spindle speed could not be heard, so its turns are less certain.")
    turns = sum(p.revolutions for p in take.passes)
    if take.passes and turns < _FEW_TURNS:
        said.append(f"{name}: only {turns:.0f} turns of cutting; 20 or more narrow the intervals.")
    return said
