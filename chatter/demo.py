"""Demo: the simulated recordings in ``recordings_demo/`` with their job cards and truth.

A checkout of the repository has them all; an installed package brings a few of them along.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

from chatter.errors import RecordingError

#: Where the recordings lie: beside the package in a checkout of the repository.
FOLDER = Path(__file__).resolve().parent.parent / "recordings_demo"

#: What the package itself brings along.
SHIPPED = Path(__file__).resolve().parent / "demo_recordings"

#: Taps on an arbor, among those.
TAPS = SHIPPED / "taps-on-arbor.flac"

#: What the name of a file of truth ends in.
TRUTH_SUFFIX = ".truth.json"

#: What names a recording of several passes: the gravest of them.
_GRAVEST_FIRST = ("chatter", "side_rubbing", "uneven_teeth", "normal")


@dataclass(frozen=True)
class DemoPass:
    """What is true of one pass of a demo recording."""

    start_s: float
    end_s: float
    verdict: str
    also: tuple[str, ...]


@dataclass(frozen=True)
class DemoTruth:
    """What is true of a demo recording, as far as an answer is held against it."""

    passes: tuple[DemoPass, ...]
    duration_s: float

    @property
    def verdict(self) -> str:
        """The gravest verdict of any pass; ``machine_only`` when nothing was cut."""
        told = {one.verdict for one in self.passes}
        return next((name for name in _GRAVEST_FIRST if name in told), "machine_only")


@dataclass(frozen=True)
class DemoTake:
    """One demo recording with its job card, and what is true of it."""

    recording: Path
    job: Path
    truth: DemoTruth


def demo_takes(folder: Path | None = None) -> tuple[DemoTake, ...]:
    """List the demo recordings in the order of their names.

    Parameters
    ----------
    folder : Path, optional
        Else all of a checkout, or those that an installed package brings along.

    Raises
    ------
    RecordingError
        The folder is missing or holds none.
    """
    if folder is None:
        folder = FOLDER if any(FOLDER.glob(f"*{TRUTH_SUFFIX}")) else SHIPPED
    takes = []
    for told in sorted(folder.glob(f"*{TRUTH_SUFFIX}")):
        name = told.name.removesuffix(TRUTH_SUFFIX)
        beside = [p for p in folder.glob(f"{name}.*") if p.suffix not in (".toml", ".json")]
        if len(beside) != 1:
            raise RecordingError(
                f"{told.name} has {len(beside)} recordings beside it instead of one: make the "
                "demo anew with 'python -m chatter.lab.demo --make'."
            )
        takes.append(DemoTake(beside[0], folder / f"{name}.toml", _truth(told)))
    if not takes:
        raise RecordingError(
            f"no demo recordings in {folder}: run the demo in a checkout of the repository, or "
            "make them with 'python -m chatter.lab.demo --make'."
        )
    return tuple(takes)


def _truth(told: Path) -> DemoTruth:
    plain = json.loads(told.read_text("utf-8"))
    passes = tuple(
        DemoPass(one["start_s"], one["end_s"], one["verdict"], tuple(one["also"]))
        for one in plain["passes"]
    )
    return DemoTruth(passes, plain["duration_s"])
