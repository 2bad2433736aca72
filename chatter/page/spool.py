"""What was uploaded and answered, in the data folder; all that a restart needs.

::

    recordings/3f2a.../            an id of our own; nothing is named by the client
        recording                  the file as it came, never altered (or what is to be compared)
        more/file-2 ...            the further files of a tap test
        meta.json                  its name as shown, when it came, what was stated
        track.f16  view.json       the sound at 24 kHz and its facts, for the picture
        play                       what the browser plays
        takes/1/                   one listen: request, state, findings, report
    uploads/                       what is still coming in; emptied at the start
    live/                          what is being recorded in the page; taken up at the start
    scratch/                       temporary files of the workers

Files are written whole or not at all.  One process owns the folder.
"""

from __future__ import annotations

import contextlib
import json
import os
import re
import secrets
import shutil
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from chatter.errors import OutputError
from chatter.locks import Held, Lock
from chatter.plain import from_plain, to_json
from chatter.report.files import write_text

_ID = re.compile(r"[0-9a-f]{20}")
WAITING, RUNNING, DONE, FAILED = "waiting", "running", "done", "failed"


@dataclass(frozen=True)
class PageListen:
    """One listen to a recording.

    ``stated`` holds option texts (``{"cutter.teeth": "48"}``); ``entry`` is the uid of the
    recording in the logbook, once its answer is there.
    """

    number: int
    stated: dict[str, str]
    units: str
    state: str = WAITING
    share: float = 0.0
    what: str = ""
    sentence: str = ""  # why it failed
    entry: str = ""
    verdict: str = ""
    confidence: float = 0.0
    summary: str = ""
    made_at: str = ""


@dataclass(frozen=True)
class Kept:
    """One uploaded recording and its listens."""

    id: str
    name: str  # as the client called it; only ever shown
    size_bytes: int
    came_at: str
    stated: dict[str, str]  # what its form holds now
    units: str = "metric"
    machine: str = ""  # of the logbook, as chosen in the form
    cutter: str = ""
    browser: str = ""  # the one that sent it, by a number that only tells browsers apart
    kind: str = "cut"  # or "tap", "idle", "compare", "runin"
    idle: str = ""  # id of a recording of the machine idling, as chosen in the form
    taps: str = ""  # id of a tap test of the set-up, as chosen in the form
    takes: tuple[PageListen, ...] = field(default=())
    more: tuple[str, ...] = ()  # names of the further files, of a tap test with one a blow

    @property
    def last(self) -> PageListen | None:
        """The newest listen."""
        return self.takes[-1] if self.takes else None


class RecordingStore:
    """The recordings of one data folder.

    Parameters
    ----------
    data : Path
        Made when it is not there.

    Raises
    ------
    OutputError
        The folder cannot be used, or another page uses it.
    """

    def __init__(self, data: Path) -> None:
        self.data = data
        self.recordings = data / "recordings"
        self.uploads = data / "uploads"
        self.live = data / "live"
        self.scratch = data / "scratch"
        self._kept: dict[str, Kept] = {}
        try:
            for folder in (self.recordings, self.uploads, self.live, self.scratch):
                _refuse_link(folder)
                folder.mkdir(parents=True, exist_ok=True)
            self._lock = _locked(data / "lock")
            for left in self.uploads.iterdir():
                left.unlink()
            shutil.rmtree(self.scratch, ignore_errors=True)  # of workers that were killed
            self.scratch.mkdir(exist_ok=True)
            _unlink_links(self.recordings)
            _unlink_links(self.live)
            for folder in sorted(self.recordings.iterdir()):
                kept = _load(folder)
                if kept is not None:
                    self._kept[kept.id] = kept
        except OSError as wrong:
            raise OutputError(
                f"The data folder '{data}' cannot be used ({wrong.strerror}): "
                "name another with --data."
            ) from wrong

    def close(self) -> None:
        """Let another page have the folder."""
        self._lock.release()

    def get(self, id_: str) -> Kept | None:
        """A recording by its id; None for anything that is not one of ours."""
        return self._kept.get(id_) if _ID.fullmatch(id_) else None

    def all(self, kind: str | None = None) -> list[Kept]:
        """All recordings, or those of a kind, the newest first."""
        some = (one for one in self._kept.values() if kind in (None, one.kind))
        return sorted(some, key=lambda one: one.came_at, reverse=True)

    def folder(self, kept: Kept) -> Path:
        """Where a recording lies."""
        return self.recordings / kept.id

    def take_folder(self, kept: Kept, number: int) -> Path:
        """Where one listen lies."""
        return self.folder(kept) / "takes" / str(int(number))

    def own_file(self, path: Path) -> Path | None:
        """A file of this folder, by whatever way; None when it is not there, or when a link that
        somebody planted leads elsewhere."""
        inside = path.relative_to(self.data)
        return path if path.is_file() and path.resolve() == self.data.resolve() / inside else None

    def bytes_kept(self) -> int:
        """Size of all recordings as they came."""
        return sum(one.size_bytes for one in self._kept.values())

    def new_upload(self) -> Path:
        """Where the next file that comes in may be written."""
        return self.uploads / f"{secrets.token_hex(10)}.part"

    def adopt(self, part: Path, name: str, stated: dict[str, str], **form: str) -> Kept:
        """Keep a file that came in whole; it is on the disk when this returns.  Raises OSError."""
        id_ = secrets.token_hex(10)
        folder = self.recordings / id_
        folder.mkdir()
        size = _moved(part, folder / "recording")
        return self._put(
            Kept(id_, shown_name(name), size, _now(), dict(stated), takes=(), more=(), **form)
        )

    def adopt_more(self, kept: Kept, parts: Sequence[tuple[Path, str]]) -> Kept:
        """Keep further files, with their names, that belong to a recording.  Raises OSError."""
        folder, size = self.folder(kept) / "more", kept.size_bytes
        folder.mkdir(exist_ok=True)
        for i, (part, _) in enumerate(parts):
            size += _moved(part, folder / f"file-{i + 2}")
        more = tuple(shown_name(name) for _, name in parts)
        return self._put(replace(self._kept[kept.id], more=more, size_bytes=size))

    def files(self, kept: Kept) -> list[Path]:
        """The file of a recording, and the further ones of a tap test."""
        folder = self.folder(kept)
        return [folder / "recording"] + [
            folder / "more" / f"file-{i + 2}" for i in range(len(kept.more))
        ]

    def restate(self, kept: Kept, stated: dict[str, str], **form: str) -> Kept:
        """Keep what the form of a recording holds now."""
        changed: dict[str, Any] = {"stated": dict(stated), **form}
        return self._put(replace(self._kept[kept.id], **changed))

    def add_take(self, kept: Kept, stated: dict[str, str], units: str) -> Kept:
        """A further listen, waiting."""
        kept = self._kept[kept.id]
        take = PageListen(len(kept.takes) + 1, dict(stated), units, made_at=_now())
        folder = self.take_folder(kept, take.number)
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir(parents=True)
        return self._put(replace(kept, takes=(*kept.takes, take)))

    def change(self, id_: str, number: int, *, keep: bool = True, **changes: Any) -> PageListen:
        """Change a listen's state; ``keep=False`` for progress, which need not survive."""
        kept = self._kept[id_]
        changed = replace(kept.takes[number - 1], **changes)
        takes = (*kept.takes[: number - 1], changed, *kept.takes[number:])
        self._put(replace(kept, takes=takes), keep=keep)
        return changed

    def remove(self, kept: Kept) -> None:
        """Delete a recording and its answers from the spool (the logbook keeps its entry)."""
        del self._kept[kept.id]
        # First what makes it a recording: Windows keeps files that a player still reads.
        with contextlib.suppress(OSError):
            (self.folder(kept) / "meta.json").unlink()
        shutil.rmtree(self.folder(kept), ignore_errors=True)

    def unfinished(self) -> list[tuple[str, int]]:
        """(id, take) of what waits or was being done, the oldest first."""
        return [
            (one.id, take.number)
            for one in reversed(self.all())
            for take in one.takes
            if take.state in (WAITING, RUNNING)
        ]

    def _put(self, kept: Kept, *, keep: bool = True) -> Kept:
        self._kept[kept.id] = kept
        if keep:
            write_text(self.folder(kept) / "meta.json", to_json(kept, indent=1))
        return kept


def _moved(part: Path, to: Path) -> int:
    """Move a file that came in to its place; its size."""
    with part.open("r+b") as came:  # Windows flushes only what is open for writing
        os.fsync(came.fileno())
    size = part.stat().st_size
    os.replace(part, to)
    return size


def shown_name(name: str) -> str:
    """A client's file name made fit to be shown: no folders, nothing unprintable."""
    last = re.split(r"[/\\]", name)[-1]
    plain = "".join(c for c in last if c.isprintable()).strip()
    return plain[:120] or "recording"


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="milliseconds")


def _load(folder: Path) -> Kept | None:
    """A recording as it was kept; None for a folder that is not whole (it is left alone)."""
    if not _ID.fullmatch(folder.name) or not (folder / "recording").is_file():
        return None
    try:
        data = json.loads((folder / "meta.json").read_text(encoding="utf-8"))
        kept = from_plain(Kept, data)
    except (OSError, ValueError):
        return None
    return kept if kept.id == folder.name else None


def _refuse_link(folder: Path) -> None:
    if folder.is_symlink():
        raise OutputError(
            f"'{folder}' is a link, and the page follows none in its data folder: remove it, or "
            "name another folder with --data."
        )


def _unlink_links(folder: Path) -> None:
    """Remove links: none of ours outlives its worker, and one that was planted could have the
    page show, or write over, what lies anywhere on this computer."""
    for place, folders, names in os.walk(folder, followlinks=False):
        for name in (*folders, *names):
            file = Path(place) / name
            if file.is_symlink():
                file.unlink()


def _locked(path: Path) -> Lock:
    """A lock that no second page can have."""
    try:
        return Lock(path)
    except Held:
        raise OutputError(
            f"Another page already uses the data folder '{path.parent}': "
            "use that one, or name another folder with --data."
        ) from None
