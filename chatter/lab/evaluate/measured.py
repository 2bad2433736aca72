"""Measured quantities against the truth: speed, chatter frequency, onset, borders of passes."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from chatter.lab.evaluate.cases import Cases, JudgedCase
from chatter.lab.evaluate.matching import match_passes

#: Revolutions from which the spindle speed must be right within 0.3 %.
LONG = 20.0
#: A chatter line wider than this has no frequency to within a hertz.
STEADY_HZ = 3.0
_QUANTILES = (0.5, 0.9, 0.99)


@dataclass(frozen=True)
class Errors:
    """Percentiles of an absolute error; ``count`` passes, each recording weighing one."""

    name: str
    unit: str
    p50: float
    p90: float
    p99: float
    within: float  # share within ``limit``
    limit: float
    count: int


@dataclass(frozen=True)
class Finding:
    """How well passes are found (all true passes, marginal ones too)."""

    recall: float  # matched / true
    precision: float  # matched / found, less those judged machine only where nothing was cut
    true: int
    found: int
    pieces: int
    false: int  # where nothing was cut, and not judged machine only
    idle: int  # where nothing was cut, and judged machine only: no error
    start: Errors
    end: Errors


def percentiles(
    name: str, unit: str, values: Sequence[float], weights: Sequence[float], limit: float
) -> Errors:
    """Weighted percentiles of absolute errors."""
    error = np.abs(np.array(values, float))
    weight = np.array(weights, float)
    if not error.size:
        return Errors(name, unit, math.nan, math.nan, math.nan, math.nan, limit, 0)
    order = np.argsort(error)
    reached = np.cumsum(weight[order]) / weight.sum()
    p = [float(error[order][np.searchsorted(reached, q - 1e-12)]) for q in _QUANTILES]
    within = float(weight[error <= limit].sum() / weight.sum())
    return Errors(name, unit, *p, within, limit, len(error))


def true_rev_min(case: JudgedCase) -> float:
    """True speed of the cutting that was judged; mean of the true pass when not known."""
    return case.found_pass.true_rev_min or case.true_pass.rev_min


def error_figures(cases: Cases) -> dict[str, Errors]:
    """All errors, over passes that were found and are not marginal."""
    pairs = [c for c in cases.cases if c.true_pass is not None and c.found_pass is not None]
    good = [c for c in pairs if not c.conditions.get("wrong_teeth")]
    heard = [c for c in good if c.found_pass.speed_heard]

    def turns(c) -> float:
        return (c.true_pass.end_s - c.true_pass.start_s) * c.true_pass.rev_min / 60.0

    def speed(name: str, some: Iterable) -> Errors:
        some = list(some)
        return percentiles(
            name, "%",
            [100 * (c.found_pass.rev_min / true_rev_min(c) - 1) for c in some],
            [c.weight for c in some], 0.3,
        )  # fmt: skip

    made = {
        "speed_all": speed("spindle speed, all passes (stated where unheard)", good),
        "speed_heard": speed("spindle speed, where heard", heard),
        "speed_long": speed(
            f"spindle speed, {LONG:g} turns or more", (c for c in good if turns(c) >= LONG)
        ),
        "speed_long_heard": speed(
            f"spindle speed, {LONG:g} turns or more, where heard",
            (c for c in heard if turns(c) >= LONG),
        ),
        "speed_wrong_teeth": speed(
            "spindle speed, tooth count stated wrongly",
            (c for c in pairs if c.conditions.get("wrong_teeth")),
        ),
    }
    made["speed_interval"] = percentiles(
        "spindle speed, in units of half its 95 % interval", "",
        [
            (c.found_pass.rev_min - true_rev_min(c))
            / max(0.5 * (c.found_pass.rev_min_high - c.found_pass.rev_min_low), 1e-9)
            for c in heard
        ],
        [c.weight for c in heard], 1.0,
    )  # fmt: skip
    both = [
        c for c in pairs
        if c.true_pass.chatter_hz is not None and c.found_pass.chatter_hz is not None
    ]  # fmt: skip
    steady = [c for c in both if (c.true_pass.chatter_width_hz or 0.0) < STEADY_HZ]
    for tag, some in (("all", both), ("steady", steady)):
        weight = [c.weight for c in some]
        off = [c.found_pass.chatter_hz - c.true_pass.chatter_hz for c in some]
        made[f"chatter_hz_{tag}"] = percentiles(
            f"chatter frequency ({tag})", "Hz", off, weight, 1.0
        )
        made[f"chatter_percent_{tag}"] = percentiles(
            f"chatter frequency ({tag})", "%",
            [100 * o / c.true_pass.chatter_hz for o, c in zip(off, some, strict=True)],
            weight, 0.2,
        )  # fmt: skip
        made[f"chatter_tolerance_{tag}"] = percentiles(
            f"chatter frequency ({tag}), in units of max(1 Hz, 0.2 %)", "",
            [o / max(1.0, 0.002 * c.true_pass.chatter_hz) for o, c in zip(off, some, strict=True)],
            weight, 1.0,
        )  # fmt: skip
        made[f"chatter_member_{tag}"] = percentiles(
            f"nearest member of the family ±f_c + k f_tp ({tag}), in units of max(1 Hz, 0.2 %)", "",
            [_member_error(c) for c in some], weight, 1.0,
        )  # fmt: skip
    onset = [
        c for c in both if c.true_pass.onset_s is not None and c.found_pass.onset_s is not None
    ]
    made["onset"] = percentiles(
        "onset of chatter", "s",
        [c.found_pass.onset_s - c.true_pass.onset_s for c in onset],
        [c.weight for c in onset], 0.25,
    )  # fmt: skip
    return made


def _member_error(case) -> float:
    """Distance to the nearest member, in units of max(1 Hz, 0.2 %)."""
    true, found = case.true_pass, case.found_pass.chatter_hz
    step = true.tooth_passing_hz
    off = min(
        abs((found - sign * true.chatter_hz + step / 2) % step - step / 2) for sign in (1, -1)
    )
    return off / max(1.0, 0.002 * true.chatter_hz)


def pass_finding(cases: Cases) -> Finding:
    """Recall, precision and border errors of passes, over recordings with cutting or not."""
    true = found = matched = pieces = false = idle = 0
    start: list[float] = []
    end: list[float] = []
    weights: list[float] = []
    for outcome in cases.outcomes:
        m = match_passes(outcome)
        true += len(outcome.truth)
        matched += len(m.pairs)
        pieces += len(m.pieces)
        idle += sum(one.verdict == "machine_only" for one in m.false)
        false += sum(one.verdict != "machine_only" for one in m.false)
        start += [f.start_s - t.start_s for t, f in m.pairs]
        end += [f.end_s - t.end_s for t, f in m.pairs]
        weights += [1.0 / len(m.pairs) for _ in m.pairs]
    found = matched + pieces + false
    return Finding(
        recall=matched / true if true else math.nan,
        precision=matched / found if found else math.nan,
        true=true, found=found, pieces=pieces, false=false, idle=idle,
        start=percentiles("start of a pass", "s", start, weights, 0.25),
        end=percentiles("end of a pass", "s", end, weights, 0.25),
    )  # fmt: skip
