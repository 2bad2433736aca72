"""What a fit says: tables for the terminal, and the picture of what each piece brings."""

from __future__ import annotations

from collections.abc import Sequence

from chatter.lab.evaluate.ablation import Worth
from chatter.lab.evaluate.fit import Fitted, unused
from chatter.lab.evaluate.pictures import words
from chatter.listening.evidence import pieces
from chatter.report.line_drawing import BAD, COOL, DIM, RULE, as_svg, drawing

_TITLES = {piece.name: piece.title for piece in pieces()}


def fit_lines(models: dict[str, Fitted]) -> str:
    """Cross-validated figures of every cause."""
    lines = [
        f"{'cause':14s} {'passes':>7s} {'rec.':>6s} {'share':>7s} {'log loss':>9s} {'Brier':>7s} "
        f"{'off by':>7s} {'chance':>7s} {'AUC':>6s} {'recall':>7s} {'false':>7s} {'ridge':>6s}"
    ]
    for name, one in models.items():
        q = one.quality
        lines.append(
            f"{name:14s} {q.passes:7d} {q.recordings:6d} {100 * q.positive:6.1f}% "
            f"{q.log_loss:9.3f} {q.brier:7.3f} {q.calibration.error:7.3f} "
            f"{q.calibration.chance_error:7.3f} {q.auc:6.3f} {100 * q.recall:6.1f}% "
            f"{100 * q.false_alarms:6.1f}% {one.ridge:6g}"
        )
    for name, one in models.items():
        if one.held:
            lines.append(f"{name}: worth nothing: {', '.join(one.held)}")
    if unused():
        lines.append(f"pieces that serve no cause: {', '.join(unused())}")
    return "\n".join(lines)


def ablation_lines(table: Sequence[Worth]) -> str:
    """The ablation table."""
    lines = [
        f"{'cause':14s} {'piece':22s} {'reach':>8s} {'loss without':>13s} {'95 %':>19s} "
        f"{'balanced':>9s} {'alone':>8s}"
    ]
    for w in sorted(table, key=lambda w: (w.cause, -w.log_loss)):
        lines.append(
            f"{w.cause:14s} {w.piece:22s} {w.reach:8.3f} {w.log_loss:+13.4f} "
            f"{w.low:+9.4f} {w.high:+9.4f} {100 * w.balanced:+8.2f}% {w.alone:+8.4f}"
        )
    return "\n".join(lines)


def ablation_svg(table: Sequence[Worth], cause: str) -> str:
    """What the log loss of one cause gains from each piece."""
    rows = sorted((w for w in table if w.cause == cause), key=lambda w: w.log_loss)
    with drawing(3.9, 0.55 + 0.19 * len(rows)) as (figure, axes):
        for y, w in enumerate(rows):
            axes.plot([w.low, w.high], [y, y], color=RULE, lw=2.4)
            colour = COOL if w.low > 0 else BAD if w.high < 0 else DIM
            axes.plot(w.log_loss, y, "o", ms=4.5, color=colour)
        axes.axvline(0, color=DIM, lw=0.8)
        axes.set_yticks(range(len(rows)), [_TITLES[w.piece] for w in rows])
        axes.set_ylim(-0.7, len(rows) - 0.3)
        axes.tick_params(axis="y", length=0, labelsize=8.2)
        axes.spines["left"].set_visible(False)
        axes.locator_params(axis="x", nbins=4)
        axes.set_xlabel("log loss without it, rise")
        told = "; ".join(f"{_TITLES[w.piece]} {w.log_loss:+.4f}" for w in reversed(rows))
        return as_svg(figure, f"What each piece brings: {words(cause)}", told)
