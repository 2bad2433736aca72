"""The counts as text."""

from __future__ import annotations

from chatter.lab.fuzz.damage import WAYS
from chatter.lab.fuzz.run import CONFIDENT, Tally

_ENDS = ("answer", "sentence", "fault", "crash", "hang")
_SHOWN = 20


def tally_page(tally: Tally, seed: int) -> str:
    """The page of figures, in Markdown."""
    outcomes = tally.outcomes
    lines = [
        f"{len(outcomes)} damaged files (made-up cuts; seed {seed}).",
        "",
        "| by | " + " | ".join((*_ENDS, "printed by a library", "confident verdict")) + " |",
        "|---|" + "--:|" * 7,
        _row("all", tally, lambda _one: True),
    ]
    for work in dict.fromkeys(one.work for one in outcomes):
        lines.append(_row(f"work: {work}", tally, lambda one, work=work: one.work == work))
    for way in WAYS:
        lines.append(_row(f"damage: {way}", tally, lambda one, way=way: one.way == way))
    for name in dict.fromkeys(one.seed_file for one in outcomes):
        lines.append(_row(f"file: {name}", tally, lambda one, name=name: one.seed_file == name))
    slowest = max(outcomes, key=lambda one: one.seconds)
    widest = max(outcomes, key=lambda one: one.peak_mb)
    lines += [
        "",
        f"Slowest: {slowest.seconds:.1f} s (number {slowest.number}, {slowest.way}). Peak memory "
        f"of a worker: {widest.peak_mb:.0f} MB (number {widest.number}, {widest.way}).",
        "",
        f"Confident is a verdict of {CONFIDENT:g} or more. The whole file holds chatter, so that "
        "'chatter' of a file that lost little is right; others are listed.",
        "",
    ]
    other = [one for one in tally.confident if one.verdict != "chatter"]
    lines += [f"- {_told(one)}: {one.verdict} {one.confidence:.2f}" for one in other[:_SHOWN]]
    lines += [f"- {_told(one)}: {one.end} {one.said} ({one.words} bytes printed)"
              for one in tally.wrong[:_SHOWN]]  # fmt: skip
    return "\n".join(lines).rstrip() + "\n"


def _told(one) -> str:
    return f"number {one.number}, {one.seed_file}, {one.way}, {one.work}"


def _row(title: str, tally: Tally, which) -> str:
    ends = tally.ends(which)
    printed = sum(bool(one.words) for one in tally.outcomes if which(one))
    confident = sum(which(one) for one in tally.confident)
    counts = [*(ends[end] for end in _ENDS), printed, confident]
    return f"| {title} | " + " | ".join(str(count) for count in counts) + " |"
