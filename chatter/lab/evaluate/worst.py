"""The worst answers, one line each, so that they can be made again and listened to."""

from __future__ import annotations

from collections.abc import Sequence

from chatter.lab.evaluate.cases import JudgedCase


def worst(cases: Sequence[JudgedCase], count: int = 25) -> list[JudgedCase]:
    """Answers that name no cause that holds, the most confident first; one per recording."""
    wrong = [c for c in cases if c.answered and not c.defensible]
    seen: set[int] = set()
    kept = []
    for one in sorted(wrong, key=lambda c: -c.confidence):
        if one.recording not in seen:
            seen.add(one.recording)
            kept.append(one)
    return kept[:count]


def worst_lines(cases: Sequence[JudgedCase]) -> str:
    """A table of the worst answers."""
    lines = [
        f"{'item':>5s} {'kind':16s} {'truth':14s} {'answer':14s} {'sure':>5s} {'regime':10s} "
        f"{'rev/min':>8s} {'heard':>8s} {'teeth':>5s} {'f_c':>7s} {'found':>7s} {'over dB':>8s} "
        f"{'length':>7s} also heard"
    ]
    for c in worst(cases):
        true, found = c.true_pass, c.found_pass
        beside = ", ".join(c.conditions.get("distractors") or ())
        lines.append(
            f"{c.recording:5d} {c.kind:16s} {'+'.join(sorted(c.holds))[:14]:14s} {c.answer:14s} "
            f"{c.confidence:5.2f} {c.conditions.get('regime', ''):10s} "
            f"{_number(true.rev_min if true else None)} {_number(found.rev_min)} "
            f"{c.outcome.stated_teeth:5d} {_number(true.chatter_hz if true else None, 7)} "
            f"{_number(found.chatter_hz, 7)} {_number(c.conditions.get('snr_db'))} "
            f"{found.end_s - found.start_s:6.1f}s {beside}"
        )
    return "\n".join(lines)


def _number(value: float | None, width: int = 8) -> str:
    return f"{'–' if value is None else f'{value:.1f}':>{width}s}"
