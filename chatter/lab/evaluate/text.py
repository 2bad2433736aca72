"""Text: the scores on a terminal."""

from __future__ import annotations

import math

from chatter.findings import CAUSES, VERDICTS
from chatter.lab.evaluate.figures import FIGURES, Proportion
from chatter.lab.evaluate.measured import Errors
from chatter.lab.evaluate.score import TARGETS, RunScore
from chatter.lab.evaluate.splits import SPLIT_ERRORS, SPLIT_FIGURES

_ANSWERS = (*VERDICTS, "not_found")


def per_cent(value: float, digits: int = 1) -> str:
    """A share in per cent, or a dash."""
    return "–" if math.isnan(value) else f"{100 * value:.{digits}f} %"


def share_text(one: Proportion) -> str:
    """A share with its interval."""
    if math.isnan(one.value):
        return "–"
    if math.isnan(one.low):
        return per_cent(one.value)
    return f"{per_cent(one.value)} ({100 * one.low:.1f} to {100 * one.high:.1f})"


def met(name: str, value: float) -> str:
    """Whether a target is met, in words; empty where there is none."""
    if name not in TARGETS or math.isnan(value):
        return ""
    bound, side = TARGETS[name]
    good = value >= bound if side == "least" else value <= bound
    return f"{'met' if good else 'NOT met'}: {'at least' if side == 'least' else 'at most'} " + (
        f"{100 * bound:g} %"
    )


def score_lines(score: RunScore, title: str) -> str:
    """Everything but the splits, as lines."""
    c = score.counts
    lines = [
        title,
        f"{c.recordings} recordings ({c.audio_s / 60:.0f} min of sound), {c.cases} cases, "
        f"{c.marginal} marginal passes apart, {c.refused} files refused, {c.crashed} crashes; "
        f"made in {c.make_s:.0f} s, heard in {c.listen_s:.0f} s (summed over processes)",
        "",
    ]
    for name, one in score.figures.items():
        lines.append(
            f"{name:24s} {share_text(one):28s} {met(name, one.value):26s} {FIGURES[name][0]}"
        )
    lines += ["", *confusion_lines(score.confusion), ""]
    lines.append(f"{'calibration':14s} {'error':>7s} {'by chance':>10s} {'Brier':>7s}")
    for name, one in score.reliability.items():
        lines.append(f"{name:14s} {one.error:7.3f} {one.chance_error:10.3f} {one.brier:7.3f}")
    lines += ["", f"{'error':72s} {'50 %':>8s} {'90 %':>8s} {'99 %':>8s}  within"]
    f = score.finding
    lines += [_errors(one) for one in (*score.measured.values(), f.start, f.end)]
    lines += [
        "",
        f"passes: {per_cent(f.recall)} of {f.true} found; {per_cent(f.precision)} of the {f.found} "
        f"found are passes ({f.pieces} pieces or fusions, {f.false} where nothing was cut; "
        f"{f.idle} more were rightly judged machine only)",
        f"marginal passes: answered {share_text(score.marginal['coverage'])}, defensible "
        f"{share_text(score.marginal['balanced_defensible'])}",
        "no cutting: {confident} confident wrong verdicts ({wrong} wrong at all) in "
        "{recordings} recordings".format(**score.no_cutting),
    ]
    return "\n".join(lines)


def _errors(one: Errors) -> str:
    if not one.count:
        return f"{one.name:72s} –"
    return (
        f"{one.name:72s} {one.p50:8.3f} {one.p90:8.3f} {one.p99:8.3f}  {per_cent(one.within)} "
        f"within {one.limit:g} {one.unit} (n = {one.count})"
    )


def confusion_lines(table: dict[str, dict[str, float]]) -> list[str]:
    """Truth (rows) against answer (columns), in recordings."""
    lines = [f"{'truth, answer >':16s}" + "".join(f"{a[:12]:>14s}" for a in _ANSWERS)]
    for truth in CAUSES:
        row = table.get(truth, {})
        lines.append(f"{truth:16s}" + "".join(f"{row.get(a, 0.0):14.1f}" for a in _ANSWERS))
    return lines


def split_lines(score: RunScore) -> str:
    """The split tables; errors are 90th percentiles."""
    lines = []
    for title, groups in score.splits.items():
        head = [n.replace("_", " ")[:15] for n in SPLIT_FIGURES] + list(SPLIT_ERRORS.values())
        lines += ["", f"{title:34s} {'rec.':>5s}" + "".join(f"{h:>16s}" for h in head)]
        for name, row in groups.items():
            cells = [per_cent(row.shares[n].value) for n in SPLIT_FIGURES]
            cells += [three_digits(row.errors[n].p90) for n in SPLIT_ERRORS]
            lines.append(
                f"  {name[:32]:32s} {row.recordings:5d}" + "".join(f"{c:>16s}" for c in cells)
            )
    return "\n".join(lines)


def three_digits(value: float) -> str:
    """Three digits, or a dash."""
    return "–" if math.isnan(value) else f"{value:.3g}"
