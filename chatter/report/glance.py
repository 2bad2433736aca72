"""What page one says in numbers: what was heard, what was stated, when."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from chatter.findings import Findings, Pass
from chatter.report import words
from chatter.report.stated import stated_lines

#: Stated things that stand on page one; the rest is folded.
_ON_PAGE_ONE = ("Machine", "Cutter", "Work", "Depth of cut", "Table feed")
#: Up to this many passes, their table stands on page one.
TABLE_ON_PAGE_ONE = 6


@dataclass(frozen=True)
class Glance:
    """The numbers of page one, as (name, text)."""

    heard: tuple[tuple[str, str], ...]
    stated: tuple[tuple[str, str], ...]


def glance(findings: Findings, units: str = "metric") -> Glance:
    """The numbers that belong beside the answer.

    Parameters
    ----------
    findings : Findings
    units : str
        "metric" or "inch", for what was stated.
    """
    stated = dict(stated_lines(findings.job, units))
    kept = [(name, stated[name]) for name in _ON_PAGE_ONE if name in stated]
    if "Cutter" not in stated and "Form of cutter" in stated:
        kept.insert(min(1, len(kept)), ("Cutter", stated["Form of cutter"]))
    if not findings.passes:
        return Glance((), tuple(kept))
    if len(findings.passes) > 1:  # their table stands above
        return Glance(_shared(findings.passes), tuple(kept))
    long = words.is_long(findings.source.duration_s)
    return Glance(_heard(findings.passes[0], long), tuple(kept))


def _shared(passes: tuple[Pass, ...]) -> tuple[tuple[str, str], ...]:
    """What the table of the passes does not tell."""
    counts = Counter(words.verdict_name(one.verdict) for one in passes)
    listed = ", ".join(f"{count} x {name.lower()}" for name, count in counts.most_common())
    rates = sorted(one.tooth_passing_hz for one in passes)
    middle = words.show_number(rates[len(rates) // 2])
    turns = words.show_number(sum(one.revolutions for one in passes))
    return (
        ("Passes", listed),
        ("Teeth strike", f"{middle} times a second"),
        ("Judged by", f"{turns} turns"),
    )


def _heard(one_pass: Pass, long: bool) -> tuple[tuple[str, str], ...]:
    rows = [("Spindle", words.spindle_words(one_pass))]
    if one_pass.chatter is not None:
        rows.append(
            (
                "Chatter",
                f"{words.hertz(one_pass.chatter.frequency_hz)}, from "
                f"{words.show_clock(one_pass.chatter.onset_s, long=long)} on, "
                f"{words.show_share(one_pass.chatter.share)} of the pass",
            )
        )
    if one_pass.possible:
        rows.append(("Possible", words.verdict_name(one_pass.possible).lower()))
    if (strokes := words.runout_words(one_pass)) is not None:
        rows.append(("Strokes differ by", strokes))
    rows.append(("Teeth strike", f"{words.show_number(one_pass.tooth_passing_hz)} times a second"))
    rows.append(
        (
            "Judged by",
            f"{words.show_number(one_pass.revolutions)} turns, "
            f"{words.show_clock(one_pass.start_s, long=long)} to "
            f"{words.show_clock(one_pass.end_s, long=long)}",
        )
    )
    return tuple(rows)


def telling(findings: Findings) -> int | None:
    """Index of the pass that shows the overall verdict best; it stands open among many."""
    held = [one for one in findings.passes if one.verdict == findings.verdict]
    return max(held, key=lambda one: one.confidence).index if held else None
