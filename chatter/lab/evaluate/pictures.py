"""Pictures of the evaluation, as SVG to stand inside a page."""

from __future__ import annotations

import math

from chatter.findings import CAUSES, VERDICTS
from chatter.lab.evaluate.calibration import Reliability
from chatter.lab.evaluate.drawing import as_svg, drawing
from chatter.report.line_drawing import BAD, COOL, DIM, FAINT, GOOD, INK, RULE

#: Columns of the confusion picture; a pass that was not found has no verdict.
ANSWERS = (*VERDICTS, "not_found")
_COLOURS = {
    "normal": GOOD, "side_rubbing": "#8a4b00", "chatter": BAD, "uneven_teeth": "#5b3aa8",
    "machine_only": COOL, "cutting": COOL, "verdict": INK, "tone": DIM,
}  # fmt: skip


def words(name: str) -> str:
    """A machine name for people."""
    return {"cannot_tell": "can't tell", "not_found": "not found", "tone": "chatter line"}.get(
        name, name.replace("_", " ")
    )


def reliability_svg(tables: dict[str, Reliability]) -> str:
    """Stated probability against the share that held, one small panel per table."""
    names = list(tables)
    rows = (len(names) + 1) // 2
    with drawing(3.9, 0.4 + 1.75 * rows) as (figure, first):
        first.remove()
        grid = figure.subplots(rows, 2, sharex=True, sharey=True, squeeze=False)
        for spare in grid.flat[len(names) :]:
            spare.remove()
        for axes, name in zip(grid.flat, names, strict=False):
            one = tables[name]
            axes.plot([0, 1], [0, 1], color=RULE, lw=1)
            bins = [b for b in one.bins if b.cases >= 3]
            total = sum(b.recordings for b in bins)
            for b in bins:
                if not math.isnan(b.held_low):
                    axes.plot([b.stated] * 2, [b.held_low, b.held_high], color=DIM, lw=0.9)
            axes.plot(
                [b.stated for b in bins],
                [b.held for b in bins],
                color=_COLOURS.get(name, DIM),
                lw=1,
            )
            axes.scatter(
                [b.stated for b in bins], [b.held for b in bins],
                s=[6 + 60 * math.sqrt(b.recordings / total) for b in bins],
                color=_COLOURS.get(name, DIM), zorder=3, lw=0,
            )  # fmt: skip
            axes.set(xlim=(-0.03, 1.03), ylim=(-0.03, 1.03), aspect="equal")
            axes.set_xticks([0, 0.5, 1], ["0", "0.5", "1"])
            axes.set_yticks([0, 0.5, 1], ["0", "0.5", "1"])
            axes.set_title(f"{words(name)}: {one.error:.3f}", loc="left", fontsize=8.5, color=INK)
        figure.supxlabel("stated probability", fontsize=8.5, color=DIM)
        figure.supylabel("share that held", fontsize=8.5, color=DIM)
        told = "; ".join(f"{words(n)}: {t.error:.3f}" for n, t in tables.items())
        return as_svg(
            figure, "Reliability of the stated probabilities",
            f"Stated probability against the share that held. Mean distance from the "
            f"diagonal: {told}.",
        )  # fmt: skip


def confusion_svg(table: dict[str, dict[str, float]]) -> str:
    """Truth in rows, answers in columns; shade is the share of the row."""
    from matplotlib.patches import Rectangle

    with drawing(3.9, 3.5) as (figure, axes):
        for y, truth in enumerate(CAUSES):
            row = table.get(truth, {})
            total = sum(row.values())
            for x, answer in enumerate(ANSWERS):
                value = row.get(answer, 0.0)
                part = value / total if total else 0.0
                colour = GOOD if answer == truth else DIM if x > 4 else BAD
                axes.add_patch(
                    Rectangle((x - 0.5, y - 0.5), 1, 1, facecolor=colour, alpha=0.75 * part, lw=0)
                )
                if value:
                    text = f"{value:.0f}" if value >= 9.95 else f"{value:.1f}"
                    axes.text(x, y, text, ha="center", va="center", fontsize=9, color=INK)
            axes.axhline(y + 0.5, color=FAINT, lw=0.8)
        axes.axvline(4.5, color=RULE, lw=1)
        axes.set(xlim=(-0.5, len(ANSWERS) - 0.5), ylim=(len(CAUSES) - 0.5, -0.5))
        axes.set_xticks(range(len(ANSWERS)), [words(a) for a in ANSWERS], rotation=40, ha="left",
                        rotation_mode="anchor")  # fmt: skip
        axes.xaxis.tick_top()
        axes.set_yticks(range(len(CAUSES)), [words(c) for c in CAUSES])
        axes.tick_params(length=0, labelsize=9)
        for side in ("left", "bottom"):
            axes.spines[side].set_visible(False)
        return as_svg(
            figure, "Truth against verdict",
            "Rows are the truth, columns the verdict; numbers are recordings. " + "; ".join(
                f"{words(t)}: " + ", ".join(
                    f"{words(a)} {v:.1f}" for a, v in sorted(r.items(), key=lambda kv: -kv[1])
                ) for t, r in table.items()
            ),
        )  # fmt: skip
