"""What a worker is asked to do for each kind of thing that was handed in."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from chatter.errors import RecordingError
from chatter.page.spool import DONE, Kept, PageListen, RecordingStore

_GONE = (
    "A recording of this comparison was removed, or has no answer any more: choose again under "
    "Recordings."
)


def request_of(
    spool: RecordingStore, book: Path, kept: Kept, take: PageListen, *, untaught: bool = False
) -> dict:
    """The request for ``worker.main``; with ``untaught`` a cut is heard without the book.

    Raises
    ------
    RecordingError
        Something it needs is not there any more.
    """
    request: dict[str, Any] = {
        "kind": kept.kind,
        "recording": str(spool.folder(kept) / "recording"),
        "out": str(spool.take_folder(kept, take.number)),
        "name": kept.name,
        "stated": take.stated,
        "units": take.units,
    }
    if kept.kind == "compare":
        request["sides"] = _sides(spool, kept)
    if kept.kind == "tap":
        more = zip(spool.files(kept)[1:], kept.more, strict=True)
        request["more"] = [(str(path), name) for path, name in more]
    if kept.kind == "runin" or (kept.kind == "cut" and not untaught):
        request |= {"book": str(book), "machine": kept.machine}
    return request


def chosen(spool: RecordingStore, kept: Kept) -> list[tuple[str, list[str]]]:
    """(name of the cutter, ids of its recordings) of a comparison."""
    text = (spool.folder(kept) / "recording").read_text(encoding="utf-8")
    return [(str(name), [str(id_) for id_ in ids]) for name, ids in json.loads(text)["sides"]]


def newest_answer(kept: Kept | None) -> PageListen | None:
    """The newest listen of a recording that has an answer."""
    done = [take for take in kept.takes if take.state == DONE] if kept is not None else []
    return done[-1] if done else None


def _sides(spool: RecordingStore, compared: Kept) -> list[dict]:
    sides = []
    for at, (name, ids) in enumerate(chosen(spool, compared)):
        takes = []
        for count, id_ in enumerate(ids):
            kept = spool.get(id_)
            take = newest_answer(kept)
            if kept is None or take is None:
                raise RecordingError(_GONE)
            takes.append(
                {
                    "path": str(spool.folder(kept) / "recording"),
                    "token": f"recording-{compared.id}-{at}-{count}",
                    "name": kept.name,
                    "stated": take.stated,
                }
            )
        sides.append({"name": name, "takes": takes})
    return sides
