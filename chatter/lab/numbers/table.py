"""The table: of each statement how many were found right, passed over, or answered wrongly."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from chatter.lab.evaluate.intervals import wilson
from chatter.lab.numbers.asking import StatementAnswer
from chatter.listening.numbers import FEWEST_COUNTED

_TURNS = 20.0
#: Title of a part of the table -> which rows.
_PARTS: tuple[tuple[str, Callable[[StatementAnswer], bool]], ...] = (
    ("all recordings", lambda _: True),
    ("the teeth stand out", lambda one: one.audible),
    ("13 teeth or more, 20 turns or more", lambda one: one.case.teeth >= FEWEST_COUNTED
     and one.turns >= _TURNS),
    ("13 teeth or more, uneven or rubbing", lambda one: one.case.teeth >= FEWEST_COUNTED
     and one.case.label in ("uneven_teeth", "side_rubbing")),
)  # fmt: skip


def lines_of(asked: Sequence[StatementAnswer]) -> list[str]:
    """The table as text."""
    lines = []
    for title, wanted in _PARTS:
        rows = [one for one in asked if wanted(one)]
        lines += ["", f"{title} ({len({one.case.path for one in rows})} recordings)"]
        lines.append(f"{'stated':16} {'n':>4}  {'right':20} {'silent':20} {'wrong':20} held back")
        for name in dict.fromkeys(one.statement.name for one in rows):
            of = [one.outcome for one in rows if one.statement.name == name]
            shares = " ".join(
                f"{share_cell(of.count(what), len(of)):20}" for what in ("right", "silent", "other")
            )
            held = sum(one.held for one in rows if one.statement.name == name)
            lines.append(f"{name:16} {len(of):4}  {shares} {share_cell(held, len(of))}")
    return lines


def share_cell(hits: int, total: int) -> str:
    """ "12.0 % (8.1-17.4)", with Wilson's interval."""
    if not total:
        return "-"
    low, high = wilson(hits, total)
    return f"{100 * hits / total:.1f} % ({100 * low:.1f}-{100 * high:.1f})"
