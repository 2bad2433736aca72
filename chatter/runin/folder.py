"""The run-in log as a plain folder: ``runin.csv``, ``machine.toml`` and the recordings.

The table can be kept with any spreadsheet; its first row names the columns, in any order,
and those that are not needed may be left out.  Files and job cards are found relative to the
folder.
"""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from chatter.errors import CardError, JobError, OutputError
from chatter.job.cards import load_machine
from chatter.job.machine import Machine
from chatter.job.times import parse_span
from chatter.job.units import echo
from chatter.job.words import hint
from chatter.runin.entries import LogEntry, read_day, read_hours, read_kind, read_speed
from chatter.runin.state import read_state

INDEX, CARD = "runin.csv", "machine.toml"
COLUMNS = (
    *("date", "hours", "kind", "file", "speed", "phone", "place"),
    *("span", "job", "teeth", "sign", "state", "note", "simulated"),
)
_LARGEST_BYTES = 20_000_000


@dataclass(frozen=True)
class Log:
    """A machine and its log."""

    machine: Machine
    entries: tuple[LogEntry, ...]
    simulated: bool = False


def load_folder(folder: str | Path, card: str | Path | None = None) -> Log:
    """Read a folder.

    Parameters
    ----------
    folder : path
    card : path, optional
        The machine card, if it is not ``machine.toml`` in the folder.

    Raises
    ------
    CardError
        The card or the table cannot be read; with the line of the table.
    """
    folder = Path(folder)
    path = folder / CARD if card is None else Path(card)
    if not path.exists():
        raise CardError(
            f"There is no machine card '{path}': write one with at least its name and speeds, or "
            "name the card itself."
        )
    machine = load_machine(path)
    index = folder / INDEX
    if not index.exists():
        return Log(machine, ())
    rows = _rows(index)
    entries = tuple(_entry(row, line, folder) for line, row in rows)
    labelled = [_yes(row.get("simulated", "")) for _, row in rows]
    return Log(machine, entries, any(labelled))


def _rows(index: Path) -> list[tuple[int, dict[str, str]]]:
    try:
        if index.stat().st_size > _LARGEST_BYTES:
            raise CardError(f"{index.name} is too large for a run-in log: name the right folder.")
        text = index.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise CardError(f"'{index}' cannot be read ({error.strerror}): check the file.") from None
    except UnicodeDecodeError:
        raise CardError(f"'{index}' is not text: save it as CSV in UTF-8.") from None
    head = text.partition("\n")[0]
    mark = max(",;\t", key=head.count)  # spreadsheets in many countries write semicolons
    table = csv.reader(io.StringIO(text, newline=""), delimiter=mark)
    rows: list[tuple[int, dict[str, str]]] = []
    names: list[str] = []
    try:
        for row in table:
            if not any(cell.strip() for cell in row):
                continue
            if not names:
                names = [_column(cell, index) for cell in row]
                continue
            cells = {name: cell.strip() for name, cell in zip(names, row, strict=False)}
            rows.append((table.line_num, cells))
    except csv.Error as error:
        raise CardError(
            f"{index.name}, line {table.line_num}: this is not a table ({error}): correct it."
        ) from None
    return rows


def _column(cell: str, index: Path) -> str:
    name = cell.strip().lower()
    name = {"rpm": "speed", "day": "date", "position": "place"}.get(name, name)
    if name not in COLUMNS:
        nearest = hint(name, {each: each for each in COLUMNS}, cutoff=0.6)
        raise CardError(f"{index.name}: '{echo(cell)}' is no column of a run-in log: {nearest}")
    return name


def _entry(row: Mapping[str, str], line: int, folder: Path) -> LogEntry:
    try:
        return entry_of(row, folder)
    except JobError as error:
        raise CardError(f"{INDEX}, line {line}: {error}") from None


def entry_of(row: Mapping[str, str], folder: Path) -> LogEntry:
    """An entry from the texts of its columns.  Raises JobError."""
    from chatter.job.schema import TEETH

    kind = read_kind(row.get("kind") or "idle")
    file = row.get("file") or ""
    state = read_state(row.get("state") or "")
    if kind == "state" and not state:
        raise JobError(
            "An entry of kind 'state' needs what it states, such as 'front bearing=41 C': state it."
        )
    if kind not in ("surface", "state") and not file:
        raise JobError(f"An entry of kind '{kind}' needs a recording: name its file.")
    span = row.get("span") or ""
    teeth = row.get("teeth") or ""
    sign = row.get("sign") or ""
    job = row.get("job") or ""
    if kind == "surface":
        from chatter.trade.surface import sign_of

        if not sign:
            raise JobError(
                "A surface entry needs a sign, such as 'cross-hatch on both faces': state one."
            )
        sign = sign_of(sign).name
    speed = read_speed(row.get("speed"))
    if kind == "idle" and speed is None:
        raise JobError(f"The idle recording '{echo(file)}' needs its spindle speed: state it.")
    if kind == "cut" and not job and not (teeth and speed):
        raise JobError(
            f"The cut '{echo(file)}' needs a job card, or speed and number of teeth: state them."
        )
    return LogEntry(
        kind,
        read_day(row.get("date") or ""),
        read_hours(row.get("hours")),
        folder / file if file else None,
        speed,
        row.get("phone") or "",
        row.get("place") or "",
        row.get("note") or "",
        parse_span(span) if span else None,
        folder / job if job else None,
        TEETH.read(teeth) if teeth else None,
        sign,
        state,
    )


def add_row(folder: str | Path, row: Mapping[str, str]) -> LogEntry:
    """Append one entry to the table; the lines that are there are not touched.

    The entry is checked first.  Returns it.

    Raises
    ------
    JobError, CardError
        It cannot be, or the table that is there cannot be read.
    OutputError
        The table cannot be written.
    """
    folder = Path(folder)
    entry = entry_of(row, folder)
    if entry.file is not None and not entry.file.exists():
        raise CardError(f"There is no file {entry.file}: check the name.")
    index = folder / INDEX
    names, mark, ends = list(COLUMNS), ",", True
    if index.exists() and index.stat().st_size:
        _rows(index)  # a table that cannot be read is not made longer
        text = index.read_text(encoding="utf-8-sig")
        head = text.partition("\n")[0]
        mark = max(",;\t", key=head.count)
        names = [_column(cell, index) for cell in next(csv.reader([head], delimiter=mark))]
        ends = text.endswith("\n")
        lost = [name for name in COLUMNS if row.get(name) and name not in names]
        if lost:
            raise CardError(
                f"{INDEX} has no column '{lost[0]}': add the word at the end of its first row."
            )
    out = io.StringIO()
    write = csv.writer(out, delimiter=mark, lineterminator="\n")
    if not index.exists() or not index.stat().st_size:
        write.writerow(names)
    elif not ends:
        out.write("\n")
    write.writerow([row.get(name) or "" for name in names])
    try:
        with index.open("a", encoding="utf-8", newline="") as file:
            file.write(out.getvalue())
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        raise OutputError(
            f"'{index}' cannot be written ({error.strerror}): free some space or mend its rights."
        ) from None
    return entry


def _yes(text: str) -> bool:
    return text.strip().lower() in ("yes", "true", "y", "1")
