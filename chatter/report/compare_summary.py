"""A comparison on the terminal: the answer, each family, warnings, cautions."""

from __future__ import annotations

from typing import TYPE_CHECKING

from chatter.comparing.words import HOLD
from chatter.report.care import on_terminal
from chatter.report.summary import section, without_markup

if TYPE_CHECKING:
    from rich.console import Console

    from chatter.comparing.results import Comparison

_HEADS = {
    "difference": "THEY DIFFER",
    "no_difference": "NO DIFFERENCE SHOWN",
    "cannot_tell": "CAN'T TELL",
}


def print_comparison(comparison: Comparison, console: Console) -> None:
    """Print a comparison for people, at the console's width."""
    console.print(without_markup(" against ".join(side.name for side in comparison.sides)))
    if comparison.simulated:
        console.print("Simulated recordings: no real machine made these sounds.", style="bold")
    console.print()
    console.print(without_markup(_HEADS[comparison.verdict], "bold"))
    console.print(without_markup(comparison.summary))
    pairs = dict.fromkeys((one.first, one.second) for one in comparison.differences)
    for first, second in pairs:
        mine = [d for d in comparison.differences if (d.first, d.second) == (first, second)]
        shown = [d.sentence for d in mine if d.said == "shown"]
        title = "Differences shown" if len(pairs) == 1 else f"{second} against {first}: shown"
        section(console, title, shown)
        rest = [d.sentence for d in mine if d.said != "shown"]
        section(console, "The rest" if shown else "One by one", rest)
    _rankings(comparison, console)
    section(console, "Before you trust it", list(comparison.warnings))
    section(console, "Hold alike for every cutter", list(HOLD))
    unused = [
        f"{take.name} was not used. {take.reason}"
        for side in comparison.sides
        for take in side.takes
        if not take.used
    ]
    section(console, "Recordings left out", unused)
    where = "in the report and with 'chatter help cautions'"
    section(console, "Cautions", on_terminal(comparison.cautions, where))


def _rankings(comparison: Comparison, console: Console) -> None:
    lines = []
    for ranking in comparison.rankings:
        places = [f"{p.place}. {p.name} ({p.re_first_db:+.1f} dB)" for p in ranking.places]
        if len({p.place for p in ranking.places}) > 1:
            lines.append(f"{ranking.title.capitalize()}: {', '.join(places)}")
    section(console, "In order, least first (those not told apart share a place)", lines)
