"""Make the recordings that the manual's commands run on: ``python -m chatter.lab.examples``.

Ten taps on the arbor of the invented mill, and its first day of idling at every speed.  All of
it is simulated.  The cards beside them are written by hand and stay.
"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path

from chatter.lab.histories.writing import make_folder
from chatter.lab.simulate.blows import tapped
from chatter.lab.simulate.codec import write_recording
from chatter.lab.simulate.scene import Format
from chatter.lab.simulate.shop import ARBOR, SEED
from chatter.manual import EXAMPLES

RATE_HZ = 48_000
TAPS, RUNIN = "arbor-taps", "runin"


def make_examples(folder: Path = EXAMPLES) -> None:
    """Write the recordings anew, with their truth."""
    import shutil

    folder.mkdir(parents=True, exist_ok=True)
    sound = tapped(ARBOR, seed=SEED, rate_hz=RATE_HZ)
    write_recording(folder / TAPS, sound, RATE_HZ, Format("m4a", 64_000))
    truth = {
        "simulated": True,
        "modes": [
            {"frequency_hz": one.frequency_hz, "damping_ratio": one.damping} for one in ARBOR
        ],
    }
    (folder / f"{TAPS}.json").write_text(json.dumps(truth, indent=1) + "\n", encoding="utf-8")
    shutil.rmtree(folder / RUNIN, ignore_errors=True)
    make_folder(folder / RUNIN, dates=1, cuts=False)


def main(arguments: list[str] | None = None) -> int:
    """Make the examples; return the exit code."""
    parser = argparse.ArgumentParser(prog="python -m chatter.lab.examples", description=__doc__)
    parser.add_argument("--folder", type=Path, default=EXAMPLES, help="instead of the manual's own")
    options = parser.parse_args(arguments)
    make_examples(options.folder)
    for one in sorted(options.folder.rglob("*")):
        if one.is_file():
            print(f"{one.stat().st_size:8d}  {one.relative_to(options.folder)}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
