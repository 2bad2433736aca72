"""The run-in report: one page to be kept with the machine's papers."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from chatter.errors import OutputError
from chatter.report.files import DEFAULT_FOLDER, write_text
from chatter.report.names import safe_stem
from chatter.runin.entries import LogEntry
from chatter.runin.parts import WORDS
from chatter.runin.plan import next_step
from chatter.runin.series import BASELINE_DATES
from chatter.runin.state import marks, show_state
from chatter.runin.study import RunIn
from chatter.runin.survey import NamedRay, Survey
from chatter.runin.trends import FALSE_FLAGS, SAME_DB, Trend

_MARK = b'<meta name="chatter-run-in"'
#: This many charts stand open; the rest would make the paper copy a book.
_MOST_CHARTS = 18
#: Longest mark on a chart.
_MARK_LETTERS = 28


@dataclass(frozen=True)
class Chart:
    """A drawn trend."""

    title: str
    verdict: str
    words: str
    svg: Any


@dataclass(frozen=True)
class RayRow:
    """One line of the table of rays."""

    where: str
    name: str
    kind: str
    heard: str
    loudest: str
    chance: str
    by_name: str


def runin_page(runin: RunIn, *, made_at: datetime | None = None) -> str:
    """The page as HTML text.

    Parameters
    ----------
    runin : RunIn
    made_at : datetime, optional
        Printed at the end; the present time if left out.
    """
    from markupsafe import Markup

    from chatter import __version__
    from chatter.report.html import template
    from chatter.trade.cautions import cautions

    worst = runin.parts[0] if runin.parts else None
    drawn = None
    if runin.survey is not None and runin.survey.rays:
        from chatter.report.runin_map import counts, map_svg

        drawn = (Markup(map_svg(runin.survey)), counts(runin.survey))
    idle = [entry for entry in runin.entries if entry.kind == "idle"]
    return template("runin.html").render(
        r=runin,
        title=runin.machine.name or "this machine",
        headline=headline(runin),
        verdict=worst.verdict if worst is not None else "cannot_tell",
        summary=runin_summary(runin),
        plate=_plate(runin),
        parts=runin.parts,
        words=WORDS,
        charts=_charts(runin),
        map=drawn,
        rays=[_ray_row(ray, runin.survey) for ray in runin.survey.rays] if runin.survey else [],
        speeds=_speed_rows(runin),
        checks=[part for part in runin.parts if part.check],
        next=next_step(runin.steps),
        steps=runin.steps,
        log=[_log_row(entry) for entry in runin.entries],
        idle=len(idle),
        cautions=cautions(None, "report"),
        baseline=BASELINE_DATES,
        false_flags=FALSE_FLAGS,
        same_db=SAME_DB,
        made_by=f"chatter {__version__}",
        made_at=(made_at or datetime.now()).strftime("%Y-%m-%d %H:%M"),
    )


def headline(runin: RunIn) -> str:
    """The answer in a few words."""
    named = {
        verdict: [part for part in runin.parts if part.verdict == verdict]
        for verdict in ("worse", "better", "same")
    }
    if named["worse"]:
        first = named["worse"][0].title
        more = len(named["worse"]) - 1
        return f"{first[:1].upper()}{first[1:]}: worse" + (f", and {more} more" if more else "")
    if named["better"]:
        return "Running in"
    if named["same"]:
        return "No change"
    return "Can't tell yet"


def runin_summary(runin: RunIn) -> str:
    """The answer in two or three sentences, after what is asked of the recordings."""
    said = [
        f"{one.entry.file.name if one.entry.file else one.entry.day.isoformat()}: {one.reason}"
        for one in runin.questions
    ]
    said += [
        f"{part.title[:1].upper()}{part.title[1:]}: {part.sentence}"
        for part in runin.parts
        if part.verdict in ("worse", "better")
    ]
    counts = [(v, sum(p.verdict == v for p in runin.parts)) for v in ("same", "cannot_tell")]
    rest = [f"{n} {'is' if n == 1 else 'are'} {_STATE[v]}" for v, n in counts if n]
    if rest and said:
        said.append(f"Of the rest {' and '.join(rest)}.")
    elif rest:
        said.append(f"Of what is followed {' and '.join(rest)}.")
    return " ".join(said) or "Nothing is followed yet: make the first recordings on the list."


_STATE = {"same": "the same as on the first dates", "cannot_tell": "undecided"}


def _plate(runin: RunIn) -> str:
    days = sorted({one.day for one in runin.entries})
    parts = []
    if days:
        parts.append(f"{days[0].isoformat()} to {days[-1].isoformat()}")
        parts.append(f"{len(days)} date{'s' if len(days) != 1 else ''}")
    hours = [one.hours for one in runin.entries if one.hours is not None]
    if hours:
        parts.append(f"{max(hours):g} running hours")
    recordings = sum(one.file is not None for one in runin.entries)
    parts.append(f"{recordings} recordings")
    return " · ".join(parts)


def _charts(runin: RunIn) -> list[Chart]:
    """Charts of what changed first, then of the rest, while there is room."""
    from markupsafe import Markup

    from chatter.report.runin_chart import trend_svg

    order = {"worse": 0, "better": 1, "cannot_tell": 2, "same": 3}
    drawn = [trend for trend in runin.trends if len(trend.points) > BASELINE_DATES]
    drawn.sort(key=lambda trend: order[trend.verdict])
    charts = []
    for at, trend in enumerate(drawn[:_MOST_CHARTS]):
        svg = trend_svg(trend, _changes(runin.entries, trend), prefix=f"trend{at}-")
        charts.append(
            Chart(
                trend.item.title, trend.verdict, _trend_words(trend),
                Markup(svg),
            )
        )  # fmt: skip
    return charts


def _changes(entries: tuple[LogEntry, ...], trend: Trend) -> dict[int, str]:
    """Where phone or place changed between two points of a trend, and marks of the log."""
    known = marks(entries)
    posts = {}
    for entry in entries:
        if entry.kind == "idle":
            posts[entry.day] = (entry.phone, entry.place)
    changes: dict[int, str] = {}
    days = [p.day for p in trend.points]
    for i, day in enumerate(days):
        since = days[i - 1] if i else day
        between = [
            w for on, what in sorted(known.items()) if since < on <= day or on == day for w in what
        ]
        if between:
            changes[i] = _short(", ".join(dict.fromkeys(between)))
    for i in range(1, len(days)):
        before, after = posts.get(days[i - 1]), posts.get(days[i])
        if before is not None and after is not None and before != after:
            new = "new phone" if before[0] != after[0] else "new place"
            changes[i] = f"{new}, {changes[i]}" if i in changes else new
    return changes


def _short(text: str) -> str:
    """As much as has room on a chart."""
    return (
        text
        if len(text) <= _MARK_LETTERS
        else f"{text[: _MARK_LETTERS - 1]}\N{HORIZONTAL ELLIPSIS}"
    )


def _trend_words(trend: Trend) -> str:
    if trend.change_db is None:
        return trend.reason
    speeds = " and ".join(f"{speed:g}" for speed in trend.speeds)
    change = (
        f"{speeds} rev/min: {trend.change_db:+.1f} dB ({trend.low_db:+.1f} to {trend.high_db:+.1f})"
    )
    tie = {"hum": ", counted from the mains hum", "stated": ", as stated: same phone and place"}
    said = change + tie.get(trend.tie, "")
    return f"{said}; {trend.reason}" if trend.reason else said


def _ray_row(named: NamedRay, surveyed: Survey) -> RayRow:
    ray = named.ray
    levels = [float(surveyed.speeds[i].level_db[j]) for i, j in ray.members]
    kind = "turns with the spindle" if ray.turns else "stays"
    where = f"{ray.at:.4g} x spindle" if ray.turns else f"{ray.at:.4g} Hz"
    name = named.name or ("not on the card" if ray.turns else "structure, room, motor or fan")
    return RayRow(
        where,
        name,
        kind,
        f"{len(ray.members)} of {ray.possible}",
        f"{max(levels):.0f} dB",
        chance_words(ray.chance),
        chance_words(named.by_chance) if named.name else "",
    )


def chance_words(chance: float) -> str:
    """A small chance for people."""
    if chance >= 0.01:
        return f"{chance:.2f}"
    return "under 1 in a million" if chance < 1e-6 else f"1 in {_round(1.0 / chance)}"


def _round(value: float) -> str:
    digits = max(0, len(str(int(value))) - 2)
    return f"{round(value / 10**digits) * 10**digits:,}".replace(",", " ")


def _speed_rows(runin: RunIn) -> list[tuple[str, str, int]]:
    """Stated speed, speed heard, lines."""
    if runin.survey is None:
        return []
    rows = []
    each = zip(
        runin.survey.stated_rev_min, runin.survey.speeds, runin.survey.speed_heard, strict=True
    )
    for stated, lines, heard in each:
        said = f"{60 * lines.spindle_hz:.1f} rev/min" if heard else "not heard"
        rows.append((f"{stated:g} rev/min", said, int(lines.lines_hz.size)))
    return rows


def _log_row(entry: LogEntry) -> tuple[str, str, str, str, str]:
    kinds = {"idle": "idling", "cut": "cut", "surface": "surface", "state": "the machine"}
    what = kinds[entry.kind]
    speed = f" at {entry.rev_min:g} rev/min" if entry.rev_min else ""
    hours = "" if entry.hours is None else f"{entry.hours:g} h"
    where = ", ".join(text for text in (entry.phone, entry.place) if text)
    file = entry.file.name if entry.file is not None else ""
    sign = entry.sign.replace("_", " ")
    return (
        entry.day.isoformat(), hours, f"{what}{speed}", where,
        "; ".join(text for text in (file, sign, show_state(entry.state), entry.note) if text),
    )  # fmt: skip


def write_runin(runin: RunIn, out: Path | None) -> Path:
    """Write the page; an earlier run-in report at the place is replaced, anything else is not.

    Raises OutputError.
    """
    name = f"run-in-{safe_stem((runin.machine.name or 'machine') + '.x')}.html"
    path = DEFAULT_FOLDER / name if out is None else out
    if path.is_dir():
        path = path / name
    if path.exists() and not _is_report(path):
        raise OutputError(
            f"'{path}' exists and is not a run-in report; name another file with --report."
        )
    return write_text(path, runin_page(runin))


def _is_report(path: Path) -> bool:
    try:
        with path.open("rb") as there:
            return re.search(_MARK, there.read(4096)) is not None
    except OSError:
        return False
