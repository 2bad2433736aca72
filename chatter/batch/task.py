"""One recording to be listened to."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path

from chatter import __version__
from chatter.findings import SCHEMA_VERSION
from chatter.job.cut import Job
from chatter.plain import to_plain


@dataclass(frozen=True)
class Task:
    """One recording with what is stated of it, or with the sentence on why that cannot be.

    ``job`` holds what is stated; ``sought`` names the numbers that are not, "cut.speed" or
    "cutter.teeth", which stand in it as supposed until the sound is asked.
    """

    path: str  # full
    name: str  # as shown: relative to the folder
    job: Job | None
    sought: tuple[str, ...] = ()
    error: str | None = None
    units: str = "metric"
    report: str | None = None  # where its report goes
    machine: str | None = None  # names in the logbook, where stated
    cutter: str | None = None
    stated: Mapping[str, object] = field(default_factory=dict)  # for the logbook: hours ...

    @property
    def job_key(self) -> str:
        """Digest of all but the recording itself that decides what is found."""
        plain = None if self.job is None else to_plain(self.job)
        if plain is not None:
            for side in ("idle_path", "taps_path"):
                if plain["take"][side] is not None:
                    plain["take"][side] = _content(plain["take"][side])
        if self.sought:
            plain = {"sought": self.sought, **(plain or {})}
        text = json.dumps([plain, self.units, __version__, SCHEMA_VERSION], sort_keys=True)
        return hashlib.sha256(text.encode()).hexdigest()[:24]


def content_hash(path: str | Path) -> str | None:
    """SHA-256 of a file; None when it cannot be read."""
    digest = hashlib.sha256()
    try:
        with open(path, "rb") as file:
            while block := file.read(1 << 20):
                digest.update(block)
    except OSError:
        return None
    return digest.hexdigest()


def _content(path: str) -> str:
    """A file beside the recording by its content, as long as it does not change."""
    try:
        stat = Path(path).stat()
    except OSError:
        return f"missing {path}"
    return _content_of(path, stat.st_size, stat.st_mtime_ns)


@lru_cache(maxsize=256)
def _content_of(path: str, _size: int, _changed_ns: int) -> str:
    return content_hash(path) or f"missing {path}"
