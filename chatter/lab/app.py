"""Build the ready-made app for this system, start it, and say how large and how quick it is.

``python -m chatter.lab.app`` makes a folder ``chatter`` with the program and all it needs,
Python included, and packs it into one archive.  PyInstaller does not build for another system:
run it on Windows for Windows.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
import time
import urllib.request
from dataclasses import dataclass
from pathlib import Path

import chatter
from chatter.errors import OutputError
from chatter.plain import to_json

_ROOT = Path(chatter.__file__).resolve().parent
_DEMO = _ROOT.parent / "recordings_demo"
#: What tests, the lab and neighbours of our libraries would bring along, and no listen uses.
_LEFT_OUT = (
    *("chatter.lab", "numba", "llvmlite", "librosa", "sklearn", "dask", "distributed", "pandas"),
    *("pytest", "hypothesis", "pint", "ruptures", "control", "playwright", "IPython", "tkinter"),
    *("PyQt5", "PyQt6", "PySide6", "wx", "gi", "setuptools", "pip", "torch", "pyarrow", "sympy"),
    "matplotlib",
)
_PATIENCE_S = 90.0


@dataclass(frozen=True)
class Built:
    """What came of it."""

    program: str
    folder_mb: float
    archive: str
    archive_mb: float
    build_s: float
    help_s: float
    page_s: float


def build(out: Path) -> tuple[Path, float]:
    """Build the app.

    Parameters
    ----------
    out : Path
        A folder; ``out/chatter`` is made anew.

    Returns
    -------
    Path
        The program.
    float
        Seconds that it took.

    Raises
    ------
    OutputError
        PyInstaller is missing or fails.
    """
    begun = time.monotonic()
    out.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix="chatter-app-") as work:
        start = Path(work) / "chatter_app.py"
        start.write_text(
            "import sys\nfrom chatter.cli.ready_made import main\nsys.exit(main())\n", "utf-8"
        )
        command = [
            *(sys.executable, "-m", "PyInstaller", "--noconfirm", "--onedir", "--console"),
            *("--name", "chatter", "--log-level", "ERROR", "--paths", str(_ROOT.parent)),
            *("--distpath", str(out), "--workpath", work, "--specpath", work),
            *("--collect-data", "chatter", "--collect-submodules", "joblib"),
            *("--add-data", f"{_DEMO}{os.pathsep}recordings_demo"),
        ]
        for name in _modules():
            command += ["--hidden-import", name]
        for name in _LEFT_OUT:
            command += ["--exclude-module", name]
        done = subprocess.run([*command, str(start)], capture_output=True, text=True, check=False)
    program = out / "chatter" / ("chatter.exe" if os.name == "nt" else "chatter")
    if done.returncode or not program.is_file():
        last = (done.stderr.strip().splitlines() or ["it said nothing"])[-1]
        raise OutputError(
            f"The app was not built ({last[:200]}): install it with pip install pyinstaller, "
            "and try again."
        )
    return program, time.monotonic() - begun


def _modules() -> list[str]:
    """Every module of the product, for many are opened by name or inside functions."""
    found = []
    for path in sorted(_ROOT.rglob("*.py")):
        parts = path.relative_to(_ROOT.parent).with_suffix("").parts
        if parts[1:2] != ("lab",):
            found.append(".".join(parts[:-1] if parts[-1] == "__init__" else parts))
    return found


def start_page(program: Path, folder: Path, browser: Path | None = None) -> tuple[float, str]:
    """Start the app's page as a click does, wait for its first page, stop it.

    Parameters
    ----------
    program, folder : Path
        The app, and where it may keep things.
    browser : Path, optional
        A program to open the page with; told by the variable BROWSER.

    Returns
    -------
    float
        Seconds from the start to the whole first page.
    str
        The first page.

    Raises
    ------
    OutputError
        It does not come up.
    """
    env = {**os.environ, **({"BROWSER": f"{browser} %s"} if browser else {"BROWSER": "true"})}
    command = [program, "page", "--open", "--port", "0", "--book", folder / "book.db"]
    begun = time.monotonic()
    running = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=env)
    try:
        line = running.stdout.readline()
        address = next((word for word in line.split() if word.startswith("http://")), "")
        if not address:
            raise OutputError(f"The app did not start ('{line.strip()[:100]}'): run it by hand.")
        with urllib.request.urlopen(address, timeout=_PATIENCE_S) as answer:
            page = answer.read().decode("utf-8")
        return time.monotonic() - begun, page
    except OSError as wrong:
        raise OutputError(
            f"The page of the app does not answer ({wrong}): run it by hand."
        ) from None
    finally:
        running.kill()
        running.wait()


def _megabytes(path: Path) -> float:
    files = [path] if path.is_file() else [each for each in path.rglob("*") if each.is_file()]
    return sum(each.lstat().st_size for each in files) / 1e6


def main(arguments: list[str] | None = None) -> int:
    """Build, start, measure, print."""
    parser = argparse.ArgumentParser(prog="python -m chatter.lab.app", description=__doc__)
    parser.add_argument("--out", type=Path, default=Path("dist"), help="folder to build into")
    parser.add_argument("--json", action="store_true", help="print the figures as JSON")
    options = parser.parse_args(arguments)
    try:
        program, build_s = build(options.out.absolute())
        begun = time.monotonic()
        subprocess.run([program, "--version"], check=True, capture_output=True)
        help_s = time.monotonic() - begun
        with tempfile.TemporaryDirectory(prefix="chatter-app-") as folder:
            page_s, _ = start_page(program, Path(folder))
        kind = "zip" if os.name == "nt" else "gztar"
        name = options.out.absolute() / f"chatter-{chatter.__version__}-{sys.platform}"
        archive = Path(shutil.make_archive(str(name), kind, program.parent.parent, "chatter"))
    except OutputError as wrong:
        print(wrong, file=sys.stderr)
        return 2
    sizes = (_megabytes(program.parent), str(archive), _megabytes(archive))
    built = Built(str(program), *sizes, build_s, help_s, page_s)
    if options.json:
        print(to_json(built, indent=None))
        return 0
    print(f"The app is {built.program}: {built.folder_mb:.0f} MB, built in {build_s:.0f} s.")
    print(f"Packed: {built.archive}, {built.archive_mb:.0f} MB.")
    print(f"It starts in {help_s:.1f} s; its first page is there after {page_s:.1f} s.")
    return 0


if __name__ == "__main__":
    sys.exit(main())
