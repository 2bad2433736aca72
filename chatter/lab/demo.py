"""Make the demo: the simulated recordings in ``recordings_demo/``.

``python -m chatter.lab.demo`` lists them; ``python -m chatter.lab.demo --make`` makes them anew.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from chatter.demo import FOLDER, DemoTake, DemoTruth, demo_takes
from chatter.errors import ChatterError, OutputError
from chatter.lab.simulate.truth import Truth

#: All recordings together stay below this.
MOST_BYTES = 6_000_000


def make(folder: Path = FOLDER) -> tuple[DemoTake, ...]:
    """Simulate and write all demo recordings, their job cards, truth and README.

    Raises
    ------
    OutputError
        The folder cannot be written.
    """
    from chatter.lab.simulate.shop import SEED, planned_takes
    from chatter.lab.simulate.writing import write_case

    try:
        folder.mkdir(parents=True, exist_ok=True)
        for old in folder.iterdir():
            if old.is_file() and old.name[:2].isdigit():
                old.unlink()
        rows = []
        for plan in planned_takes():
            recording, _, truth = write_case(folder / plan.name, plan.scene, SEED, plan.job)
            rows.append((recording.name, plan.told, _causes(truth), truth.duration_s))
        (folder / "README.md").write_text(_readme(rows), encoding="utf-8")
    except OSError as error:
        raise OutputError(
            f"{folder} cannot be written ({error.strerror}): free some space or mend its rights."
        ) from error
    return demo_takes(folder)


def _causes(truth: Truth | DemoTruth) -> str:
    counts: dict[str, int] = {}
    for one in truth.passes:
        name = " and ".join((one.verdict, *one.also)).replace("_", " ")
        counts[name] = counts.get(name, 0) + 1
    if not counts:
        return "machine only"
    if len(counts) == 1:
        return next(iter(counts))
    return ", ".join(f"{count} x {name}" for name, count in counts.items())


def _readme(rows: list[tuple[str, str, str, float]]) -> str:
    lines = [
        "# Demo recordings: simulated, every one",
        "",
        "No machine was heard and no phone was held: these sounds were computed by",
        "`chatter/lab/simulate` (forces on each tooth, vibration of arbor and work, room, phone",
        "and its coder) and are labelled as simulated in their job cards. The shop, its",
        "second-hand horizontal mill and its cutters are invented. Whether a cut chatters was",
        "decided by the computed dynamics; what is true of each recording stands beside it in",
        "`*.truth.json`.",
        "",
        "| recording | what happens | true of it | seconds |",
        "|---|---|---|---|",
    ]
    lines += [f"| `{name}` | {told} | {true} | {s:.0f} |" for name, told, true, s in rows]
    lines += [
        "",
        "Recordings 02 and 03 are two cutters on the same job, for `chatter compare`.",
        "Make them anew with `python -m chatter.lab.demo --make`; listen to all with",
        "`chatter demo`.",
        "",
    ]
    return "\n".join(lines)


def main(arguments: list[str] | None = None) -> int:
    """List or make the demo; return the exit code."""
    parser = argparse.ArgumentParser(prog="python -m chatter.lab.demo", description=__doc__)
    parser.add_argument("--make", action="store_true", help="make the recordings anew")
    parser.add_argument("--folder", type=Path, default=FOLDER, help="instead of recordings_demo")
    told = parser.parse_args(arguments)
    try:
        takes = make(told.folder) if told.make else demo_takes(told.folder)
    except ChatterError as error:
        print(error, file=sys.stderr)
        return error.exit_code
    for take in takes:
        print(f"{take.recording.name:28s} {take.truth.duration_s:5.1f} s  {_causes(take.truth)}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
