"""From a folder, cards and a table to tasks; what is wrong with one is said in its own line."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from chatter.batch.table import StatedRow, read_batch_table
from chatter.batch.task import Task
from chatter.errors import CardError, ChatterError, RecordingError
from chatter.job.cards import read_text, statement_from, told_by_card
from chatter.listening.finding import sought_numbers, supposed_job

if TYPE_CHECKING:
    from chatter.logbook import Book

#: Endings of what phones and recorders make.  Anything else in a folder is left alone; a file
#: that the table names is listened to whatever it is called.
ENDINGS = frozenset(
    (
        *(".m4a", ".mp4", ".mov", ".3gp", ".3g2", ".amr", ".aac", ".ogg", ".oga", ".opus", ".webm"),
        *(
            ".mkv",
            ".mka",
            ".mp3",
            ".wma",
            ".wav",
            ".flac",
            ".caf",
            ".aif",
            ".aiff",
            ".aifc",
            ".m4v",
        ),
    )
)
_NO_CARD = (
    "There is no job card for it: write '{card}' beside it, name one for all with --job, or list "
    "it in a table."
)


def gather_tasks(
    folder: str | Path,
    *,
    job: str | Path | None = None,
    table: str | Path | None = None,
    machine: str | None = None,
    cutter: str | None = None,
    stated: Mapping[str, object] | None = None,
    book: Book | None = None,
    units: str = "metric",
    reports: str | Path | None = None,
) -> tuple[Task, ...]:
    """List the recordings of a folder, and below it, with their jobs.

    The job of ``slot-3.m4a`` is on ``slot-3.toml`` beside it, else on ``job``.  With a table
    only the files in it are taken; what stands in its cells wins over the card.

    Parameters
    ----------
    folder : path
    job : path, optional
        A job card for all that have none of their own.
    table : path, optional
        CSV; see ``table.read_table``.
    machine, cutter : str, optional
        Card or name in the book, for all.
    stated : mapping, optional
        Option texts for all, as for ``job_from_cards``; they win over cards and cells.
    book : Book, optional
        Where machines and cutters are looked up by name.
    units : str
        "metric" or "inch", for the suggestions.
    reports : path, optional
        Folder for a report of each.

    Returns
    -------
    tuple of Task

    Raises
    ------
    RecordingError
        There is no such folder, or nothing to listen to in it.
    CardError
        The table cannot be read.
    """
    root = Path(folder)
    if not root.is_dir():
        raise RecordingError(f"There is no folder '{root}': name the folder of the recordings.")
    if job is not None:
        read_text(job)  # one sentence now instead of one per recording
    everywhere = StatedRow(values=dict(stated or {}), machine=machine, cutter=cutter)
    rows = list(_from_folder(root)) if table is None else read_batch_table(table, root)
    taken: set[str] = set()
    tasks = []
    for path, own in rows:
        name = path.relative_to(root).as_posix() if path.is_relative_to(root) else str(path)
        report = None if reports is None else str(_report(Path(reports), name, taken))
        tasks.append(_task(path, name, root, own.under(everywhere), job, book, units, report))
    if not tasks:
        raise RecordingError(
            f"There are no recordings in '{root}': name another folder, or list the files in a "
            "table with --table."
        )
    idles = {task.job.take.idle_path for task in tasks if task.job is not None}
    return tuple(
        task for task in tasks if not (task.job is None and task.path in idles and table is None)
    )


def _from_folder(root: Path) -> Iterable[tuple[Path, StatedRow]]:
    return ((path, StatedRow()) for path in recordings_in(root))


def recordings_in(root: Path) -> Iterable[Path]:
    """Recordings of a folder and below it, by their endings; hidden ones left out."""

    def visible(path: Path) -> bool:
        return not any(part.startswith(".") for part in path.relative_to(root).parts)

    for path in sorted(root.rglob("*")):
        if path.suffix.lower() in ENDINGS and visible(path) and path.is_file():
            yield path


def _task(
    path: Path,
    name: str,
    root: Path,
    stated: StatedRow,
    job: str | Path | None,
    book: Book | None,
    units: str,
    report: str | None,
) -> Task:
    full, whole_job, error = str(path.absolute()), None, stated.error
    names: dict[str, str] = {}
    sought: tuple[str, ...] = ()
    try:
        if error is None:
            beside = path.with_suffix(".toml")
            card = stated.card or (beside if beside.is_file() else job)
            if card is None and not stated.values:
                raise CardError(_NO_CARD.format(card=beside.name))
            texts = {}
            for section, word in (("machine", stated.machine), ("cutter", stated.cutter)):
                if word:
                    texts[section], names[section] = _part(section, word, root, book)
            values = statement_from(card, stated.values, texts=texts)
            sought = sought_numbers(values)
            with told_by_card(card):
                whole_job = supposed_job(values)
    except ChatterError as wrong:
        error = str(wrong)
    return Task(
        path=full,
        name=name,
        job=whole_job,
        sought=sought,
        error=error,
        units=units,
        report=report,
        machine=names.get("machine") or None,
        cutter=names.get("cutter") or None,
        stated=stated.for_book,
    )


def _part(section: str, word: str, root: Path, book: Book | None) -> tuple[str, str]:
    """Text of a card, and its name in the book if it was found there."""
    for place in (root / word, Path(word)):
        if word.endswith(".toml") and place.is_file():
            return read_text(place), ""
    if book is None:
        raise CardError(
            f"There is no {section} card '{word}': check its name, or name the logbook that "
            "knows it with --book."
        )
    from chatter.logbook import CutterRow, MachineRow

    row: MachineRow | CutterRow = (
        book.get(MachineRow, word) if section == "machine" else book.get(CutterRow, word)
    )
    return row.card, row.name


def _report(folder: Path, name: str, taken: set[str]) -> Path:
    """A report of its own for each, also where two recordings differ only in their ending."""
    stem = "-".join(Path(name).with_suffix("").parts).replace(" ", "-").lstrip(".-/") or "recording"
    tried, count = stem, 1
    while tried.lower() in taken:
        count += 1
        tried = f"{stem}-{count}"
    taken.add(tried.lower())
    return (folder / f"{tried}.html").absolute()
