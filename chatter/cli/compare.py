"""``chatter compare``: two or more cutters on the same job, one answer, one report."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from chatter.cli.options import (
    BookOption,
    NoReportOption,
    QuietOption,
    ReportOption,
    UnitsOption,
    check_report,
    system_named,
)
from chatter.errors import JobError, RecordingError

if TYPE_CHECKING:
    from chatter.comparing import Compared, CutterTakes, Stand
    from chatter.comparing.results import Comparison
    from chatter.job.cut import Job

#: What stands between the recordings of one cutter and those of the next.
_AGAINST = ("vs", "against")
#: What a folder is searched for.
_SUFFIXES = frozenset(
    (
        *(".wav", ".flac", ".ogg", ".oga", ".opus", ".mp3", ".m4a", ".mp4", ".mov", ".3gp"),
        *(".amr", ".aac", ".webm", ".caf", ".aif", ".aiff", ".mkv"),
    )
)


def compare_command(
    files: Annotated[
        list[str],
        typer.Argument(
            metavar="A B | A... vs B...",
            help="One recording or folder for each cutter; or several each, parted by the "
            "word vs. A number is a recording of the logbook.",
        ),
    ],
    name: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME", help="Name of a cutter, in order; repeatable."),
    ] = None,
    job: Annotated[
        list[Path] | None,
        typer.Option(
            metavar="CARD",
            help="Job card for all, or one for each cutter in order; else the card beside "
            "each recording.",
        ),
    ] = None,
    rpm: Annotated[
        str | None,
        typer.Option(metavar="N", help="Spindle speed as dialled; '57' or '57, 85' in order."),
    ] = None,
    teeth: Annotated[
        str | None,
        typer.Option(metavar="N", help="Number of teeth; '48' or one for each cutter, '48, 20'."),
    ] = None,
    json: Annotated[
        str | None,
        typer.Option(metavar="FILE", help="Write the comparison as JSON; '-' is standard output."),
    ] = None,
    report: ReportOption = None,
    no_report: NoReportOption = False,
    units: UnitsOption = None,
    log: Annotated[
        bool, typer.Option("--log", help="Store recordings and comparison in the logbook.")
    ] = False,
    book: BookOption = None,
    quiet: QuietOption = False,
) -> None:
    """Say what differs between cutters on the same job, and by how much.

    chatter compare plain.m4a staggered.m4a --rpm 57 --teeth "48, 20"

    chatter compare plain-1.m4a plain-2.m4a vs staggered-1.m4a staggered-2.m4a --job slot.toml
    """
    from chatter.cli.out import check_json
    from chatter.cli.terminal import progress_bar
    from chatter.comparing import compare

    check_report(report, no_report)
    system = "metric" if units is None else system_named(units)
    cutters = _cutters(files, name or [], job or [], rpm, teeth, book)
    recordings = (path for one in cutters for path, _ in one.takes)
    check_json(json, recordings, called="one of the recordings")
    with progress_bar("compare", shown=not quiet) as tell:
        compared = compare(cutters, units=system, progress=tell)
        written = None
        if not no_report:
            from chatter.report.compare_page import write_compare

            if tell is not None:
                tell(1.0, "writing the report")
            written = write_compare(compared, report)
    _hand_out(compared.comparison, json, written, quiet)
    if log:
        typer.echo(_store(compared, cutters, book), err=json == "-")


def _cutters(
    files: list[str],
    names: list[str],
    cards: list[Path],
    rpm: str | None,
    teeth: str | None,
    book: Path | None,
) -> list[CutterTakes]:
    """Sort recordings, cards and options to cutters."""
    from chatter.comparing import CutterTakes

    groups = _groups(files)
    count = len(groups)
    if count < 2:
        raise JobError(
            "Only one cutter is given: name the recordings of two, with the word vs between "
            "them when there are several of each."
        )
    if len(names) not in (0, count):
        raise JobError(f"{len(names)} names are given for {count} cutters: give one for each.")
    if len(cards) not in (0, 1, count):
        raise JobError(
            f"{len(cards)} job cards are given for {count} cutters: give one for all, or one each."
        )
    speeds, counts = _each(rpm, count, "speeds"), _each(teeth, count, "tooth counts")
    cutters = []
    for i, group in enumerate(groups):
        card = None if not cards else cards[i if len(cards) == count else 0]
        over = {"cut.speed": speeds[i], "cutter.teeth": counts[i]}
        recordings = [_take(name, card, over, book) for name in group]
        takes = tuple((path, job) for path, job, _ in recordings)
        stands = tuple(stand for *_, stand in recordings if stand is not None)
        cutters.append(CutterTakes(names[i] if names else _called(group[0], takes), takes, stands))
    return _apart(cutters)


def _groups(files: list[str]) -> list[list[str]]:
    """Recordings by cutter: parted by "vs", or one file or folder for each."""
    if any(word.lower() in _AGAINST for word in files):
        groups: list[list[str]] = [[]]
        for word in files:
            if word.lower() in _AGAINST:
                groups.append([])
            else:
                groups[-1].append(word)
    else:
        groups = [[word] for word in files]
    if not all(groups):
        raise JobError("No recording stands on one side of 'vs': name at least one on each side.")
    return [[take for word in group for take in _opened(word)] for group in groups]


def _opened(name: str) -> list[str]:
    """The recordings of a folder, in order of their names; anything else as it is.

    Raises RecordingError.
    """
    folder = Path(name)
    if not folder.is_dir():
        if not folder.exists() and not name.isdigit():
            what = "file" if folder.suffix else "folder"
            raise RecordingError(f"There is no {what} '{name}': check the name.")
        return [name]
    recordings = sorted(str(p) for p in folder.iterdir() if p.suffix.lower() in _SUFFIXES)
    if not recordings:
        raise RecordingError(f"There is no recording in the folder '{name}': name another.")
    return recordings


def _take(
    name: str, card: Path | None, over: dict[str, str | None], book: Path | None
) -> tuple[Path, Job, Stand | None]:
    """One recording and its job: options win over the card, a given card over the one beside.

    Phone and place are known of recordings of the logbook only.
    """
    if name.isdigit() and not Path(name).exists():
        return _logged(name, card, over, book)
    path = Path(name)
    beside = path.with_suffix(".toml")
    if card is None and beside.is_file():
        card = beside
    return path, _whole(path, card, over), None


def _whole(path: Path, card: Path | None, over: dict[str, str | None]) -> Job:
    """The job; a number that is not stated is found by the sound, and cutters are never compared
    on a guess.  Raises JobError, CardError."""
    from chatter.job.cards import statement_from, told_by_card
    from chatter.listening.finding import find_job, sought_numbers, supposed_job
    from chatter.listening.front import taken_in
    from chatter.listening.number_words import guess_sentence

    values = statement_from(card, over)
    with told_by_card(card):
        supposed = supposed_job(values)
        if not sought_numbers(values):
            return supposed
        with taken_in(path) as sound:
            completed = find_job(sound, values)
    guessed = None if completed.numbers is None else guess_sentence(completed.numbers)
    if guessed is not None:
        raise JobError(f"{path.name}: {guessed}")
    return completed.job


def _logged(
    number: str, card: Path | None, over: dict[str, str | None], book: Path | None
) -> tuple[Path, Job, Stand]:
    """A recording of the logbook, with the job it was last heard with."""
    from chatter.comparing import Stand
    from chatter.job.build import job_from_plain, merge_job
    from chatter.logbook import ListenRow, RecordingRow, file_of, open_book

    with open_book(book, write=False) as opened:
        row = opened.get(RecordingRow, number)
        path = file_of(opened, row)
        heard = opened.list(ListenRow, recording=row.uid)
        findings = heard[-1].findings if heard else None
    stand = Stand(row.phone, row.position)
    if card is not None or findings is None:
        return path, _whole(path, card, over), stand
    return path, merge_job(job_from_plain(findings.job), over), stand


def _each(stated: str | None, count: int, what: str) -> list[str | None]:
    """An option that holds one value for all cutters, or one for each."""
    if stated is None:
        return [None] * count
    values: list[str | None] = [
        one.strip() for one in stated.replace(";", ",").split(",") if one.strip()
    ]
    if len(values) not in (1, count):
        raise JobError(
            f"{len(values)} {what} are stated for {count} cutters: state one for all, or one each."
        )
    return values * count if len(values) == 1 else values


def _called(first: str, takes: tuple[tuple[Path, Job], ...]) -> str:
    """What a cutter is called: as on its card, else like its folder or recording."""
    named = takes[0][1].cutter.name
    return named or Path(first).stem


def _apart(cutters: list[CutterTakes]) -> list[CutterTakes]:
    """Cutters of one name are told apart by their recordings."""
    from dataclasses import replace

    names = [cutter.name for cutter in cutters]
    if len(set(names)) == len(names):
        return cutters
    return [
        replace(cutter, name=f"{cutter.name} ({cutter.takes[0][0].stem})")
        if names.count(cutter.name) > 1
        else cutter
        for cutter in cutters
    ]


def _hand_out(comparison: Comparison, json: str | None, written: Path | None, quiet: bool) -> None:
    from chatter.cli.out import hand_out
    from chatter.plain import to_json
    from chatter.report.compare_summary import print_comparison

    hand_out(
        lambda: to_json(comparison),
        lambda screen: print_comparison(comparison, screen),
        json,
        written,
        quiet,
    )


def _store(compared: Compared, cutters: list[CutterTakes], book: Path | None) -> str:
    """Store every recording with its findings, and the comparison; say so.  Raises BookError."""
    from chatter.logbook import add_compare, open_book, store_listen

    comparison = compared.comparison
    with open_book(book) as opened:
        rows = [
            store_listen(opened, path, job, take.findings).recording
            for cutter, heard in zip(cutters, compared.listened, strict=True)
            for (path, job), take in zip(cutter.takes, heard, strict=True)
        ]
        stored = add_compare(
            opened,
            " against ".join(side.name for side in comparison.sides),
            comparison.summary,
            comparison,
            rows,
            schema_version=comparison.schema_version,
        )
        return f"Logbook: comparison {stored.number} of {len(rows)} recordings in {opened.path}"
