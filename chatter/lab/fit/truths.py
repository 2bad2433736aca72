"""Labelled recordings to fit on: folders with a JSON table, read into frozen data.

A folder holds ``index.json``, ``truth.json`` or ``labels.json``: a list with an object for each
recording: ``file``, ``stated_rev_min``, ``teeth`` (as stated), and as far as known
``true_rev_min``, ``true_teeth``, ``verdict``, ``verdict_in``, ``verdict_not`` and ``passes``,
each with ``start_s``, ``end_s``, ``verdict``, ``also``, ``marginal``, ``rev_min``, ``chatter_hz``
(one or several) and ``chatter_family_hz``.  ``python -m chatter.lab.evaluate.folder`` writes one.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from chatter.errors import RecordingError

TABLES = ("index.json", "truth.json", "labels.json")
CAUSES = ("chatter", "side_rubbing", "uneven_teeth")


@dataclass(frozen=True)
class FitPass:
    """One pass as it really was; ``causes`` is None where it is not known or in doubt."""

    start_s: float
    end_s: float
    causes: frozenset[str] | None
    rev_min: float
    chatter_hz: tuple[float, ...]

    @property
    def chatters(self) -> bool:
        """Whether it is known to chatter."""
        return self.causes is not None and "chatter" in self.causes


@dataclass(frozen=True)
class TrueRecording:
    """One recording and what is known of it."""

    maker: str
    path: Path
    rev_min: float  # stated
    teeth: int  # stated
    true_teeth: int
    passes: tuple[FitPass, ...]
    known: bool  # every pass is named: what lies beside them is no cut
    whole: frozenset[str] | None  # causes that hold in all of it, where passes are not named
    cutting: bool | None  # whether anything is cut at all, where that is all that is known
    chatter: bool | None  # whether it chatters anywhere

    @property
    def makers(self) -> tuple[str, ...]:
        """Whose it is; of what was reworked the cut's maker and the rest's, written A+B."""
        return tuple(self.maker.split("+"))

    @property
    def slow(self) -> bool:
        """Below 300 rev/min."""
        return (self.passes[0].rev_min if self.passes else self.rev_min) < 300.0


def read_truths(folder: Path, maker: str) -> tuple[TrueRecording, ...]:
    """The recordings of one folder, those left out whose truth says "cannot tell".

    Raises
    ------
    RecordingError
        The folder holds no table.
    """
    table = next((folder / name for name in TABLES if (folder / name).is_file()), None)
    if table is None:
        raise RecordingError(f"'{folder}' holds none of {', '.join(TABLES)}: name another folder.")
    rows = json.loads(table.read_text("utf-8"))
    return tuple(
        _recording(folder, maker, row) for row in rows if row.get("verdict") != "cannot_tell"
    )


def _recording(folder: Path, maker: str, row: dict[str, Any]) -> TrueRecording:
    teeth = max(1, int(row["teeth"]))
    passes = tuple(_pass(one, row) for one in _passes(row))
    may, never = row.get("verdict_in") or [], row.get("verdict_not") or []
    idle = row.get("verdict") == "machine_only" or "machine_only" in may
    whole = None
    if not passes and may == ["chatter"]:
        whole = frozenset(("chatter",))
    cutting = False if idle else True if (passes or whole or "machine_only" in never) else None
    chatter = any(one.chatters for one in passes) or whole is not None or None
    if chatter is None and (row.get("verdict") or idle or "chatter" in never or may):
        chatter = False
    return TrueRecording(
        maker=maker,
        path=folder / row["file"],
        rev_min=float(row["stated_rev_min"]),
        teeth=teeth,
        true_teeth=int(row.get("true_teeth") or teeth),
        passes=passes,
        known=row.get("verdict") is not None or bool(passes) or idle,
        whole=whole,
        cutting=cutting,
        chatter=chatter,
    )


def _passes(row: dict[str, Any]) -> list[dict[str, Any]]:
    if row.get("pass_s"):
        start, end = row["pass_s"]
        return [
            {"start_s": start, "end_s": end, **{k: row.get(k) for k in ("verdict", "chatter_hz")}}
        ]
    return row.get("passes") or []


def _pass(one: dict[str, Any], row: dict[str, Any]) -> FitPass:
    causes = None
    if not one.get("marginal"):
        causes = frozenset((one["verdict"], *(one.get("also") or ()))) & frozenset(CAUSES)
    hz = one.get("chatter_hz") or ()
    hz = tuple(hz) if isinstance(hz, list | tuple) else (hz,)
    speed = one.get("true_rev_min") or one.get("rev_min") or row.get("true_rev_min")
    return FitPass(
        float(one["start_s"]),
        float(one["end_s"]),
        causes,
        float(speed or row["stated_rev_min"]),
        tuple(float(f) for f in (*hz, *(one.get("chatter_family_hz") or ()))),
    )
