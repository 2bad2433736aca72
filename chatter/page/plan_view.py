"""A plan as rows of text for its page."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from chatter.job import show
from chatter.job.times import show_time
from chatter.planning.front import advice_lines, counts_turns, title_of

if TYPE_CHECKING:
    from collections.abc import Iterable

    from chatter.planning.front import Plan
    from chatter.planning.setting import Setting


@dataclass(frozen=True)
class PlanView:
    """What the template shows."""

    title: str
    head: tuple[str, ...]
    columns: tuple[str, ...]  # labels of the settings
    first: int | None  # column of the careful first choice
    rows: tuple[tuple[str, tuple[str, ...]], ...]
    notes: tuple[str, ...]  # numbered from 1, as the table names them
    lists: tuple[tuple[str, tuple[str, ...]], ...]
    cautions: tuple[str, ...]


def plan_view(plan: Plan, units: str) -> PlanView:
    """The view of a plan in "inch" or "metric"."""
    notes: dict[str, int] = {}
    for setting in plan.settings:
        for problem in setting.problems:
            notes.setdefault(problem, len(notes) + 1)
    noted = tuple(
        each for each in plan.warnings if not any(each.endswith(problem) for problem in notes)
    )
    lists = (
        ("How to go on", plan.step_up),
        ("Warnings", noted),
        ("Not stated", plan.missing),
        ("From", plan.sources),
    )
    firsts = [at for at, setting in enumerate(plan.settings) if setting == plan.first]
    return PlanView(
        title=title_of(plan),
        head=tuple(f"{line}." for line in advice_lines(plan, units)),
        columns=tuple(setting.label or "to compare" for setting in plan.settings),
        first=firsts[0] if firsts else None,
        rows=tuple(_rows(plan, units, notes)),
        notes=tuple(notes),
        lists=tuple((title, tuple(lines)) for title, lines in lists if lines),
        cautions=plan.cautions,
    )


def _rows(plan: Plan, units: str, notes: dict[str, int]) -> list[tuple[str, tuple[str, ...]]]:
    settings, teeth = plan.settings, plan.cutter.teeth

    def row(
        name: str, kind: str, digits: int, values: Iterable[float | None]
    ) -> tuple[str, tuple[str, ...]]:
        cells = tuple("" if v is None else show.show(v, kind, units, digits) for v in values)
        return name, cells

    rows = [
        row("Spindle speed", "spindle speed", 4, (s.rev_min for s in settings)),
        row("Table feed", "feed", 3, (s.feed_m_s for s in settings)),
        row("Chip load", "chip load", 3, (s.chip_load_m for s in settings)),
        row(
            "Feed a turn",
            "length",
            3,
            (
                None
                if s.chip_load_m is None or not counts_turns(plan.cutter)
                else s.chip_load_m * teeth
                for s in settings
            ),
        ),
        row("Cutting speed", "cutting speed", 3, (s.cutting_speed_m_s for s in settings)),
        row("Thickest chip", "length", 2, (s.chip_max_m for s in settings)),
        row("Mean chip", "length", 2, (s.chip_mean_m for s in settings)),
        row("Tooth passing", "frequency", 3, (s.tooth_passing_hz for s in settings)),
        (
            "Time of a pass, min:s",
            tuple("" if s.time_s is None else show_time(round(s.time_s)) for s in settings),
        ),
        ("Motor power", tuple(_power(s, units) for s in settings)),
        ("Steps of the machine", tuple("yes" if s.on_machine else "" for s in settings)),
        ("Notes", tuple(", ".join(str(notes[p]) for p in s.problems) for s in settings)),
    ]
    return [(name, cells) for name, cells in rows if any(cells)]


def _power(setting: Setting, units: str) -> str:
    if setting.power_w is None:
        return ""
    low, high = (show.show(value, "power", units, 2) for value in setting.power_w)
    return f"{low.split(' ')[0]} to {high}"
