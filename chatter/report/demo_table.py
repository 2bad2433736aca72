"""The table of ``chatter demo``: what is true, what was said, whether they agree."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from chatter.findings import Findings, Pass
from chatter.report.words import verdict_name

if TYPE_CHECKING:
    from rich.console import Console


@dataclass(frozen=True)
class DemoRow:
    """One demo recording.

    Attributes
    ----------
    name : str
        Of the recording.
    truth : chatter.demo.DemoTruth
    findings : Findings
    report : Path or None
    """

    name: str
    truth: Any
    findings: Findings
    report: Path | None


def agreement(truth: Any, findings: Findings) -> str:
    """Whether verdict and truth agree: "yes", "partly", "no", or "can't tell".

    "partly" is a verdict that is true but not the gravest true one, or a true one that
    was said only beside the verdict.
    """
    if findings.verdict == "cannot_tell":
        return "can't tell"
    true = {truth.verdict} | {c for one in truth.passes for c in (one.verdict, *one.also)}
    said = {findings.verdict} | {c for one in findings.passes for c in (one.verdict, *one.also)}
    if findings.verdict == truth.verdict:
        return "yes"
    return "partly" if findings.verdict in true - {"normal"} or truth.verdict in said else "no"


def passes_right(truth: Any, findings: Findings) -> tuple[int, int]:
    """Passes whose verdict is the true one, and true passes.

    Each true pass is held against the found pass that overlaps it most; without one it
    counts as not right.
    """
    right = 0
    for true in truth.passes:

        def shared(one_pass: Pass, true: Any = true) -> float:
            return min(one_pass.end_s, true.end_s) - max(one_pass.start_s, true.start_s)

        best = max(findings.passes, key=shared, default=None)
        right += best is not None and shared(best) > 0 and best.verdict == true.verdict
    return right, len(truth.passes)


def print_demo(rows: tuple[DemoRow, ...], console: Console) -> None:
    """Print the table, the count, and where the reports are."""
    from rich import box
    from rich.table import Table
    from rich.text import Text

    console.print("Simulated recordings: the truth is known, and no real machine was heard.")
    console.print()
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 1), show_edge=False)
    table.add_column("Recording", no_wrap=True)
    table.add_column("Truth", overflow="fold")
    table.add_column("Verdict", overflow="fold")
    table.add_column("Confidence", justify="right")
    table.add_column("Agree", no_wrap=True)
    table.add_column("Passes", justify="right", no_wrap=True)
    counts: dict[str, int] = {}
    for row in rows:
        agree = agreement(row.truth, row.findings)
        counts[agree] = counts.get(agree, 0) + 1
        right, of = passes_right(row.truth, row.findings)
        decided = row.findings.verdict != "cannot_tell"
        table.add_row(
            Text(row.name),
            verdict_name(row.truth.verdict),
            verdict_name(row.findings.verdict),
            f"{row.findings.confidence:.2f}" if decided else "–",
            agree,
            f"{right} of {of}" if of else "–",
        )
    console.print(table)
    console.print()
    said = ", ".join(
        f"{counts[k]} {k}" for k in ("yes", "partly", "no", "can't tell") if k in counts
    )
    console.print(f"{len(rows)} recordings. Verdict and truth agree: {said}.")
    for row in rows:
        if row.report is not None:
            console.print(Text(f"Report: {row.report}"), soft_wrap=True)
