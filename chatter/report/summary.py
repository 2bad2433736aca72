"""The terminal summary: verdict, what to do first, passes, complaints, cautions."""

from __future__ import annotations

from typing import TYPE_CHECKING

from chatter.findings import Findings, Pass
from chatter.report import words
from chatter.report.care import on_terminal

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

#: More suggestions stand in the report.
_SUGGESTIONS_SHOWN = 3
_PASSES_SHOWN = 40


def print_summary(findings: Findings, console: Console, *, all_cautions: bool = False) -> None:
    """Print the findings of one recording for people, at the console's width.

    Parameters
    ----------
    findings : Findings
    console : Console
    all_cautions : bool
        All of them, and not only the two that fit this cut best.
    """
    long = words.is_long(findings.source.duration_s)
    console.print(without_markup(f"{findings.source.name}, {_length(findings, long)}"))
    if findings.simulated:
        console.print("Simulated recording: no real machine made this sound.", style="bold")
    console.print()
    held = (findings.verdict, *words.also(findings))
    name = " AND ".join(words.verdict_name(one).upper() for one in held)
    sure = words.confidence_words(findings.verdict, findings.confidence)
    console.print(
        without_markup(f"{name}  ({sure})" if "(" not in sure else f"{name}  {sure}", "bold")
    )
    console.print(without_markup(findings.summary))
    section(console, "Do this first", [words.first_step(findings)])
    ranked = sorted(findings.suggestions, key=lambda one: one.rank)
    if ranked:
        first = ranked[0]
        _told(console, "Why", first.reason)
        _told(console, "Next recording", first.expect)
        _told(console, "Take care", first.caution)
    if findings.passes:
        console.print()
        console.print(_passes(findings.passes, long))
        for one_pass in findings.passes[:_PASSES_SHOWN]:
            _about(console, one_pass, long)
        if len(findings.passes) > _PASSES_SHOWN:
            left = len(findings.passes) - _PASSES_SHOWN
            console.print(f"{left} more passes stand in the report.")
    others = [f"{one.rank}. {one.action}" for one in ranked[1:_SUGGESTIONS_SHOWN]]
    if len(ranked) > _SUGGESTIONS_SHOWN:
        others.append(f"({len(ranked) - _SUGGESTIONS_SHOWN} more in the report)")
    section(console, "If that cannot be done or does not help", others)
    complaints = [f"{one.sentence} {one.advice}" for one in findings.fitness.complaints]
    fit = "The recording" if findings.fitness.fit else "The recording is not fit to judge by"
    section(console, fit, complaints)
    section(console, "Cautions", _cautions(findings, all_cautions))
    section(console, "Notes", list(findings.notes))


def _cautions(findings: Findings, all_of_them: bool) -> list[str]:
    if all_of_them:
        return list(findings.cautions)
    return on_terminal(findings.cautions, "in the report and with --cautions")


def _length(findings: Findings, long: bool) -> str:
    cut = findings.job.get("cut") or {}
    cutter = findings.job.get("cutter") or {}
    said = words.show_clock(findings.source.duration_s, long=long)
    if cut.get("speed_rev_min") is not None:
        how = words.source_of(findings, "speed")
        said += f", {words.show_number(cut['speed_rev_min'], 4)} rev/min {how}"
    if cutter.get("teeth") is not None:
        said += f", {cutter['teeth']} {'tooth' if cutter['teeth'] == 1 else 'teeth'}"
        if words.source_of(findings, "teeth") != "stated":
            said += f" {words.source_of(findings, 'teeth')}"
    return said


def _passes(passes: tuple[Pass, ...], long: bool) -> Table:
    from rich import box
    from rich.table import Table

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 1), show_edge=False)
    table.add_column("Pass", justify="right")
    table.add_column("From", justify="right", no_wrap=True)
    table.add_column("To", justify="right", no_wrap=True)
    table.add_column("Verdict", overflow="fold")
    table.add_column("Confidence", justify="right")
    table.add_column("rev/min", justify="right", no_wrap=True)
    table.add_column("Chatter", no_wrap=True)
    for one_pass in passes[:_PASSES_SHOWN]:
        verdict = words.verdict_name(one_pass.verdict)
        for other in one_pass.also:
            verdict += f", {words.verdict_name(other).lower()}"
        if one_pass.possible:
            verdict += f", {words.possible_words(one_pass)}"
        heard = one_pass.chatter
        speed = f"{one_pass.spindle.rev_min:.1f}" if one_pass.spindle.heard else "not heard"
        table.add_row(
            str(one_pass.index),
            words.show_clock(one_pass.start_s, long=long),
            words.show_clock(one_pass.end_s, long=long),
            verdict,
            "–" if one_pass.verdict == "cannot_tell" else f"{one_pass.confidence:.2f}",
            speed,
            f"{words.hertz(heard.frequency_hz)}, {words.show_share(heard.share)}" if heard else "–",
        )
    return table


def _about(console: Console, one_pass: Pass, long: bool) -> None:
    """What the table cannot say of a pass."""
    said = [
        one_pass.reason,
        words.chatter_words(one_pass, long=long),
        one_pass.spindle.contradiction,
        words.candidates_words(one_pass),
    ]
    for sentence in said:
        if sentence:
            _told(console, f"Pass {one_pass.index}", sentence)


def section(console: Console, title: str, lines: list[str]) -> None:
    """A title and indented lines below it; nothing when there are no lines."""
    if not lines:
        return
    console.print()
    console.print(without_markup(title, "bold"))
    for line in lines:
        _indented(console, line)


def _told(console: Console, name: str, text: str) -> None:
    if text:
        _indented(console, f"{name}: {text}")


def _indented(console: Console, text: str) -> None:
    from rich.padding import Padding

    console.print(Padding(without_markup(text), (0, 0, 0, 2), expand=False))


def without_markup(text: str, style: str = "") -> Text:
    """Text without markup: a recording may be called ``[red].wav``."""
    from rich.text import Text

    shown = "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in text)
    return Text(shown, style=style)
