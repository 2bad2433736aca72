"""Sides: what is told of one cutter and of each of its recordings."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from chatter.comparing.asides import chatter_share
from chatter.comparing.contrast import SideFeatures, usable
from chatter.comparing.features import NAMES
from chatter.comparing.heard import Listened
from chatter.comparing.results import SideReport, TakeUsed
from chatter.comparing.take import MeasuredTake
from chatter.findings import ToothLevel
from chatter.job.cut import Job


def side_report(
    name: str, heard: Sequence[Listened], measured: Sequence[MeasuredTake], values: SideFeatures
) -> SideReport:
    """One cutter with its recordings.

    Parameters
    ----------
    name : str
    heard, measured : sequences, one item a take
    values : SideFeatures
        Of the usable ones among them.
    """
    rows = iter(values.value)
    takes = tuple(
        _take(a, b, next(rows) if usable(b) else None) for a, b in zip(heard, measured, strict=True)
    )
    job = heard[0].job
    return SideReport(name, _cutter_words(job), job.cutter.teeth, takes, _tooth_map(heard))


def _take(take: Listened, measured: MeasuredTake, values: np.ndarray | None) -> TakeUsed:
    turns = measured.turns
    rows = 0 if turns is None else turns.rows
    per_row = 0.0
    speed = measured.rev_min or take.job.cut.speed_rev_min
    if turns is not None and rows:
        per_row = float(np.mean(turns.time_s[:, 1] - turns.time_s[:, 0])) * speed / 60.0
    source = take.findings.source
    return TakeUsed(
        name=source.name,
        path=source.path,
        sha256=source.sha256,
        verdict=take.findings.verdict,
        confidence=take.findings.confidence,
        rev_min=speed,
        speed_from=measured.speed_from,
        turns=round(rows * per_row, 1),
        cut_start_s=min((p.start_s for p in take.passes), default=0.0),
        duration_s=source.duration_s,
        used=values is not None,
        reason=None if values is not None else _why_not(take, measured),
        chatter_share=chatter_share(measured),
        features_db={}
        if values is None
        else {
            name: round(float(value), 3)
            for name, value in zip(NAMES, values, strict=True)
            if np.isfinite(value)
        },
    )


def _why_not(take: Listened, measured: MeasuredTake) -> str:
    if take.unfit is not None:
        return take.unfit
    if not take.passes:
        return "No cutting was heard: record the entry, the cut and the exit in one take."
    if measured.turns is None and measured.speed_from == "stated":
        return (
            "The spindle speed could not be heard, so turns cannot be told apart: record nearer "
            "to the cut, or check the stated speed and tooth count."
        )
    return "Too few whole turns of even cutting were heard: record at least 20 turns."


def _tooth_map(takes: Sequence[Listened]) -> tuple[ToothLevel, ...]:
    """Of the longest pass that has one."""
    passes = [p for take in takes for p in take.passes if p.teeth]
    return max(passes, key=lambda p: p.revolutions).teeth if passes else ()


def _cutter_words(job: Job) -> str:
    cutter = job.cutter
    form = (cutter.form or "cutter").replace("_", " ")
    return f"{cutter.name or form}, {cutter.teeth} {'tooth' if cutter.teeth == 1 else 'teeth'}"
