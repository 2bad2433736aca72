"""Damage, hand out, watch, count."""

from __future__ import annotations

import json
import os
import random
import select
import shutil
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from chatter.lab.fuzz.damage import WAYS
from chatter.lab.fuzz.seeds import make_seeds
from chatter.lab.fuzz.worker import WORKS
from chatter.threads import VARIABLES

#: Longer than this for 8 s of sound is a hang, on a busy machine too.
PATIENCE_S = 120.0
#: A worker is replaced after so many files, so that its peak of memory tells of few.
_FILES_A_WORKER = 200
#: From here a verdict is called confident.
CONFIDENT = 0.8


@dataclass(frozen=True)
class FuzzOutcome:
    """What became of one damaged file."""

    number: int
    seed_file: str
    way: str
    work: str
    end: str  # "answer", "sentence", "fault", "crash" or "hang"
    said: str = ""
    verdict: str = ""
    confidence: float = 0.0
    words: int = 0  # bytes that a library printed
    seconds: float = 0.0
    peak_mb: float = 0.0


@dataclass
class Tally:
    """All outcomes, counted."""

    outcomes: list[FuzzOutcome] = field(default_factory=list)

    def ends(self, which: Callable[[FuzzOutcome], bool] = lambda _one: True) -> Counter[str]:
        """How many ended how."""
        return Counter(one.end for one in self.outcomes if which(one))

    @property
    def wrong(self) -> list[FuzzOutcome]:
        """Faults, crashes, hangs, and files of which a library spoke on the terminal."""
        return [o for o in self.outcomes if o.end in ("fault", "crash", "hang") or o.words]

    @property
    def confident(self) -> list[FuzzOutcome]:
        """Damaged files that got a confident verdict other than that of the whole one."""
        named = (o for o in self.outcomes if o.verdict not in ("", "cannot_tell"))
        return [o for o in named if o.confidence >= CONFIDENT]


def fuzz(
    count: int,
    *,
    seed: int = 1,
    works: tuple[str, ...] = tuple(WORKS),
    tell: Callable[[int, Tally], None] = lambda _done, _tally: None,
) -> Tally:
    """Damage files and do to each one thing that a user would.

    Parameters
    ----------
    count : int
        Damaged files; works, containers and ways take turns.
    seed : int
        The same seed gives the same files.
    works : tuple of str
        Of "listen", "compare", "tap", "run-in" and "batch".
    tell : callable
        Called after each file.
    """
    tally = Tally()
    with tempfile.TemporaryDirectory(prefix="chatter-fuzz-") as folder:
        place = Path(folder)
        seeds = make_seeds(place / "seeds")
        whole = shutil.copy(place / "seeds" / "a.wav", place / "whole.wav")
        contents = tuple(one.read_bytes() for one in seeds)
        requests = _requests(count, seed, works, seeds, contents, place)
        worker = None
        for number, path, way, work, name in requests:
            if worker is None or worker.done >= _FILES_A_WORKER:
                if worker is not None:
                    worker.end()
                worker = _Worker()
            told = worker.ask({"work": work, "path": str(path), "whole": str(whole)})
            path.unlink()
            if told["end"] in ("crash", "hang"):
                worker = None
            known = {k: v for k, v in told.items() if k in FuzzOutcome.__dataclass_fields__}
            tally.outcomes.append(FuzzOutcome(number, name, way, work, **known))
            tell(number + 1, tally)
        if worker is not None:
            worker.end()
    return tally


def _requests(
    count: int,
    seed: int,
    works: tuple[str, ...],
    seeds: tuple[Path, ...],
    contents: tuple[bytes, ...],
    place: Path,
) -> Iterator[tuple[int, Path, str, str, str]]:
    ways = tuple(WAYS)
    for number in range(count):
        rng = random.Random(seed * 1_000_003 + number)
        at = number % len(seeds)
        way = ways[(number // len(seeds) + number) % len(ways)]
        work = works[(number // 3) % len(works)]
        damaged = WAYS[way](contents[at], rng, contents)
        path = place / f"{number:05d}-{seeds[at].name}"
        path.write_bytes(damaged)
        yield number, path, way, work, seeds[at].name


class _Worker:
    """A worker process and the line to it."""

    def __init__(self) -> None:
        self.done = 0
        self._process = subprocess.Popen(
            [sys.executable, "-m", "chatter.lab.fuzz.worker"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env={**os.environ, **dict.fromkeys(VARIABLES, "1")},
        )

    def ask(self, request: dict) -> dict:
        """What became of one file."""
        self.done += 1
        try:
            self._process.stdin.write(json.dumps(request).encode() + b"\n")
            self._process.stdin.flush()
        except BrokenPipeError:
            return self._crash()
        ready, _, _ = select.select([self._process.stdout], [], [], PATIENCE_S)
        if not ready:
            self.end(kill=True)
            return {"end": "hang", "said": f"no answer within {PATIENCE_S:g} s"}
        line = self._process.stdout.readline()
        return json.loads(line) if line else self._crash()

    def _crash(self) -> dict:
        self.end()
        return {"end": "crash", "said": f"exit code {self._process.returncode}"}

    def end(self, *, kill: bool = False) -> None:
        """Have it end."""
        if kill:
            self._process.kill()
        self._process.stdin.close()
        self._process.wait(PATIENCE_S)
        self._process.stdout.close()
