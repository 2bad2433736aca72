"""A table of recordings, as a spreadsheet saves it: CSV with a line of headings.

``file`` names the recording, relative to the folder.  The other headings are those of the options
of ``chatter listen`` (speed or rpm, teeth, form, diameter, width, material, depth, feed,
direction, speeds, mains, idle, span, taps), ``job`` (a job card), ``machine`` and ``cutter``
(a card, or a name in the logbook), ``hours``, ``phone``, ``position``, ``kind`` and ``recorded``
(for the logbook), or a key of a job card with its section, as ``cut.purpose``.  Empty cells state
nothing.  Commas, semicolons or tabs part the cells.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from chatter.errors import CardError, JobError
from chatter.job.build import read_statement
from chatter.job.cards import read_text
from chatter.job.schema import field_of
from chatter.job.units import echo
from chatter.job.words import hint, plain_key

#: Heading -> key of a statement.
_KEYS = {
    "speed": "cut.speed",
    "rpm": "cut.speed",
    "teeth": "cutter.teeth",
    "form": "cutter.form",
    "diameter": "cutter.diameter",
    "width": "cutter.width",
    "material": "cut.material",
    "depth": "cut.depth",
    "feed": "cut.feed",
    "direction": "cut.direction",
    "speeds": "machine.speeds",
    "mains": "machine.mains",
    "idle": "take.idle",
    "span": "take.span",
    "taps": "take.taps",
    "simulated": "take.simulated",
}
_BESIDE = ("file", "job", "machine", "cutter", "hours", "phone", "position", "kind", "recorded")
_PATHS = ("take.idle", "take.taps")


@dataclass(frozen=True)
class StatedRow:
    """What is stated of one recording."""

    values: Mapping[str, object] = field(default_factory=dict)
    card: Path | None = None
    machine: str | None = None
    cutter: str | None = None
    for_book: Mapping[str, object] = field(default_factory=dict)
    error: str | None = None

    def under(self, above: StatedRow) -> StatedRow:
        """This with what is stated for all, which wins."""
        return StatedRow(
            {**self.values, **{key: x for key, x in above.values.items() if x is not None}},
            self.card,
            above.machine or self.machine,
            above.cutter or self.cutter,
            {**self.for_book, **above.for_book},
            self.error,
        )


def read_batch_table(path: str | Path, root: Path) -> list[tuple[Path, StatedRow]]:
    """Recordings and what is stated of each, in the order of the table.

    Raises
    ------
    CardError
        The table has no heading ``file``, or one that is not known.
    """
    if not Path(path).is_file():
        raise CardError(f"There is no table '{path}': check its name.")
    text = read_text(path)
    name = Path(path).name
    head = text.partition("\n")[0]
    sheet = csv.reader(io.StringIO(text), delimiter=max(",;\t", key=head.count))
    try:
        lines = [line for line in sheet if any(cell.strip() for cell in line)]
    except csv.Error as wrong:
        raise CardError(f"{name} is not a table ({wrong}): save it as CSV again.") from None
    if not lines or "file" not in map(plain_key, lines[0]):
        raise CardError(f"{name} has no column 'file': its first line names the columns.")
    columns = [_column(cell, name) for cell in lines[0]]
    twice = sorted({one for one in columns if one and columns.count(one) > 1})
    if twice:
        raise CardError(f"{name} has the column '{twice[0]}' twice: remove one.")
    return [_line(dict(zip(columns, line, strict=False)), root) for line in lines[1:]]


def _column(cell: str, table: str) -> str:
    """What a heading means: a key of a statement, or one of ``_BESIDE``; "" for none."""
    word = plain_key(cell)
    if not word or word in _BESIDE:
        return word
    if word in _KEYS:
        return _KEYS[word]
    section, dot, key = word.partition(".")
    try:
        if dot and section in ("cut", "cutter", "machine", "take"):
            field_of(section, key)
            return word
    except JobError as wrong:
        raise CardError(f"{table}: the column '{echo(cell)}' is not known: {wrong}") from None
    known = {each: each for each in (*_BESIDE, *_KEYS)}
    raise CardError(f"{table}: the column '{echo(cell)}' is not known: {hint(word, known)}")


def _line(cells: Mapping[str, str], root: Path) -> tuple[Path, StatedRow]:
    filled = {key: cell.strip() for key, cell in cells.items() if key and cell.strip()}
    path = root / filled.pop("file", "")
    beside = {key: filled.pop(key) for key in _BESIDE if key in filled}
    values: dict[str, object] = dict(filled)
    for key in _PATHS:
        if key in values:
            values[key] = str(root / str(values[key]))
    error = None
    named: tuple[str, ...] = ("phone", "position", "kind")
    book: dict[str, object] = {key: beside[key] for key in named if key in beside}
    try:
        read_statement(values)
        if "hours" in beside:
            book["hours"] = float(beside["hours"].replace(",", "."))
    except JobError as wrong:
        error = str(wrong)
    except ValueError:
        error = (
            f"The running hours '{echo(beside['hours'])}' are not a number: write for example 12.5."
        )
    if "recorded" in beside:
        book["recorded_at"] = beside["recorded"]
    if path == root:
        error = "This line of the table names no file: write its name into the column 'file'."
    return path, StatedRow(
        values,
        None if "job" not in beside else root / beside["job"],
        beside.get("machine"),
        beside.get("cutter"),
        book,
        error,
    )
