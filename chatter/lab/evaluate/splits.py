"""Splits: the same figures by difficulty."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from chatter.lab.evaluate.cases import Cases, JudgedCase
from chatter.lab.evaluate.figures import Proportion, confusion, figures
from chatter.lab.evaluate.measured import Errors, error_figures

#: Figures shown in the split tables.
SPLIT_FIGURES = (
    "coverage", "accuracy", "chatter_recall", "false_alarms", "confident_wrong",
    "calibration_error",
)  # fmt: skip

#: Errors shown beside them (90th percentile): key of ``error_figures`` -> heading.
SPLIT_ERRORS = {
    "speed_all": "speed, %",
    "chatter_tolerance_all": "f_c, tolerances",
    "onset": "onset, s",
}

#: Share beyond which a stated speed is wrong: slip and worn dial plates explain less.
SLIP = 0.06


@dataclass(frozen=True)
class SplitRow:
    """One class of one split."""

    recordings: int
    shares: dict[str, Proportion]
    errors: dict[str, Errors]
    confusion: dict[str, dict[str, float]]


def _banded(edges: Sequence[float], unit: str) -> Callable[[float], str]:
    """Name of the band a value lies in; ``edges`` rise."""
    names = [f"under {edges[0]:g} {unit}"]
    names += [f"{a:g} to {b:g} {unit}" for a, b in pairwise(edges)]
    names.append(f"{edges[-1]:g} {unit} or more")

    def name(value: float) -> str:
        if value is None or math.isnan(value):
            return "none"
        return names[sum(value >= edge for edge in edges)]

    name.order = names  # type: ignore[attr-defined]
    return name


_SNR = _banded((3.0, 8.0, 14.0, 22.0), "dB")
_TURNS = _banded((8.0, 12.0, 20.0, 60.0), "turns")
_REST = _banded((0.3, 3.0), "s")
_TOOTH = _banded((20.0, 60.0, 150.0, 400.0), "Hz")


def _turns(case: JudgedCase) -> str:
    true = case.true_pass
    if true is None:
        return "no cutting"
    return _TURNS((true.end_s - true.start_s) * true.rev_min / 60.0)


def _stated(case: JudgedCase) -> str:
    if case.conditions.get("wrong_teeth"):
        return "tooth count wrong"
    if abs(case.conditions.get("speed_error", 0.0)) > SLIP:
        return "speed wrong by more than slip"
    return "right within slip"


def _phone(case: JudgedCase) -> str:
    c = case.conditions
    if c.get("clipped"):
        return "clipped"
    if c.get("suppression_db"):
        return "noise suppression"
    if c.get("band_limit_hz") or c.get("phone_rate_hz", 48_000) <= 16_000:
        return "band below 8 kHz"
    return "automatic gain" if c.get("agc_db") else "plain"


def _rest(case: JudgedCase) -> str:
    """How long the machine can be heard without the cut."""
    outcome = case.outcome
    if not outcome.truth:
        return "no cutting"
    return _REST(outcome.duration_s - sum(p.end_s - p.start_s for p in outcome.truth))


def _distractors(case: JudgedCase) -> str:
    return ", ".join(sorted(case.conditions.get("distractors") or ())) or "none"


#: Title -> name of the class of a case.
SPLITS: dict[str, Callable[[JudgedCase], str]] = {
    "Kind of scene": lambda c: c.kind,
    "Way of cutting": lambda c: c.conditions.get("regime", "none"),
    "Cutting sound over all else": lambda c: _SNR(c.conditions.get("snr_db", math.nan)),
    "Length of the pass": _turns,
    "Tooth passing": lambda c: (
        "no cutting" if c.true_pass is None else _TOOTH(c.true_pass.tooth_passing_hz)
    ),
    "File format": lambda c: (
        f"{c.conditions['format']}"
        + (f" {c.conditions['bit_rate'] / 1000:g} kbit/s" if c.conditions["bit_rate"] else "")
    ),
    "Phone": _phone,
    "What was stated": _stated,
    "Also heard": _distractors,
    "Passes in the recording": lambda c: (
        "none" if not c.outcome.truth else "one" if len(c.outcome.truth) == 1 else "several"
    ),
    "Time without cutting": _rest,
    "Pitch of the teeth": lambda c: "unequal" if c.conditions.get("unequal_pitch") else "equal",
}

_ORDER = {
    name: at
    for band in (_SNR, _TURNS, _TOOTH, _REST)
    for at, name in enumerate(band.order)  # type: ignore[attr-defined]
}


def splits(cases: Sequence[JudgedCase], *, draws: int = 100) -> dict[str, dict[str, SplitRow]]:
    """Figures by difficulty.

    Parameters
    ----------
    cases : sequence of JudgedCase
    draws : int
        Bootstrap draws per figure.

    Returns
    -------
    dict
        Title -> class -> Row.
    """
    made = {}
    for title, name in SPLITS.items():
        groups: dict[str, list[JudgedCase]] = {}
        for one in cases:
            groups.setdefault(name(one), []).append(one)
        ordered = sorted(groups, key=lambda g: (_ORDER.get(g, 99), g))
        made[title] = {g: _row(groups[g], draws) for g in ordered}
    return made


def _row(cases: list[JudgedCase], draws: int) -> SplitRow:
    errors = error_figures(Cases(tuple(cases), (), ()))
    return SplitRow(
        recordings=len({one.recording for one in cases}),
        shares=figures(cases, names=SPLIT_FIGURES, draws=draws),
        errors={name: errors[name] for name in SPLIT_ERRORS},
        confusion=confusion(cases),
    )
