"""What a comparison yields: plain frozen data, serialisable, no arrays."""

from __future__ import annotations

from dataclasses import dataclass

from chatter.findings import ToothLevel

SCHEMA_VERSION = 1

#: What can be said of one family.
SAID = ("shown", "not_shown", "cannot_tell")


@dataclass(frozen=True)
class TakeUsed:
    """One recording and what of it was used."""

    name: str
    path: str
    sha256: str
    verdict: str  # of the listen
    confidence: float
    rev_min: float  # as heard, or as assumed
    speed_from: str  # "heard", "other take", "swelling" or "stated"
    turns: float  # whole revolutions compared
    cut_start_s: float  # where cutting starts, for the players
    duration_s: float
    used: bool
    reason: str | None  # why not, and what to do
    chatter_share: float  # of the time compared, 0..1
    features_db: dict[str, float]  # those that could be had


@dataclass(frozen=True)
class SideReport:
    """One cutter."""

    name: str
    cutter: str  # in words, as stated
    teeth: int
    takes: tuple[TakeUsed, ...]
    tooth_map: tuple[ToothLevel, ...]  # of the longest pass; empty when it cannot be told


@dataclass(frozen=True)
class Difference:
    """One family of sound, the second cutter less the first."""

    family: str
    title: str
    first: str
    second: str
    said: str  # one of SAID
    difference_db: float | None
    low_db: float | None  # interval; all intervals hold together with 95 % chance
    high_db: float | None
    within_db: float | None  # standard error from the revolutions alone
    sentence: str


@dataclass(frozen=True)
class RankPlace:
    """One cutter's place in a ranking; cutters that cannot be told apart share it."""

    name: str
    place: int
    re_first_db: float
    low_db: float
    high_db: float


@dataclass(frozen=True)
class Ranking:
    """Cutters ordered by one family, least first."""

    family: str
    title: str
    places: tuple[RankPlace, ...]


@dataclass(frozen=True)
class Comparison:
    """Everything a comparison found."""

    schema_version: int
    made_by: str
    verdict: str  # "difference", "no_difference" or "cannot_tell"
    summary: str  # one sentence of shop English
    sides: tuple[SideReport, ...]
    differences: tuple[Difference, ...]
    rankings: tuple[Ranking, ...]  # only with more than two cutters
    warnings: tuple[str, ...]  # why the jobs are not the same job
    cautions: tuple[str, ...]
    how: tuple[str, ...]
    simulated: bool = False
