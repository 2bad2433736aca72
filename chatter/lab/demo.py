"""Make the demo: the simulated recordings in ``recordings_demo/``.

``python -m chatter.lab.demo`` lists them; ``python -m chatter.lab.demo --make`` makes them anew.
"""

from __future__ import annotations

import argparse
import shutil
import sys
from pathlib import Path

import numpy as np

from chatter.demo import FOLDER, SHIPPED, TAPS, DemoTake, DemoTruth, demo_takes
from chatter.errors import ChatterError, OutputError
from chatter.lab.simulate.truth import Truth

#: All recordings together stay below this.
MOST_BYTES = 6_000_000

#: These go into the package too, for those who have no checkout.
SHIPPED_NAMES = ("02-slot-plain-saw", "04-saw-chatter")
#: Modes of the invented arbor in the recording of taps: frequency [Hz], damping ratio.
TAPPED_MODES = ((612.0, 0.031), (1480.0, 0.018))
_TAPS, _TAPS_RATE_HZ = 8, 16000


def make_demo(folder: Path = FOLDER) -> tuple[DemoTake, ...]:
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
    if folder == FOLDER:
        ship()
    return demo_takes(folder)


def ship(folder: Path = SHIPPED) -> None:
    """Lay what the package brings along into it: some of the recordings, and taps."""
    import soundfile

    folder.mkdir(parents=True, exist_ok=True)
    for name in SHIPPED_NAMES:
        for one in FOLDER.glob(f"{name}.*"):
            shutil.copyfile(one, folder / one.name)
    sound = simulated_taps()
    soundfile.write(folder / TAPS.name, sound, _TAPS_RATE_HZ, "PCM_16", format="FLAC")


def simulated_taps() -> np.ndarray:
    """Taps on the invented arbor, computed as the sum of its ringing modes, in a little noise.

    Returns
    -------
    ndarray, shape (n,), float64
        At 16 kHz.
    """
    rng = np.random.default_rng(612)
    t = np.arange(round(0.6 * _TAPS_RATE_HZ)) / _TAPS_RATE_HZ
    sound = 2e-4 * rng.standard_normal(round((1.0 + 1.2 * _TAPS) * _TAPS_RATE_HZ))
    for at_s in 0.8 + 1.2 * np.arange(_TAPS) + 0.05 * rng.uniform(size=_TAPS):
        ring = 0.3 * rng.standard_normal(t.size) * np.exp(-t / 2e-4)  # the blow itself
        for hz, damping in TAPPED_MODES:
            w = 2.0 * np.pi * hz
            turning = w * np.sqrt(1.0 - damping**2) * t + rng.uniform(-0.4, 0.4)
            ring += rng.uniform(0.7, 1.3) * np.exp(-damping * w * t) * np.sin(turning)
        start = round(at_s * _TAPS_RATE_HZ)
        sound[start : start + t.size] += 0.2 * rng.uniform(0.5, 1.0) * ring
    return sound


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
    options = parser.parse_args(arguments)
    try:
        takes = make_demo(options.folder) if options.make else demo_takes(options.folder)
    except ChatterError as error:
        print(error, file=sys.stderr)
        return error.exit_code
    for take in takes:
        print(f"{take.recording.name:28s} {take.truth.duration_s:5.1f} s  {_causes(take.truth)}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
