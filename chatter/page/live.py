"""Recordings made in the page: they come in pieces, and are kept whatever becomes of the browser.

Each piece is on the disk before the next is asked for.  A recording whose browser has gone, or
that a stop of the page cut short, is kept as far as it came and listened to like any other.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import re
import secrets
import struct
import sys
import time
import traceback
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from chatter.page.limits import PageLimits

RATES_HZ = (8_000, 96_000)
_HEAD = 44  # bytes before the samples
_LEAST_S = 0.2
_NAME = re.compile(r"[0-9a-f]{20}\.wav")

#: Keeps a recording that ended: gets its file, its name and what the form stated.
Kept = Callable[[Path, str, dict[str, str]], Awaitable[str]]


@dataclass
class Running:
    """One recording that is being made."""

    id: str
    path: Path
    rate_hz: int
    fields: dict[str, str]
    next: int = 0  # number of the piece that is wanted
    heard_of: float = field(default_factory=time.monotonic)
    lock: asyncio.Lock = field(default_factory=asyncio.Lock)


class Gap(Exception):
    """A piece that does not follow the last one; ``wanted`` does."""

    def __init__(self, wanted: int) -> None:
        super().__init__(f"piece {wanted} is wanted")
        self.wanted = wanted


class Live:
    """The recordings that are being made in browsers.

    Parameters
    ----------
    folder : Path
        Theirs alone; what lies in it at the start was cut short.
    limits : PageLimits
    kept : callable
        Takes what ended; gives the address of its page.
    """

    def __init__(self, folder: Path, limits: PageLimits, kept: Kept) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self._folder, self._limits, self._kept = folder, limits, kept
        self._running: dict[str, Running] = {}
        self._watch: asyncio.Task | None = None

    async def start(self) -> None:
        """Take up what a stop cut short, and watch for browsers that go."""
        for path in sorted(self._folder.glob("*.wav")):
            if _NAME.fullmatch(path.name):
                await self._take(path, _fields_of(path))
        self._watch = asyncio.create_task(self._look())

    async def stop(self) -> None:
        """Leave everything on the disk for the next start."""
        if self._watch is not None:
            self._watch.cancel()
            await asyncio.gather(self._watch, return_exceptions=True)

    def full(self) -> bool:
        """Whether as many record as may."""
        return len(self._running) >= self._limits.live_at_once

    def get(self, id_: str) -> Running | None:
        """A recording that is being made."""
        return self._running.get(id_)

    def begin(self, rate_hz: int, fields: dict[str, str]) -> Running:
        """A new recording, mono, 16 bit.  Raises OSError."""
        id_ = secrets.token_hex(10)
        running = Running(id_, self._folder / f"{id_}.wav", rate_hz, fields)
        _state(running.path, fields)
        running.path.write_bytes(_head(rate_hz, 0))
        self._running[id_] = running
        return running

    async def add(self, running: Running, number: int, samples: bytes) -> bool:
        """Keep a piece; False once the recording is as long as it may be.

        A piece that comes twice is taken once.  Raises Gap, OSError.
        """
        async with running.lock:
            running.heard_of = time.monotonic()
            if number < running.next:
                return True
            if number > running.next:
                raise Gap(running.next)
            most = min(self._limits.file_bytes, 2 * running.rate_hz * int(self._limits.duration_s))
            if running.path.stat().st_size + len(samples) > most:
                return False
            await asyncio.to_thread(_append, running.path, samples[: len(samples) // 2 * 2])
            running.next += 1
            return True

    async def end(self, running: Running, fields: dict[str, str] | None = None) -> str:
        """The recording ended; the address of its page, "" when nothing was recorded."""
        if self._running.pop(running.id, None) is None:
            return ""
        async with running.lock:
            return await self._take(running.path, fields or running.fields)

    def drop(self, running: Running) -> None:
        """Throw a recording away, as its maker asks."""
        self._running.pop(running.id, None)
        _remove(running.path)

    async def _look(self) -> None:
        while True:
            await asyncio.sleep(min(1.0, self._limits.live_silence_s / 4))
            late = time.monotonic() - self._limits.live_silence_s
            for running in [each for each in self._running.values() if each.heard_of < late]:
                try:
                    await self.end(running)
                except Exception:  # it lies on the disk still, and is taken up at the next start
                    traceback.print_exc(file=sys.stderr)

    async def _take(self, path: Path, fields: dict[str, str]) -> str:
        started = _started(path)
        if not await asyncio.to_thread(_close, path):
            _remove(path)
            return ""
        where = await self._kept(path, f"Recorded here {started:%H.%M.%S}.wav", fields)
        _remove(path)
        return where


def _head(rate_hz: int, size: int) -> bytes:
    """RIFF head of mono 16-bit PCM; ``size`` bytes of samples follow."""
    return struct.pack(
        "<4sI4s4sIHHIIHH4sI",
        *(b"RIFF", size + _HEAD - 8, b"WAVE", b"fmt ", 16, 1, 1, rate_hz, 2 * rate_hz, 2, 16),
        *(b"data", size),
    )


def _append(path: Path, samples: bytes) -> None:
    with path.open("ab") as out:
        out.write(samples)
        out.flush()
        os.fsync(out.fileno())


def _close(path: Path) -> bool:
    """Write the true size into the head; False when there is too little to be a recording."""
    size = (path.stat().st_size - _HEAD) // 2 * 2
    with path.open("r+b") as out:
        head = out.read(_HEAD)
        if len(head) < _HEAD:
            return False
        rate_hz = struct.unpack_from("<I", head, 24)[0]
        out.truncate(_HEAD + max(size, 0))
        out.seek(0)
        out.write(_head(rate_hz, max(size, 0)))
    return size >= 2 * rate_hz * _LEAST_S


def _state(path: Path, fields: dict[str, str]) -> None:
    state = {"fields": fields, "at": time.time()}
    path.with_suffix(".json").write_text(json.dumps(state), encoding="utf-8")


def _told(path: Path) -> dict:
    try:
        state = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))
        return state if isinstance(state, dict) else {}
    except (OSError, ValueError):
        return {}


def _fields_of(path: Path) -> dict[str, str]:
    fields = _told(path).get("fields")
    return {str(k): str(v) for k, v in fields.items()} if isinstance(fields, dict) else {}


def _started(path: Path) -> datetime:
    at = _told(path).get("at")
    return datetime.fromtimestamp(at if isinstance(at, int | float) else time.time())


def _remove(path: Path) -> None:
    with contextlib.suppress(OSError):
        path.unlink(missing_ok=True)
        path.with_suffix(".json").unlink(missing_ok=True)
