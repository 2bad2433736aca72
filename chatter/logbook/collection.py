"""A labelled collection: a folder of recordings with one table that says what each was.

The table is ``labels.csv``, one row a label: of a whole recording when ``start_s`` and ``end_s``
are empty, else of the pass between them.  Several people may label the same pass, one row each.
``COLUMNS`` is its whole definition; units stand in the column names, empty means not known.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

from chatter.errors import BookError
from chatter.findings import CAUSES, VERDICTS
from chatter.job.units import echo
from chatter.job.words import hint, plain_key

FILE = "labels.csv"
#: What somebody who listened cannot say.
NOT_SURE = "not_sure"
#: Everything that can be said of a pass, and other words for it.
LABELS = (*CAUSES, NOT_SURE, "cannot_tell")
LABEL_WORDS = {
    "rubbing": "side_rubbing",
    "uneven": "uneven_teeth",
    "machine": "machine_only",
    "no_cutting": "machine_only",
    "unsure": NOT_SURE,
    "do_not_know": NOT_SURE,
    "can't_tell": "cannot_tell",
    "cant_tell": "cannot_tell",
}
#: How a label is known, the weakest first.
HOW_KNOWN = ("heard", "seen_on_faces", "cured_by_change", "indicator", "simulated")
HOW_WORDS = {
    "ear": "heard",
    "seen": "seen_on_faces",
    "faces": "seen_on_faces",
    "cured": "cured_by_change",
    "measured": "indicator",
    "indicator_reading": "indicator",
}


@dataclass(frozen=True, kw_only=True)
class Labelled:
    """One row of the table."""

    file: str
    start_s: float | None = None
    end_s: float | None = None
    label: str = ""
    accept: tuple[str, ...] = ()
    how_known: str = ""
    who: str = ""
    cured_by: str = ""
    day: str = ""
    all_passes: bool | None = None
    speed_rev_min: float | None = None
    teeth: int | None = None
    true_speed_rev_min: float | None = None
    true_teeth: int | None = None
    wrong_number: str = ""
    chatter_hz: float | None = None
    stands_out_db: float | None = None
    machine: str = ""
    cutter: str = ""
    cutter_form: str = ""
    diameter_mm: float | None = None
    width_mm: float | None = None
    material: str = ""
    direction: str = ""
    feed_mm_min: float | None = None
    depth_mm: float | None = None
    phone: str = ""
    simulated: bool | None = None
    note: str = ""

    @property
    def whole(self) -> bool:
        """Whether the row is about the whole recording."""
        return self.start_s is None


#: Column -> what it holds, for the README beside the table.
COLUMNS = {
    "file": "name of the recording, within this folder",
    "start_s": "where the pass starts, seconds from the start; empty: the whole recording",
    "end_s": "where it ends",
    "label": f"what it was: {', '.join(LABELS)}; empty when only 'accept' is known",
    "accept": "answers that are not wrong, with | between them; empty: the label only",
    "how_known": f"{', '.join(HOW_KNOWN)}",
    "who": "who says so: initials, or nothing",
    "cured_by": "what made it stop",
    "day": "date of the recording",
    "all_passes": "yes: every pass of this recording stands in this table",
    "speed_rev_min": "spindle speed as stated, rev/min",
    "teeth": "number of teeth as stated",
    "true_speed_rev_min": "spindle speed as measured, rev/min",
    "true_teeth": "number of teeth as counted again",
    "wrong_number": "'speed' or 'teeth' where that was stated wrong",
    "chatter_hz": "strongest chatter frequency, Hz",
    "stands_out_db": "how far the chatter line stands above what is round it, dB",
    "machine": "the machine",
    "cutter": "the cutter",
    "cutter_form": "its form",
    "diameter_mm": "its diameter, mm",
    "width_mm": "its width, mm",
    "material": "what was cut",
    "direction": "conventional or climb",
    "feed_mm_min": "table feed, mm/min",
    "depth_mm": "depth of cut, mm",
    "phone": "what recorded it",
    "simulated": "yes: made by a program",
    "note": "anything else",
}
assert tuple(COLUMNS) == tuple(each.name for each in fields(Labelled))


def label_of(text: str) -> str:
    """The label a word stands for.  Raises BookError with the nearest spelling."""
    return _one_of(text, "label", LABELS, LABEL_WORDS)


def how_known_of(text: str) -> str:
    """How a label is known.  Raises BookError with the nearest spelling."""
    return _one_of(text, "way of knowing", HOW_KNOWN, HOW_WORDS)


def _one_of(text: str, what: str, choices: Iterable[str], also: Mapping[str, str]) -> str:
    known = {**{one: one for one in choices}, **also}
    word = plain_key(text)
    if word in known:
        return known[word]
    raise BookError(f"The {what} '{echo(text)}' is not known: {hint(word, known)}")


def _number(text: str) -> float:
    value = float(text)
    if not math.isfinite(value) or value < 0:
        raise ValueError
    return value


def _yes(text: str) -> bool:
    word = plain_key(text)
    if word in ("yes", "true", "y", "1"):
        return True
    if word in ("no", "false", "n", "0"):
        return False
    raise ValueError


def _accepted(text: str) -> tuple[str, ...]:
    return tuple(_one_of(one, "answer", VERDICTS, LABEL_WORDS) for one in text.split("|"))


def _readers() -> dict[str, Callable[[str], object]]:
    readers: dict[str, Callable[[str], object]] = {}
    for each in fields(Labelled):
        kind = str(each.type)
        if kind.startswith("float"):
            readers[each.name] = _number
        elif kind.startswith("int"):
            readers[each.name] = int
        elif kind.startswith("bool"):
            readers[each.name] = _yes
        else:
            readers[each.name] = str
    return {**readers, "label": label_of, "how_known": how_known_of, "accept": _accepted}


def read_collection(path: Path) -> tuple[Labelled, ...]:
    """The rows of a table.

    Parameters
    ----------
    path : Path
        A CSV with a heading line; columns in any order, those not in ``COLUMNS`` refused.

    Raises
    ------
    BookError
        One sentence with the line: an unknown word, a number that is none, no file named ...
    """
    try:
        with path.open(encoding="utf-8-sig", newline="") as text:
            sheet = csv.DictReader(text)
            heads = [(name or "").strip() for name in sheet.fieldnames or ()]
            _check_heads(path, heads)
            sheet.fieldnames = heads
            return tuple(_row(path, line, plain) for line, plain in enumerate(sheet, 2))
    except (OSError, UnicodeDecodeError, csv.Error) as wrong:
        raise BookError(
            f"The table '{path}' cannot be read ({' '.join(str(wrong).split())[:80]}): check "
            "that it is a CSV file in UTF-8."
        ) from None


def _check_heads(path: Path, heads: list[str]) -> None:
    known = {name: name for name in COLUMNS}
    for name in heads:
        if name not in known:
            raise BookError(
                f"The table '{path}' has a column '{echo(name)}' that is not known: "
                f"{hint(name, known, cutoff=0.6)}"
            )
    for needed in ("file", "label"):
        if needed not in heads:
            raise BookError(f"The table '{path}' has no column '{needed}': add one.")


def _row(path: Path, line: int, plain: dict[str, str]) -> Labelled:
    where = f"Line {line} of '{path}'"
    if None in plain:
        raise BookError(f"{where} has more cells than there are columns: count its commas.")
    readers = _readers()
    values: dict[str, Any] = {}
    for name, cell in plain.items():
        if not (text := (cell or "").strip()):
            continue
        try:
            values[name] = readers[name](text)
        except BookError as wrong:
            raise BookError(f"{where}: {wrong}") from None
        except ValueError:
            raise BookError(
                f"{where}: '{echo(text)}' cannot be the value of '{name}': {COLUMNS[name]}."
            ) from None
    if "file" not in values:
        raise BookError(f"{where} names no file: fill in the column 'file'.")
    row = Labelled(**values)
    if (row.start_s is None) != (row.end_s is None):
        raise BookError(f"{where} has only one of start_s and end_s: state both, or neither.")
    if row.start_s is not None and row.end_s is not None and row.start_s >= row.end_s:
        raise BookError(f"{where} ends before it starts: check start_s and end_s.")
    return row


def write_table(path: Path, rows: Iterable[Labelled]) -> None:
    """Write a table that ``read_collection`` reads back.  Raises OSError."""
    with path.open("w", encoding="utf-8", newline="") as out:
        sheet = csv.writer(out)
        sheet.writerow(COLUMNS)
        for row in rows:
            sheet.writerow([_cell(getattr(row, name)) for name in COLUMNS])


def _cell(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple):
        return "|".join(value)
    return f"{value:.10g}" if isinstance(value, float) else str(value)
