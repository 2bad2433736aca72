"""Tables that other programs wrote as JSON, as rows of a labelled collection.

Three shapes are read; each is a list of objects with ``file``, ``stated_rev_min``, ``teeth``:

* ``verdict`` and ``pass_s`` [start, end] or null (one pass a recording);
* ``verdict``, ``accept`` and ``passes``, each with ``start_s``, ``end_s``, ``verdict`` and what
  is known of it (every pass is named);
* ``verdict_in`` or ``verdict_not``, lists of verdicts that are, or are not, defensible, with or
  without ``passes`` (which may not be all of them).

Only speed and teeth are handed to the listener, as somebody in a hurry states them.
"""

from __future__ import annotations

import json
from pathlib import Path

from chatter.errors import BookError
from chatter.findings import VERDICTS
from chatter.logbook.collection import Labelled, label_of

#: Names under which such tables are looked for.
CONVERTERS = ("truth.json", "labels.json")


def convert(path: Path) -> tuple[Labelled, ...]:
    """The rows of a JSON table.  Raises BookError."""
    try:
        told = json.loads(path.read_text(encoding="utf-8"))
        return tuple(row for one in told for row in _rows(one))
    except (OSError, ValueError) as wrong:
        raise BookError(f"'{path}' cannot be read ({str(wrong)[:80]}): check the file.") from None
    except (KeyError, TypeError, AttributeError) as wrong:
        raise BookError(
            f"'{path}' is not a table of labels that is known here ({str(wrong)[:80]}): see "
            "chatter/lab/evaluate/labelled/converters.py for the shapes."
        ) from None


def _rows(one: dict) -> list[Labelled]:
    shared = {
        "file": one["file"],
        "speed_rev_min": float(one["stated_rev_min"]),
        "teeth": int(one["teeth"]),
        "how_known": "simulated" if "verdict" in one else "",
    }
    complete = "verdict" in one
    label, accept = _judged(one)
    passes = one.get("passes") or _single(one)
    audible = [p["chatter_audible_db"] for p in passes if p.get("chatter_audible_db") is not None]
    whole = Labelled(
        **shared,
        label=label,
        accept=accept,
        all_passes=complete,
        true_speed_rev_min=one.get("true_rev_min"),
        true_teeth=one.get("true_teeth"),
        wrong_number=one.get("wrong_number") or "",
        stands_out_db=max(audible, default=None),
    )
    doubtful = ("cannot_tell",) if "cannot_tell" in accept else ()
    return [whole, *(_pass(shared, p, doubtful) for p in passes)]


def _judged(one: dict) -> tuple[str, tuple[str, ...]]:
    """Label and what else is not wrong."""
    if "verdict" in one:
        label = label_of(one["verdict"])
        # where nobody could tell, only naming a cut is wrong
        doubtful = ("cannot_tell", "machine_only") if label == "cannot_tell" else ()
        return label, tuple(one.get("accept") or doubtful)
    if "verdict_in" in one:
        right = tuple(one["verdict_in"])
        known = [name for name in right if name != "cannot_tell"]
        return (known[0] if len(known) == 1 else ""), right
    if "verdict_not" in one:
        return "", tuple(name for name in VERDICTS if name not in one["verdict_not"])
    named = {p["verdict"] for p in one["passes"]}
    return ("chatter" if "chatter" in named else next(iter(named))), ()


def _single(one: dict) -> list[dict]:
    if not one.get("pass_s"):
        return []
    start, end = one["pass_s"]
    return [{**one, "start_s": start, "end_s": end}]


def _pass(shared: dict, told: dict, doubtful: tuple[str, ...]) -> Labelled:
    label = label_of(told["verdict"])
    tone = told.get("chatter_hz")
    return Labelled(
        **shared,
        start_s=float(told["start_s"]),
        end_s=float(told["end_s"]),
        label=label,
        accept=(label, *doubtful) if doubtful else (),
        true_speed_rev_min=told.get("true_rev_min"),
        chatter_hz=tone[0] if isinstance(tone, list) and tone else tone or None,
        stands_out_db=told.get("chatter_audible_db"),
    )
