"""Recordings and cards for batches, and work that stands in for listening."""

from __future__ import annotations

import hashlib
import os
import random
import signal
import time
import zlib
from pathlib import Path

import numpy as np

from chatter import findings as f
from chatter.batch.row import HEARD, LedgerRow
from chatter.batch.task import Task
from chatter.batch.work import Result, failed
from chatter.plain import to_json, to_plain

CARD = "[cutter]\nteeth = 4\n[cut]\nspeed = 600\n"


def strokes(path: Path, *, seed: int = 0, seconds: float = 3.0, rate_hz: int = 16000) -> Path:
    """A wav with 40 strokes of noise per second, as of 4 teeth at 600 rev/min."""
    import soundfile

    rng = np.random.default_rng(seed)
    time_s = np.arange(int(seconds * rate_hz)) / rate_hz
    swell = np.where((time_s > 0.3) & (time_s < seconds - 0.3), 1.0, 0.02)
    sound = 0.2 * swell * (1 + np.cos(2 * np.pi * 40 * time_s)) * rng.standard_normal(time_s.size)
    path.parent.mkdir(parents=True, exist_ok=True)
    soundfile.write(path, np.clip(sound, -1, 1), rate_hz, subtype="PCM_16")
    return path


def files(folder: Path, count: int) -> list[Path]:
    """Small files that no one will listen to, each with a content of its own, and their cards."""
    folder.mkdir(parents=True, exist_ok=True)
    made = []
    for i in range(count):
        path = folder / f"take-{i:04d}.wav"
        path.write_bytes(b"RIFF" + i.to_bytes(4, "big") * 50)
        made.append(path)
    (folder / "all.toml").write_text(CARD)
    return made


def quick(index: int, task: Task, want_findings: bool, started: str | None = None) -> Result:
    """A row at once.  What the file's name says happens: "dies" kills the process, "slow" waits,
    "fails" is refused."""
    mark = None if started is None else Path(started) / str(index)
    if mark is not None:
        mark.touch()
    _note(task)
    if "dies" in task.name:
        os.kill(os.getpid(), signal.SIGKILL)
    if "slow" in task.name:
        time.sleep(0.1)
    if mark is not None:
        mark.unlink()
    if "fails" in task.name or task.job is None:
        return Result(index, failed(task, task.error or "It was refused."))
    sha256 = hashlib.sha256(Path(task.path).read_bytes()).hexdigest()
    row = LedgerRow(task.name, HEARD, "normal", 0.9, sha256=sha256, summary="Normal cutting. " * 8)
    packed = None
    if want_findings:
        packed = zlib.compress(to_json(found(task, sha256), indent=None).encode())
    return Result(index, row, packed)


def found(task: Task, sha256: str) -> f.Findings:
    """Findings without passes."""
    size = os.path.getsize(task.path)
    source = f.Source(task.name, task.path, sha256, size, "wav", "pcm", 16000, 1, 3.0, False)
    fitness = f.Fitness(True, -20.0, 0.0, 0.0, 80.0, 8000.0)
    return f.Findings(
        schema_version=f.SCHEMA_VERSION,
        made_by="chatter 0.1.0",
        source=source,
        job=to_plain(task.job),
        verdict="normal",
        confidence=0.9,
        summary="Normal cutting.",
        passes=(),
        stretches=(),
        fitness=fitness,
        suggestions=(),
        cautions=(),
        notes=(),
        how=(
            random.Random(sha256).randbytes(25_000).hex(),
        ),  # as long as true findings, packed too
    )


def _note(task: Task) -> None:
    """Write down, beside the folder, that a file was worked on."""
    with (Path(task.path).parent.parent / "worked.txt").open("a") as out:
        out.write(f"{task.name}\n")


def paced(*given, **known):
    """As ``quick``, but no quicker than its results are stored: else they pile up in the queue."""
    time.sleep(0.06)
    return quick(*given, **known)
