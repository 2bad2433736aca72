"""Deliberate faults: ``python -m chatter.lab.mutants``.

Each fault of ``mutants.toml`` is put into a copy of the tree, the tests named beside it are run
there, and those that no test noticed are printed.  The tree itself is never touched.  First all
these tests are run without a fault: where one fails anyhow, it would seem to notice everything.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
import tomllib
from collections.abc import Sequence
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
    try:
        return tests_fail(fault.tests, house, _LONGEST_S)
    except subprocess.TimeoutExpired:
        return True
    finally:
        place.write_text(whole, encoding="utf-8")


def tests_fail(tests: Sequence[str], house: Path, longest_s: float | None = None) -> bool:
    """Whether one of these tests fails in the copy at ``house``, or cannot even be read.

    Raises
    ------
    ValueError
        There are no such tests.
    subprocess.TimeoutExpired
        They took longer than ``longest_s``.
    """
    env = dict(os.environ, PYTHONPATH=str(house), PYTHONDONTWRITEBYTECODE="1")
    command = [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", *tests]
    command += ["-m", "not stale"]  # any change at all makes the model stale
    done = subprocess.run(
        command, cwd=house, env=env, capture_output=True, text=True, timeout=longest_s, check=False
    )
    if done.returncode not in (0, 1, 2):  # passed, failed, ended by what cannot be imported
        raise ValueError(f"pytest runs nothing of {' '.join(tests)}: {done.stderr.strip()}")
    return done.returncode != 0


def main(arguments: list[str] | None = None) -> int:
    """Run the command; 1 where a fault survived."""
    parser = argparse.ArgumentParser(prog="python -m chatter.lab.mutants", description=__doc__)
    parser.add_argument("--only", metavar="WORD", help="faults in files whose name holds WORD")
    parser.add_argument("--first", type=int, metavar="N", help="only so many")
    options = parser.parse_args(arguments)
    chosen = [fault for fault in faults() if not options.only or options.only in fault.file]
    chosen = chosen[: options.first]
    survived = []
    with tempfile.TemporaryDirectory(prefix="chatter-mutants-") as folder:
        house = Path(folder)
        for name in _COPIED:
            whole = ROOT / name
            copy = shutil.copytree if whole.is_dir() else shutil.copy2
            copy(whole, house / name)
        tests = sorted({test for fault in chosen for test in fault.tests})
        if chosen and tests_fail(tests, house):
            print("A test fails without any fault: mend that first.")
            return 1
        for i, fault in enumerate(chosen):
            seen = noticed(fault, house)
            word = "noticed " if seen else "SURVIVED"
            print(f"{i + 1}/{len(chosen)} {word} {fault.file}: {fault.put}", flush=True)
            if not seen:
                survived.append(fault)
    print(f"{len(survived)} of {len(chosen)} faults survived.")
    return 1 if survived else 0


if __name__ == "__main__":
    sys.exit(main())
