"""Command: ``python -m chatter.lab.simulate OUT --kind chatter --seed 7``."""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

from chatter.errors import ChatterError
from chatter.lab.simulate.codec import CONTAINERS
from chatter.lab.simulate.draw import KINDS, draw_scene
from chatter.lab.simulate.ranges import ALL
from chatter.lab.simulate.scene import Format
from chatter.lab.simulate.writing import write_case


def main(arguments: list[str] | None = None) -> int:
    """Write recordings with their job cards and truth; return the exit code."""
    parser = argparse.ArgumentParser(prog="python -m chatter.lab.simulate", description=__doc__)
    parser.add_argument("out", type=Path, help="folder to write into")
    parser.add_argument("--kind", choices=["chatter", *KINDS], default="chatter")
    parser.add_argument("--seed", type=int, default=0, help="of the first recording")
    parser.add_argument("--count", type=int, default=1, help="how many, with successive seeds")
    parser.add_argument("--ranges", choices=list(ALL), default="development")
    regimes = [one.name for one in ALL["development"].regimes]
    parser.add_argument("--regime", choices=regimes, help="hold to one way of cutting")
    parser.add_argument("--format", choices=list(CONTAINERS), help="instead of a drawn one")
    parser.add_argument("--bit-rate", type=int, default=64_000, help="with --format [bit/s]")
    options = parser.parse_args(arguments)
    if options.seed < 0 or options.count < 1:
        parser.error("the seed must be 0 or more and the count 1 or more")
    try:
        for seed in range(options.seed, options.seed + options.count):
            rng = np.random.default_rng(seed)
            scene = draw_scene(rng, options.kind, ALL[options.ranges], regime=options.regime)
            if options.format:
                scene = replace(scene, format=Format(options.format, options.bit_rate))
            recording, _, truth = write_case(
                options.out / f"{options.kind}-{seed:04d}", scene, seed
            )
            print(f"{recording}  {truth.duration_s:.1f} s  {truth.verdict}")
    except (ChatterError, ValueError) as error:
        print(error, file=sys.stderr)
        return 2
    except OSError as error:
        print(f"{options.out} cannot be written ({error.strerror}): name another folder.",
              file=sys.stderr)  # fmt: skip
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main())
