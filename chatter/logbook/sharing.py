"""A labelled collection out of the book: recordings, one table, and what it means.

Sound may hold voices: whoever asks for it is told so before (see ``chatter.cli.log_whole``).
Without sound the table stands beside ``answers.csv``, what the program found in each pass as
numbers free of the phone's gain.
"""

from __future__ import annotations

import csv
import shutil
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from chatter.errors import BookError, ChatterError
from chatter.findings import CAUSES, Findings
from chatter.job.cut import Job
from chatter.logbook.book import Book
from chatter.logbook.collection import COLUMNS, FILE, Labelled, write_table
from chatter.logbook.exporting import new_folder
from chatter.logbook.labels import by_pass, counting
from chatter.logbook.listens import latest_listens
from chatter.logbook.recordings import file_of
from chatter.logbook.rows import CutterRow, LabelRow, MachineRow, RecordingRow
from chatter.logbook.saying import spoken

ANSWERS = "answers.csv"
README = "README.txt"


@dataclass(frozen=True)
class Shared:
    """What was written."""

    labels: int
    recordings: int
    missing: tuple[str, ...]  # a sentence for each recording whose file is gone


@dataclass(frozen=True)
class _One:
    """A labelled recording of the book."""

    row: RecordingRow
    name: str  # its file in the collection
    job: Job
    machine: str
    cutter: str
    labels: tuple[LabelRow, ...]
    findings: Findings | None


def share_collection(book: Book, folder: str | Path, *, sound: bool) -> Shared:
    """Write every labelled recording as a collection that anyone can read.

    Parameters
    ----------
    book : Book
    folder : path
        New or empty.
    sound : bool
        Whether the recordings go with it.

    Raises
    ------
    BookError
        Nothing is labelled, or the folder cannot be written.
    """
    ones = list(_labelled(book))
    if not ones:
        raise BookError(
            "No recording that was listened to is labelled: say what cuts really were with "
            "'chatter log label' first."
        )
    target, missing, kept = new_folder(folder), [], []
    with spoken(target):
        for shared in ones:
            if sound:
                try:
                    shutil.copyfile(file_of(book, shared.row), target / shared.name)
                except BookError as gone:
                    missing.append(str(gone))
                    continue
            kept.append(shared)
        rows = [row for shared in kept for row in _rows(shared)]
        write_table(target / FILE, rows)
        _write_answers(target / ANSWERS, kept)
        (target / README).write_text(_readme(sound), encoding="utf-8")
    return Shared(len(rows), len(kept), tuple(missing))


def _labelled(book: Book) -> Iterator[_One]:
    said: dict[str, list[LabelRow]] = {}
    for label in book.each(LabelRow):
        said.setdefault(label.recording, []).append(label)
    for heard in latest_listens(book):
        labels = said.get(heard.recording.uid)
        if not labels:
            continue
        try:
            findings = heard.listen.findings
        except ChatterError:  # of a form this program does not read any more
            findings = None
        machine = heard.recording.machine or heard.job.machine
        yield _One(
            heard.recording,
            f"{heard.recording.number:05d}{Path(heard.recording.name).suffix.lower()}",
            heard.job.job,
            "" if machine is None else book.get(MachineRow, machine).name,
            "" if heard.job.cutter is None else book.get(CutterRow, heard.job.cutter).name,
            tuple(labels),
            findings,
        )


def _rows(shared: _One) -> Iterator[Labelled]:
    """One row a label that counts: of each person the newest of each pass."""
    of_passes, left = by_pass(shared.labels, shared.findings)
    passes = () if shared.findings is None else shared.findings.passes
    every = bool(passes) and len(of_passes) == len(passes)
    for each in of_passes:
        for label in each.labels:
            yield _row(shared, label, each.one_pass.start_s, each.one_pass.end_s, every)
    for label in counting(x for x in left if x.pass_index is None):
        yield _row(shared, label, None, None, every)
    for label in left:  # of passes that the newest listen does not find
        if label.pass_index is not None and label.start_s is not None:
            yield _row(shared, label, label.start_s, label.end_s, every)


def _row(
    shared: _One, label: LabelRow, start: float | None, end: float | None, every: bool
) -> Labelled:
    cut, cutter = shared.job.cut, shared.job.cutter
    recorded = shared.row.recorded_at or shared.row.created_at
    return Labelled(
        file=shared.name,
        start_s=start,
        end_s=end,
        label=label.verdict,
        how_known=label.how_known,
        who=label.by,
        cured_by=label.cure,
        day=datetime.fromisoformat(recorded).astimezone().date().isoformat(),
        all_passes=every,
        speed_rev_min=cut.speed_rev_min,
        teeth=cutter.teeth,
        machine=shared.machine,
        cutter=shared.cutter,
        cutter_form=cutter.form or "",
        diameter_mm=_mm(cutter.diameter_m),
        width_mm=_mm(cutter.width_m),
        material=cut.material or "",
        direction=cut.direction or "",
        feed_mm_min=None if cut.feed_m_s is None else cut.feed_m_s * 60e3,
        depth_mm=_mm(cut.depth_m),
        phone=shared.row.phone,
        simulated=shared.row.simulated,
        note=label.note,
    )


def _mm(length_m: float | None) -> float | None:
    return None if length_m is None else length_m * 1e3


def _write_answers(path: Path, ones: Sequence[_One]) -> None:
    """What the program found in every pass of every recording."""
    measures = sorted(
        {
            name
            for shared in ones
            if shared.findings
            for p in shared.findings.passes
            for name in p.measures
        }
    )
    heads = ["file", "start_s", "end_s", "verdict", "confidence", "heard_rev_min", "made_by"]
    with path.open("w", encoding="utf-8", newline="") as out:
        sheet = csv.writer(out)
        sheet.writerow([*heads, *(f"p_{cause}" for cause in CAUSES), *measures])
        for shared in ones:
            if shared.findings is None:
                continue
            for p in shared.findings.passes:
                before = p.untuned or p.probabilities
                sheet.writerow(
                    [
                        *(shared.name, f"{p.start_s:.3f}", f"{p.end_s:.3f}", p.verdict),
                        *(f"{p.confidence:.4f}", f"{p.spindle.rev_min:.4f}"),
                        shared.findings.made_by,
                        *(f"{before.get(cause, float('nan')):.5f}" for cause in CAUSES),
                        *(f"{p.measures.get(name, float('nan')):.6g}" for name in measures),
                    ]
                )


def _readme(sound: bool) -> str:
    columns = "\n".join(f"  {name}: {words}" for name, words in COLUMNS.items())
    with_it = (
        "The recordings lie beside this file; people may be heard on them."
        if sound
        else "The recordings were not given; answers.csv holds what was measured in them."
    )
    return (
        "Labelled recordings of metal cutting\n\n"
        f"{with_it}\n\n"
        f"{FILE}: one row a label. Columns, empty where not known:\n{columns}\n\n"
        f"{ANSWERS}: what the program found in each pass: its verdict, the probability of each\n"
        "cause before any tuning (p_...), and its measures, ratios within the recording.\n"
    )
