"""The scores of labelled collections on a terminal: one column a part."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from chatter.findings import VERDICTS
from chatter.lab.evaluate.labelled.listeners import Agreement
from chatter.lab.evaluate.labelled.reading import LabelledRecording
from chatter.lab.evaluate.labelled.scoring import PartFigures
from chatter.lab.evaluate.labelled.units import Unit
from chatter.lab.evaluate.pictures import words
from chatter.teaching.shares import Share

_FIRST, _WIDE = 42, 27


def cell(one: Share) -> str:
    """Hits of how many, per cent and interval."""
    if not one.total:
        return "–"
    low, high = one.interval
    counts = f"{_count(one.hits)}/{_count(one.total)}"
    return f"{counts} {100 * one.value:.1f} ({100 * low:.0f} to {100 * high:.0f})"


def _count(value: float) -> str:
    return f"{value:.0f}" if abs(value - round(value)) < 1e-6 else f"{value:.1f}"


def figures_table(parts: Sequence[PartFigures]) -> str:
    """Every figure, a column a part: hits/of how many, per cent, Wilson's 95 % interval."""
    lines = [_row("", [part.title for part in parts])]
    lines.append(_row("recordings (refused, crashed)", [
        f"{p.recordings} ({p.refused}, {p.crashed})" for p in parts
    ]))  # fmt: skip

    def add(name: str, of: Callable[[PartFigures], str]) -> None:
        lines.append(_row(name, [of(part) for part in parts]))

    add("chatter named by verdict, of all", lambda p: cell(p.chatter.named))
    add("  of those that stand 20 dB out", lambda p: cell(p.chatter.named_audible))
    add("chatter named where there is none", lambda p: cell(p.chatter.false))
    for i, point in enumerate(parts[0].chatter.curve):
        title = f"chatter named at {100 * point.false_alarms:g} % false, of all"
        add(title, lambda p, i=i: cell(p.chatter.curve[i].recall))
    add("  its bound at 3 %", lambda p: f"above {_at(p, 0.03).bound:.3f}")
    add("area under recall over false alarms", lambda p: _plain(p.chatter.area))
    add("by pass: chatter named, of all", lambda p: cell(p.pass_chatter.named))
    add("by pass: chatter named where none", lambda p: cell(p.pass_chatter.false))
    for i, point in enumerate(parts[0].pass_chatter.curve[:4]):
        title = f"by pass: chatter at {100 * point.false_alarms:g} % false"
        add(title, lambda p, i=i: cell(p.pass_chatter.curve[i].recall))
    add("by pass: area", lambda p: _plain(p.pass_chatter.area))
    for name in dict.fromkeys(name for part in parts for name in part.right):
        add(f"right of answered: {words(name)}"[:_FIRST], lambda p, n=name: (
            cell(p.right[n]) if n in p.right else "–"
        ))  # fmt: skip
    for name in parts[0].shares:
        add(name, lambda p, n=name: cell(p.shares[n]))
    for name, of in (("0.5", "median"), ("0.9", "90th percentile")):
        add(f"speed error of found passes, {of}", lambda p, n=name: _percent(p.speed_error[n]))
    for name in parts[0].reliability:
        add(f"calibration error: {name}", lambda p, n=name: _calibration(p, n))
    return "\n".join(lines)


def _at(part: PartFigures, allowed: float):
    return next(one for one in part.chatter.curve if one.false_alarms == allowed)


def _row(name: str, cells: Sequence[str]) -> str:
    return f"{name:{_FIRST}s}" + "".join(f"{one:>{_WIDE}s}" for one in cells)


def _plain(value: float) -> str:
    return "–" if math.isnan(value) else f"{value:.3f}"


def _percent(value: float) -> str:
    return "–" if math.isnan(value) else f"{100 * value:.2f} %"


def _calibration(part: PartFigures, name: str) -> str:
    one = part.reliability[name]
    if math.isnan(one.error):
        return "–"
    return f"{one.error:.3f} (by chance {one.chance_error:.3f})"


def confusion_table(part: PartFigures) -> str:
    """What was said (rows) against what the program answered (columns)."""
    answers = [a for a in VERDICTS if any(a in row for row in part.confusion.values())]
    answers += sorted({a for row in part.confusion.values() for a in row} - set(answers))
    head = f"{part.title}: labelled, answer >"
    lines = [f"{head[:_FIRST]:{_FIRST}s}" + "".join(f"{words(a)[:13]:>14s}" for a in answers)]
    for label, row in part.confusion.items():
        cells = "".join(f"{_count(row.get(a, 0.0)):>14s}" for a in answers)
        lines.append(f"{words(label)[:_FIRST]:{_FIRST}s}{cells}")
    return "\n".join(lines)


def agreement_lines(found: Sequence[Agreement]) -> str:
    """The listeners against each other."""
    lines = [f"{'listeners':40s} {'both':>6s} {'same':>6s}  kappa (95 %)"]
    lines += [
        f"{one.one + ' and ' + one.other:40s} {one.both:6d} {one.same:6d}  "
        + ("–" if math.isnan(one.kappa) else f"{one.kappa:.2f} ({one.low:.2f} to {one.high:.2f})")
        for one in found
    ]
    return "\n".join(lines)


def worst_recordings(
    recordings: Sequence[LabelledRecording], units: Sequence[Unit], count: int
) -> list[Unit]:
    """The worst first: confident and wrong, then wrong, then chatter missed or not answered."""

    def grave(unit: Unit) -> tuple[int, float]:
        if unit.wrong:
            return (0, -unit.confidence)
        missed = unit.said.chatters and "chatter" not in unit.named
        return (1, unit.p_chatter) if missed else (2, -unit.p_chatter)

    cut = [u.recording for u in units if recordings[u.recording].cutting]
    bad = [u for u in units if u.wrong or (not u.answered and u.recording in cut)]
    return sorted(bad, key=grave)[:count]


def worst_recording_lines(
    recordings: Sequence[LabelledRecording], units: Sequence[Unit], count: int
) -> str:
    """One line each, so that they can be listened to."""
    lines = [
        f"{'the worst':34s} {'labelled':14s} {'answer':14s} {'sure':>5s} {'p chatter':>9s} "
        f"{'rev/min':>8s} {'stands out':>10s}"
    ]
    for u in worst_recordings(recordings, units, count):
        one = recordings[u.recording]
        out = u.said.stands_out_db
        label = u.said.label or "|".join(sorted(u.said.accept))
        lines.append(
            f"{f'{one.folder}/{one.path.name}'[:34]:34s} {label[:14]:14s} "
            f"{words(u.verdict)[:14]:14s} {u.confidence:5.2f} {u.p_chatter:9.3f} "
            f"{one.said.true_rev_min or one.rev_min:8.1f} "
            f"{'–' if out is None else f'{out:.0f} dB':>10s}"
        )
    return "\n".join(lines)
