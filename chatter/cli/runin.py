"""``chatter runin``: the run-in log of a machine, kept in a folder or in the logbook.

WHERE is a folder with ``machine.toml`` and ``runin.csv``, a machine card (the log then lies
beside it), or the name of a machine in the logbook.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date as calendar
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from chatter.cli.options import RpmOption

if TYPE_CHECKING:
    from collections.abc import Sequence

    from chatter.job.machine import Machine
    from chatter.runin.entries import LogEntry
    from chatter.runin.folder import Log
    from chatter.runin.study import RunIn
    from chatter.runin.tightness import JudgedCut

runin_app = typer.Typer(
    name="runin",
    rich_markup_mode=None,
    no_args_is_help=True,
    help="Run in a newly bought machine: what to record, what it says, what changed.",
)

_Where = Annotated[
    str,
    typer.Argument(
        metavar="WHERE", help="Folder of the log, machine card, or a machine of the logbook."
    ),
]
_Book = Annotated[Path | None, typer.Option(metavar="FILE", help="The logbook; default: your own.")]


@runin_app.command("plan")
def runin_plan_command(where: _Where, book: _Book = None) -> None:
    """List what to record of a machine, what is done, and what is next."""
    from chatter.runin.plan import guided_list, next_step

    opened = _open(where, book)
    steps = guided_list(opened.log.machine, opened.log.entries)
    ahead = next_step(steps)
    name = opened.log.machine.name or "machine"
    typer.echo(f"Running in: {name}")
    for step in steps:
        mark = "done" if step.is_done else f"{step.done} of {step.wanted}"
        _echo(f"  [{mark:>6s}] {step.what}", indent=11)
    typer.echo("")
    if ahead is None:
        typer.echo("All done: record the repeat speeds again every few months.")
    else:
        _echo(f"Next: {ahead.what}. Still wanted: {ahead.missing}. Why: {ahead.why}.")
    _care()


@runin_app.command("add")
def runin_add_command(
    where: _Where,
    file: Annotated[
        Path | None, typer.Argument(metavar="FILE", help="The recording; none for a surface note.")
    ] = None,
    kind: Annotated[str | None, typer.Option(help="idle, cut or surface.")] = None,
    rpm: RpmOption = None,
    date: Annotated[str | None, typer.Option(metavar="DATE", help="2026-03-14; today.")] = None,
    hours: Annotated[
        str | None, typer.Option(metavar="H", help="Running hours since the machine was bought.")
    ] = None,
    phone: Annotated[
        str | None, typer.Option(help="Which phone: the same word every time.")
    ] = None,
    place: Annotated[str | None, typer.Option(help="Where it stood: likewise.")] = None,
    span: Annotated[
        str | None,
        typer.Option(metavar="FROM-TO", help="The stretch of a long recording at this speed."),
    ] = None,
    job: Annotated[str | None, typer.Option(metavar="CARD", help="Job card of a cut.")] = None,
    teeth: Annotated[
        str | None, typer.Option(metavar="N", help="Teeth of the cutter, without a job card.")
    ] = None,
    sign: Annotated[
        str | None, typer.Option(help="What the cut faces show: 'cross-hatch on both faces'.")
    ] = None,
    state: Annotated[
        list[str] | None,
        typer.Option(
            metavar="NAME=VALUE",
            help="How the machine was: 'front bearing=41 C', 'oil changed=yes', 'done=new belt'.",
        ),
    ] = None,
    note: Annotated[str | None, typer.Option(help="Anything worth remembering.")] = None,
    simulated: Annotated[
        bool, typer.Option("--simulated", help="Label the recording as simulated.")
    ] = False,
    anyway: Annotated[
        bool, typer.Option("--anyway", help="Add it though it does not sound like this machine.")
    ] = False,
    book: _Book = None,
) -> None:
    """Add a recording of idling, a cut or a surface note to the log."""
    alone = "state" if state and not sign else "surface"
    what = kind or (alone if file is None else "cut" if job or teeth else "idle")
    row = {
        "date": date or calendar.today().isoformat(),
        "hours": hours or "",
        "kind": what,
        "speed": rpm or "",
        "phone": phone or "",
        "place": place or "",
        "span": span or "",
        "teeth": teeth or "",
        "sign": sign or "",
        "state": "; ".join(state or ()),
        "note": note or "",
        "simulated": "yes" if simulated else "",
    }
    folder = _folder_of(where)
    if folder is not None:
        from chatter.runin.folder import add_row, entry_of
        from chatter.runin.taking import check_likeness, check_take

        row |= {"file": _beside(file, folder), "job": _beside(Path(job), folder) if job else ""}
        new = entry_of(row, folder)
        check_take(new)
        if not anyway:
            check_likeness(new, *_so_far(where, book))
        entry = add_row(folder, row)
        place_of = str(folder / "runin.csv")
    else:
        from chatter.logbook import open_book
        from chatter.runin.book import add_to_book
        from chatter.runin.folder import entry_of
        from chatter.runin.taking import check_likeness, check_take

        row |= {"file": "" if file is None else str(file), "job": job or ""}
        new = entry_of(row, Path())
        check_take(new)
        if not anyway:
            check_likeness(new, *_so_far(where, book))
        with open_book(book) as there:
            entry = add_to_book(there, where, row)
            place_of = str(there.path)
    typer.echo(f"Added to {place_of}: {_told(entry)}.")


@runin_app.command("survey")
def survey_command(
    where: _Where,
    picture: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Draw the speed-frequency map (SVG).")
    ] = None,
    book: _Book = None,
) -> None:
    """Say which lines turn with the spindle and which stay, from idling at several speeds."""
    from chatter.errors import JobError

    opened = _open(where, book)
    first = _first_of_each_speed(opened.log.entries)
    if len(first) < 3:
        raise JobError(
            f"There is idling at {len(first)} speed{'s' if len(first) != 1 else ''} in the log: "
            "record at least three speeds."
        )
    done = _studied(opened, entries=first, cuts=False)
    for line in survey_words(done):
        typer.echo(line)
    if picture is not None and done.survey is not None:
        from chatter.report.files import write_text
        from chatter.report.runin_map import map_svg

        write_text(picture, map_svg(done.survey))
        typer.echo(f"Map: {picture}")
    _skipped(done)
    _care()


@runin_app.command("report")
def report_command(
    where: _Where,
    report: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write it here; default in reports/.")
    ] = None,
    cuts: Annotated[bool, typer.Option("--cuts/--no-cuts", help="Listen to the cuts too.")] = True,
    book: _Book = None,
) -> None:
    """Say what is better, the same or worse since the first day, and write the report."""
    from chatter.errors import JobError
    from chatter.report.runin_page import headline, write_runin
    from chatter.runin.parts import WORDS

    opened = _open(where, book)
    if not opened.log.entries:
        raise JobError(
            "The log is empty: 'chatter runin plan' says what to record, 'chatter runin add' "
            "adds it."
        )
    done = _studied(opened, cuts=cuts)
    mark = " (simulated recordings)" if done.simulated else ""
    typer.echo(f"{done.machine.name or 'Machine'}{mark}: {headline(done)}")
    for question in done.questions:
        _echo(f"   asked of  {entry_name(question.entry)}: {question.reason}", indent=14)
    for part in done.parts:
        _echo(f"  {WORDS[part.verdict]:>10s}  {part.title}: {part.sentence}", indent=14)
    for hint in done.hints:
        _echo(f"        hint  {hint.seen} {hint.says}", indent=14)
    _skipped(done)
    written = write_runin(done, report)
    typer.echo("")
    typer.echo(f"Report: {written}")
    _care()


# ---------------------------------------------------------------- helpers


@dataclass(frozen=True)
class _Found:
    log: Log
    cuts: dict[int, JudgedCut] | None = None  # of the logbook: already judged


def _folder_of(where: str) -> Path | None:
    """The folder that is meant; None when it is a machine of the logbook."""
    path = Path(where)
    if path.is_dir():
        return path
    if path.suffix == ".toml" or path.is_file():
        return path.parent
    return None


def _open(where: str, book: Path | None) -> _Found:
    from chatter.runin.folder import load_folder

    folder = _folder_of(where)
    if folder is not None:
        card = None if Path(where).is_dir() else Path(where)
        return _Found(load_folder(folder, card))
    from chatter.errors import BookError
    from chatter.logbook import open_book
    from chatter.places import places
    from chatter.runin.book import load_book

    if not places(book).book.exists():
        raise BookError(
            f"'{where}' is neither a folder nor a machine card, and there is no logbook at "
            f"'{places(book).book}': check the name."
        )
    try:
        with open_book(book, write=False) as there:
            return _Found(*load_book(there, where))
    except BookError as wrong:
        raise BookError(f"'{where}' is neither a folder nor a machine card. {wrong}") from wrong


def _so_far(where: str, book: Path | None) -> tuple[Machine, tuple[LogEntry, ...]]:
    """The machine and its log before an entry is added."""
    log = _open(where, book).log
    return log.machine, log.entries


def _studied(opened: _Found, *, entries: Sequence[LogEntry] | None = None, cuts: bool) -> RunIn:
    from chatter.cli.terminal import progress_bar
    from chatter.runin.study import study

    log = opened.log
    with progress_bar("run-in", shown=True) as tell:
        return study(
            log.machine,
            log.entries if entries is None else entries,
            hear_cut=_judge_of(opened) if cuts else None,
            progress=tell,
            simulated=log.simulated,
        )


def _judge_of(opened: _Found) -> Callable[[LogEntry], JudgedCut]:
    """What a cut was judged as: out of the book, or by listening now."""
    if opened.cuts is not None:
        known = {opened.log.entries[i]: cut for i, cut in opened.cuts.items()}
        return lambda entry: known[entry]

    def judge(entry: LogEntry) -> JudgedCut:
        from chatter.job.cards import job_from_cards
        from chatter.listening.front import listen
        from chatter.runin.tightness import cut_of

        assert entry.file is not None, "a cut has its recording"
        stated = {"cut.speed": entry.rev_min, "cutter.teeth": entry.teeth}
        options = {name: str(value) for name, value in stated.items() if value is not None}
        job = job_from_cards(entry.job, options)
        return cut_of(entry, listen(entry.file, job).findings, job.cutter.name)

    return judge


def survey_words(done: RunIn) -> list[str]:
    """The survey as lines of text."""
    from chatter.report.runin_page import chance_words
    from chatter.runin.hypotheses import would_be

    survey = done.survey
    if survey is None:
        return ["Can't tell: fewer than three speeds could be heard."]
    mark = " (simulated recordings)" if done.simulated else ""
    lines = [f"{done.machine.name or 'Machine'}{mark}, idling at {len(survey.speeds)} speeds:"]
    each = zip(survey.stated_rev_min, survey.speeds, survey.speed_heard, strict=True)
    for stated, speed, heard in each:
        said = f"{60 * speed.spindle_hz:7.1f} heard" if heard else "  not heard"
        lines.append(f"  {stated:6g} rev/min on the dial, {said}, {speed.lines_hz.size:3d} lines")
    if not any(survey.speed_heard):
        lines.append("  No gear of the card told the speed: orders are counted on the dial's.")
    for turns, head in ((True, "Turn with the spindle:"), (False, "Stay where they are:")):
        rays = [one for one in survey.rays if one.ray.turns == turns]
        lines.append(head if rays else f"{head} none that chance does not explain.")
        for named in rays:
            ray, unit = named.ray, "x" if turns else "Hz"
            name = named.name or (would_be(ray.at) if turns else "no name on the card")
            lines.append(
                f"  {ray.at:8.2f} {unit:2s}  {len(ray.members)} of {ray.possible} "
                f"speeds, by chance {chance_words(ray.chance)}: {name}"
            )
    lines += [f"  {gear.name} (mesh at {gear.order:g} x): {gear.says}" for gear in survey.gears]
    lines.append(f"{survey.unexplained} lines belong to neither.")
    return lines


def _first_of_each_speed(entries: Sequence[LogEntry]) -> tuple[LogEntry, ...]:
    from chatter.runin.entries import by_speed, sorted_entries

    return tuple(own[0] for own in by_speed(sorted_entries(entries)).values())


def _beside(file: Path | None, folder: Path) -> str:
    """A file as the table holds it: relative where it lies in the folder."""
    if file is None:
        return ""
    whole = file.absolute()
    inside = whole.is_relative_to(folder.absolute())
    return (whole.relative_to(folder.absolute()) if inside else whole).as_posix()


def _told(entry: LogEntry) -> str:
    speed = f" at {entry.rev_min:g} rev/min" if entry.rev_min else ""
    what = {"idle": "idling", "cut": "a cut", "surface": "a surface note"}.get(
        entry.kind, "the state of the machine"
    )
    hours = "" if entry.hours is None else f", {entry.hours:g} running hours"
    return f"{what}{speed}, {entry.day.isoformat()}{hours}"


def _skipped(done: RunIn) -> None:
    for skipped in done.skipped:
        _echo(f"    not used  {entry_name(skipped.entry)}: {skipped.reason}", indent=14)


def entry_name(entry: LogEntry) -> str:
    """An entry in few words: its file, else its date."""
    return entry.file.name if entry.file else entry.day.isoformat()


def _care() -> None:
    from chatter.report.care import on_terminal
    from chatter.trade.cautions import cautions

    for caution in on_terminal(cautions(None, "report"), "with 'chatter help cautions'"):
        _echo(caution if caution.startswith("(") else f"Caution: {caution}", indent=9)


def _echo(text: str, indent: int = 0) -> None:
    """Print a long line in the width of a page."""
    from textwrap import fill

    typer.echo(fill(text, 98, subsequent_indent=" " * indent, break_on_hyphens=False))
