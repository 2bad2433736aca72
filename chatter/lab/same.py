"""Real sound that did not change: how often a run-in or a comparison claims that it did.

``python -m chatter.lab.same FOLDER`` cuts every recording of a folder into pieces.  Pieces of one
recording are the same machine on the same day, so whatever is flagged is a false flag:

- histories: pieces stand for dates; the later half is treated (6 dB fainter, MP3, AAC, tilted);
- pairs: one piece against a treated other, compared as two cutters on the same job.

A recording's own job card, ``NAME.toml`` beside it, gives speed and teeth; without one
``--rpm`` and ``--teeth`` do.
"""

from __future__ import annotations

import argparse
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from chatter.batch.gather import ENDINGS
from chatter.comparing import CutterTakes, compare
from chatter.errors import ChatterError
from chatter.job.cards import job_from_cards
from chatter.job.cut import Job
from chatter.job.machine import Bearing, Gear, Machine
from chatter.lab.evaluate.intervals import wilson
from chatter.lab.simulate.codec import write_recording
from chatter.lab.simulate.scene import Format
from chatter.runin.entries import LogEntry
from chatter.runin.study import study
from chatter.sound.intake import take_in

Sound = NDArray[np.float32]

#: Dates of a history, and the shortest piece that stands for one [s].
DATES, PIECE_S = 8, 5.0
#: The shortest half of a recording that is compared with the other [s].
HALF_S = 8.0
_WAV = Format("wav")


@dataclass(frozen=True)
class Treatment:
    """What is done to one side, though nothing was cut otherwise."""

    name: str
    change: Callable[[Sound, int], Sound]
    form: Format


def tilted(x: Sound, rate_hz: int, db_octave: float = 3.0) -> Sound:
    """The same sound through a microphone with another slope."""
    spectrum = np.fft.rfft(x)
    hz = np.maximum(np.fft.rfftfreq(x.size, 1.0 / rate_hz), 50.0)
    out = np.fft.irfft(spectrum * (hz / 1000.0) ** (-db_octave / 6.0206), x.size)
    return (out * min(1.0, 0.9 / max(float(np.abs(out).max()), 1e-9))).astype(np.float32)


TREATMENTS = (
    Treatment("as it is", lambda x, _: x, _WAV),
    Treatment("6 dB fainter", lambda x, _: 0.5 * x, _WAV),
    Treatment("MP3", lambda x, _: x, Format("mp3", 96_000)),
    Treatment("AAC", lambda x, _: x, Format("m4a", 64_000)),
    Treatment("tilted", tilted, _WAV),
)


@dataclass(frozen=True)
class Counted:
    """What was claimed of one recording under one treatment."""

    sort: str  # "history" or "pair"
    treatment: str
    claims: int  # false ones
    asked: bool  # the recording was asked of, or nothing could be told


def counted(path: Path, job: Job, folder: Path, seed: int = 0) -> list[Counted]:
    """All histories and pairs of one recording; empty where it is too short."""
    sound = take_in(path)
    try:
        rate = sound.spool.rate_hz
        x = np.asarray(sound.spool.read(0, sound.spool.n), np.float32)
    finally:
        sound.spool.close()
    made = []
    for treatment in TREATMENTS:
        made += _history(x, rate, job, treatment, folder, seed)
        made += _pair(x, rate, job, treatment, folder)
    return made


def _history(
    x: Sound, rate: int, job: Job, how: Treatment, folder: Path, seed: int
) -> list[Counted]:
    piece = len(x) // DATES
    if piece < PIECE_S * rate:
        return []
    entries = []
    for k in range(DATES):
        part = x[k * piece : (k + 1) * piece]
        file = _written(part, rate, how if k >= DATES // 2 else TREATMENTS[0], folder, f"d{k}")
        day = date(2026, 1, 1) + timedelta(days=7 * k)
        entries.append(LogEntry("idle", day, None, file, job.cut.speed_rev_min, "phone", "stand"))
    done = study(_machine(seed), entries)
    flags = sum(one.verdict in ("worse", "better") for one in done.trends)
    return [Counted("history", how.name, flags, bool(done.questions))]


def _machine(seed: int) -> Machine:
    """A card that was drawn and fits nothing: what is followed by it must not change."""
    rng = np.random.default_rng(seed)
    bearings = tuple(
        Bearing(f"bearing {k}", int(rng.integers(8, 18)), 0.01, 0.06, 0.2, float(rng.uniform(1, 4)))
        for k in range(3)
    )
    gears = tuple(
        Gear(f"gear {k}", int(rng.integers(20, 90)), float(rng.uniform(1, 4))) for k in range(2)
    )
    return Machine(name="drawn", gears=gears, bearings=bearings)


def _pair(x: Sound, rate: int, job: Job, how: Treatment, folder: Path) -> list[Counted]:
    half = len(x) // 2
    if half < HALF_S * rate:
        return []
    files = [
        _written(part, rate, treatment, folder, name)
        for part, treatment, name in ((x[:half], TREATMENTS[0], "a"), (x[half:], how, "b"))
    ]
    found = compare([CutterTakes(n, ((f, job),)) for n, f in zip("ab", files, strict=True)])
    one = found.comparison
    shown = sum(each.said == "shown" for each in one.differences)
    return [Counted("pair", how.name, shown, one.verdict == "cannot_tell")]


def _written(x: Sound, rate: int, how: Treatment, folder: Path, name: str) -> Path:
    path, _ = write_recording(folder / name, how.change(x, rate), rate, how.form)
    return path


def claims_table(found: list[Counted]) -> str:
    """Counts of false claims with their 95 % intervals (Wilson)."""
    lines = ["                          with a false claim                        asked, not told"]
    for sort in ("history", "pair"):
        for name in ("all", *(one.name for one in TREATMENTS)):
            own = [c for c in found if c.sort == sort and name in ("all", c.treatment)]
            if not own:
                continue
            hits = sum(c.claims > 0 for c in own)
            low, high = wilson(hits, len(own))
            lines.append(
                f"  {sort:8s} {name:13s} {hits:3d} of {len(own):<4d} {hits / len(own):6.1%} "
                f"({100 * low:.1f} to {100 * high:.1f})          {sum(c.asked for c in own):3d}"
            )
    return "\n".join(lines)


def main() -> None:
    """Cut up a folder and print the table."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--rpm", default="300", help="where a recording has no card")
    parser.add_argument("--teeth", default="12")
    parser.add_argument("--only", default="", help="only recordings whose name holds this")
    options = parser.parse_args()
    found: list[Counted] = []
    files = sorted(p for p in options.folder.rglob("*") if p.suffix.lower() in ENDINGS)
    for seed, path in enumerate(p for p in files if options.only in p.name):
        card = path.with_suffix(".toml")
        stated = {"cut.speed": options.rpm, "cutter.teeth": options.teeth}
        try:
            job = job_from_cards(card, {}) if card.exists() else job_from_cards(None, stated)
            with tempfile.TemporaryDirectory() as folder:
                own = counted(path, job, Path(folder), seed)
        except ChatterError as wrong:
            print(f"{path.name}: {wrong}", flush=True)
            continue
        found += own
        claims = sum(c.claims > 0 for c in own)
        print(f"{path.name}: {len(own)} histories and pairs, {claims} with a claim", flush=True)
    print(claims_table(found))


if __name__ == "__main__":
    main()
