"""A folder of labelled recordings, whatever its table is written in, as frozen data."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from pathlib import Path

from chatter.errors import BookError
from chatter.findings import VERDICTS
from chatter.lab.evaluate.labelled.converters import CONVERTERS, convert
from chatter.logbook.collection import FILE, NOT_SURE, Labelled, read_collection

#: The gravest first, as the whole recording is named by it.
_GRAVEST = ("chatter", "side_rubbing", "uneven_teeth", "normal", "machine_only", "cannot_tell")


@dataclass(frozen=True)
class Said:
    """What was said of a recording or a pass, all who said something taken together."""

    label: str  # one of LABELS; "" when only ``accept`` is known, or the listeners are divided
    accept: frozenset[str]  # answers that are not wrong; empty: nothing can be judged
    chatters: bool | None  # None: not known
    by: tuple[tuple[str, str], ...] = ()  # (who, label)
    chatter_hz: float | None = None
    stands_out_db: float | None = None
    true_rev_min: float | None = None


@dataclass(frozen=True)
class SaidPass:
    """A pass, and what was said of it."""

    start_s: float
    end_s: float
    said: Said


@dataclass(frozen=True)
class LabelledRecording:
    """One labelled recording, ready to be listened to."""

    folder: str  # name of the collection
    path: Path
    rev_min: float
    teeth: int
    said: Said  # of the whole
    passes: tuple[SaidPass, ...]
    complete: bool  # every pass is named
    wrong_number: str

    @property
    def slow(self) -> bool:
        """Below 300 rev/min, where saws and side cutters run."""
        return (self.said.true_rev_min or self.rev_min) < 300.0

    @property
    def cutting(self) -> bool:
        """Whether something is known to be cut."""
        return bool(self.passes) or self.said.label in _GRAVEST[:4] or (
            bool(self.said.accept) and not self.said.accept & {"machine_only", "cannot_tell"}
        )  # fmt: skip


def read_folder(place: Path) -> tuple[LabelledRecording, ...]:
    """The labelled recordings of a folder.

    Parameters
    ----------
    place : Path
        A folder with ``labels.csv``, or with one of the JSON tables that ``converters`` reads;
        or such a table itself.

    Raises
    ------
    BookError
        No table, a table with unknown words, a recording that is not there, or no speed.
    """
    table = place if place.is_file() else _table(place)
    rows = read_collection(table) if table.suffix == ".csv" else convert(table)
    if not rows:
        raise BookError(f"The table '{table}' holds no label: add one row for each.")
    return tuple(
        _recording(table, list(part))
        for _, part in groupby(sorted(rows, key=lambda row: row.file), key=lambda row: row.file)
    )


def _table(folder: Path) -> Path:
    for name in (FILE, *CONVERTERS):
        if (folder / name).is_file():
            return folder / name
    raise BookError(
        f"'{folder}' holds none of {', '.join((FILE, *CONVERTERS))}: name a labelled folder."
    )


def _recording(table: Path, rows: list[Labelled]) -> LabelledRecording:
    path = table.parent / rows[0].file
    if not path.is_file():
        raise BookError(
            f"'{table}' names '{rows[0].file}', which is not beside it: put it there or "
            "strike its rows."
        )
    speed = _first(rows, "speed_rev_min")
    teeth = _first(rows, "teeth")
    if speed is None or teeth is None:
        raise BookError(
            f"'{table}' gives no speed_rev_min or no teeth for '{rows[0].file}': fill in both."
        )
    wholes = [row for row in rows if row.whole]
    passes = tuple(
        SaidPass(start, end, said_of(list(part)))
        for (start, end), part in groupby(
            sorted((row for row in rows if not row.whole), key=_span), key=_span
        )
    )
    said = said_of(wholes) if wholes else _gravest(passes)
    return LabelledRecording(
        folder=table.parent.resolve().name,
        path=path,
        rev_min=speed,
        teeth=teeth,
        said=replace(said, true_rev_min=_first(rows, "true_speed_rev_min")),
        passes=passes,
        complete=any(row.all_passes for row in rows),
        wrong_number=_first(rows, "wrong_number") or "",
    )


def _span(row: Labelled) -> tuple[float, float]:
    return row.start_s, row.end_s  # type: ignore[return-value]


def _first(rows: Iterable[Labelled], name: str):
    return next((v for row in rows if (v := getattr(row, name)) not in (None, "")), None)


def said_of(rows: Sequence[Labelled]) -> Said:
    """What several people said of one thing: the label of most; divided, none."""
    by = tuple((row.who, row.label) for row in rows if row.label)
    votes = Counter(label for _, label in by if label != NOT_SURE).most_common()
    divided = len(votes) > 1 and votes[0][1] == votes[1][1]
    label = votes[0][0] if votes and not divided else ""
    accept = frozenset(one for row in rows for one in row.accept) if not divided else frozenset()
    if label in VERDICTS:
        accept |= {label}
    return Said(
        label=label,
        accept=accept,
        chatters=_chatters(label, accept),
        by=by,
        chatter_hz=_first(rows, "chatter_hz"),
        stands_out_db=_first(rows, "stands_out_db"),
        true_rev_min=_first(rows, "true_speed_rev_min"),
    )


def _chatters(label: str, accept: frozenset[str]) -> bool | None:
    if label:
        return None if label == "cannot_tell" else label == "chatter"
    known = accept - {"cannot_tell"}
    if not known:
        return None
    return True if known == {"chatter"} else None if "chatter" in known else False


def _gravest(passes: tuple[SaidPass, ...]) -> Said:
    """The whole recording by its passes: the gravest that was said."""
    for name in _GRAVEST:
        of = [one.said for one in passes if one.said.label == name]
        if of:
            loudest = max(of, key=lambda one: one.stands_out_db or 0.0)
            return replace(loudest, accept=frozenset().union(*(one.accept for one in of)), by=())
    return Said("", frozenset(), None)
