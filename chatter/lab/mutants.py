"""Deliberate faults: ``python -m chatter.lab.mutants``.

Each fault of ``mutants.toml`` is put into a copy of the tree, the tests named beside it are run
there, and those that no test noticed are printed.  The tree itself is never touched.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
import tomllib
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
LIST = Path(__file__).with_suffix(".toml")
_COPIED = ("chatter", "tests", "recordings_demo", "pyproject.toml", "README.md", "DEVELOPERS.md")
#: A fault may make a test run for ever: that is noticed too.
_LONGEST_S = 900.0


@dataclass(frozen=True)
class Fault:
    """One change to one file, and the tests that should notice it."""

    file: str
    find: str
    put: str
    tests: tuple[str, ...]


def faults(path: Path = LIST) -> tuple[Fault, ...]:
    """All faults of the list."""
    rows = tomllib.loads(path.read_text("utf-8"))["fault"]
    return tuple(Fault(r["file"], r["find"], r["put"], tuple(r["tests"])) for r in rows)


def noticed(fault: Fault, house: Path) -> bool:
    """Whether a test fails with the fault in the copy at ``house``; the copy is mended again.

    Raises
    ------
    ValueError
        What should be replaced does not stand there once.
    """
    place = house / fault.file
    whole = place.read_text("utf-8")
    if whole.count(fault.find) != 1:
        raise ValueError(f"'{fault.find}' stands {whole.count(fault.find)} times in {fault.file}.")
    place.write_text(whole.replace(fault.find, fault.put), encoding="utf-8")
    env = dict(os.environ, PYTHONPATH=str(house), PYTHONDONTWRITEBYTECODE="1")
    command = [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", *fault.tests]
    command += ["-k", "not fitted_on_the_code"]  # any change at all makes the model stale
    try:
        done = subprocess.run(
            command, cwd=house, env=env, capture_output=True, timeout=_LONGEST_S, check=False
        )
    except subprocess.TimeoutExpired:
        return True
    finally:
        place.write_text(whole, encoding="utf-8")
    return done.returncode == 1


def main(arguments: list[str] | None = None) -> int:
    """Run the command; 1 where a fault survived."""
    parser = argparse.ArgumentParser(prog="python -m chatter.lab.mutants", description=__doc__)
    parser.add_argument("--only", metavar="WORD", help="faults in files whose name holds WORD")
    parser.add_argument("--first", type=int, metavar="N", help="only so many")
    options = parser.parse_args(arguments)
    chosen = [one for one in faults() if not options.only or options.only in one.file][
        : options.first
    ]
    survived = []
    with tempfile.TemporaryDirectory(prefix="chatter-mutants-") as folder:
        house = Path(folder)
        for name in _COPIED:
            whole = ROOT / name
            copy = shutil.copytree if whole.is_dir() else shutil.copy2
            copy(whole, house / name)
        for i, one in enumerate(chosen):
            seen = noticed(one, house)
            word = "noticed " if seen else "SURVIVED"
            print(f"{i + 1}/{len(chosen)} {word} {one.file}: {one.put}", flush=True)
            if not seen:
                survived.append(one)
    print(f"{len(survived)} of {len(chosen)} faults survived.")
    return 1 if survived else 0


if __name__ == "__main__":
    sys.exit(main())
