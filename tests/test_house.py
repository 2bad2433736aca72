"""The plan of the house as a test: who may know whom, how large, how quick to enter.

The rooms stand in order, the ground floor first; each may import only the rooms named
beside it, and those must stand before it.  When this test fails because a new room is not
in the plan, put the room into ``PLAN`` where it belongs, with as few neighbours as it needs.
"""

from __future__ import annotations

import ast
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
HOUSE = ROOT / "chatter"

_GROUND = ("errors", "findings")

#: Room -> the rooms it may import, in the order of the floors.
PLAN: dict[str, tuple[str, ...]] = {
    "errors": (),
    "findings": ("errors",),
    "job": ("errors",),
    "sound": _GROUND,  # what the phone heard; knows nothing of cutting
    "trade": (*_GROUND, "job"),  # shop knowledge; knows nothing of audio
    "simulate": ("errors", "job"),  # the forger; must not know the judge
    "listening": (*_GROUND, "job", "sound"),
    "tap": (*_GROUND, "job", "sound", "trade"),
    "plan": (*_GROUND, "job", "trade"),
    "listen": (*_GROUND, "job", "sound", "trade", "listening", "tap"),
    "compare": (*_GROUND, "job", "sound", "listening", "listen"),
    "logbook": (*_GROUND, "job", "trade", "tap"),
    "runin": (*_GROUND, "job", "sound", "trade", "listening", "listen", "logbook"),
    "report": (
        *_GROUND,
        "job",
        "sound",
        "trade",
        "listening",
        "tap",
        "compare",
        "logbook",
        "runin",
    ),
    "batch": (*_GROUND, "job", "listen", "logbook", "report"),
    "evaluate": (*_GROUND, "job", "simulate", "listening", "listen", "compare", "report", "trade"),
    "pairs": (*_GROUND, "job", "simulate", "listen", "compare", "evaluate"),
    "histories": (*_GROUND, "job", "simulate", "runin", "evaluate"),
    "trials": (*_GROUND, "job", "simulate", "trade", "listen"),
    "demo": (*_GROUND, "job", "simulate", "listen", "report", "evaluate"),
    "bench": (*_GROUND, "job", "sound", "simulate", "listen", "report"),
    "page": (
        *_GROUND,
        *("job", "sound", "trade", "tap", "plan", "listen", "compare", "logbook", "runin"),
        *("report", "demo"),
    ),
    "docs": (*_GROUND, "job", "listen", "report", "demo"),
    "cli": (
        *_GROUND,
        *("job", "trade", "tap", "plan", "listen", "compare", "logbook", "runin", "batch"),
        *("report", "simulate", "evaluate", "demo", "bench", "page"),
    ),
}

#: Rooms of several modules that stand beside each other instead of in a folder.
SAME_ROOM = {"terminal": "cli", "__main__": "cli", "findings_json": "findings"}

#: Where a room may be entered by one door only: (from, to) -> modules.
DOORS = {
    ("report", "sound"): {"chatter.sound.playable"},
    ("report", "listening"): {"chatter.listening.exhibits"},
    ("listen", "tap"): {"chatter.tap.findings"},
    ("report", "tap"): {"chatter.tap.findings"},
    ("logbook", "tap"): {"chatter.tap.findings"},
    ("compare", "listening"): {"chatter.listening.exhibits"},
    ("evaluate", "report"): {"chatter.report.line_drawing"},
    ("page", "sound"): {  # to decode for picture and player; all judging goes through listen
        *("chatter.sound.recording", "chatter.sound.mixdown", "chatter.sound.spool"),
        *("chatter.sound.playable", "chatter.sound.spectrum"),
    },
}

#: Packages that cost a tenth of a second or more: only imported inside functions.
HEAVY = (
    *("librosa", "numba", "matplotlib", "sklearn", "av", "soundfile", "soxr", "PIL", "jinja2"),
    *("scipy.signal", "scipy.stats", "scipy.optimize", "scipy.interpolate", "scipy.ndimage"),
    *("sqlite3", "sqlite_utils", "joblib", "dask", "distributed"),
)

#: None of these may be loaded by ``chatter --help``.
NOT_FOR_HELP = (
    *("numpy", "scipy", "librosa", "numba", "llvmlite", "matplotlib", "sklearn", "av"),
    *("soundfile", "soxr", "PIL", "jinja2", "sqlite3", "pint", "ruptures", "asyncio"),
)

LONGEST_FILE = 400


@dataclass(frozen=True)
class Import:
    """One import statement of one module."""

    file: Path
    line: int
    module: str  # the importing module
    target: str  # what is imported, with its full name
    inside: bool  # within a function
    typing_only: bool

    @property
    def place(self) -> str:
        return f"{self.file.relative_to(ROOT)}:{self.line}"


def module_name(file: Path) -> str:
    parts = file.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


FILES = sorted(HOUSE.rglob("*.py"))
MODULES = {module_name(file) for file in FILES}


def _is_typing_check(node: ast.AST) -> bool:
    return isinstance(node, ast.If) and ast.unparse(node.test).endswith("TYPE_CHECKING")


def imports_of(file: Path) -> list[Import]:
    name = module_name(file)
    found: list[Import] = []

    def add(node: ast.AST, target: str, inside: bool, typing_only: bool) -> None:
        found.append(Import(file, node.lineno, name, target, inside, typing_only))

    def walk(node: ast.AST, inside: bool, typing_only: bool) -> None:
        for child in ast.iter_child_nodes(node):
            if isinstance(child, ast.Import):
                for alias in child.names:
                    add(child, alias.name, inside, typing_only)
            elif isinstance(child, ast.ImportFrom):
                package = name if file.name == "__init__.py" else name.rpartition(".")[0]
                for _ in range(child.level - 1):
                    package = package.rpartition(".")[0]
                base = child.module or ""
                if child.level:
                    base = f"{package}.{base}" if base else package
                for alias in child.names:
                    full = f"{base}.{alias.name}"
                    # the name may be a module, or something inside the module
                    submodule = full in MODULES or base in ("scipy", "PIL")
                    add(child, full if submodule else base, inside, typing_only)
            else:
                function = isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda)
                walk(child, inside or function, typing_only or _is_typing_check(child))

    walk(ast.parse(file.read_text(encoding="utf-8")), False, False)
    return found


IMPORTS = [found for file in FILES for found in imports_of(file)]
INNER = [i for i in IMPORTS if i.target == "chatter" or i.target.startswith("chatter.")]


def room_of(module: str) -> str:
    """Room of a module; "" is the entrance, ``chatter/__init__.py``."""
    parts = module.split(".")
    if len(parts) == 1:
        return ""
    name = parts[1]
    if name.startswith("cli_"):
        return "cli"
    return SAME_ROOM.get(name, name)


def test_every_room_is_in_the_plan():
    unknown = sorted({room_of(module) for module in MODULES} - set(PLAN) - {""})
    assert not unknown, (
        f"{unknown} not in the plan: add each to PLAN in tests/test_house.py, at its floor, "
        "with the rooms it may import, and draw it in DEVELOPERS.md."
    )


def test_the_plan_leads_upwards():
    floors = list(PLAN)
    for room, below in PLAN.items():
        for other in below:
            if room == "cli":
                assert other in PLAN
            else:
                assert floors.index(other) < floors.index(room), f"{room} stands below {other}"


def test_rooms_import_only_what_the_plan_allows():
    wrong = []
    for found in INNER:
        room, other = room_of(found.module), room_of(found.target)
        if room == other or other == "" or room == "" or room not in PLAN:
            continue  # the entrance opens every front door, and tells all the version
        if other not in PLAN[room]:
            wrong.append(f"{found.place}: {room} must not import {other} ({found.target})")
        doors = DOORS.get((room, other))
        if doors and found.target not in doors:
            wrong.append(f"{found.place}: {room} may enter {other} only by {sorted(doors)}")
    assert not wrong, "\n".join(sorted(set(wrong)))


@pytest.mark.parametrize(
    ("room", "never"),
    [
        ("sound", {"job", "trade", "listening", "simulate"}),
        ("simulate", {"sound", "listening", "listen", "trade"}),
        ("trade", {"sound", "listening"}),
        ("job", {"sound", "listening", "trade"}),
        ("listening", {"simulate", "report", "cli"}),
    ],
)
def test_the_plan_keeps_its_promises(room, never):
    """Widening the plan by accident must not break what the house is built on."""
    assert not set(PLAN[room]) & never


def test_no_module_imports_itself_in_a_circle():
    graph: dict[str, set[str]] = {module: set() for module in MODULES}
    for found in INNER:
        # The entrance is left out: it holds the version and opens lazily.
        if not found.typing_only and found.module != "chatter" and found.target in MODULES:
            graph[found.module].add(found.target)
    graph["chatter"] = set()
    done: set[str] = set()

    def visit(module: str, path: tuple[str, ...]) -> None:
        assert module not in path, " -> ".join([*path[path.index(module) :], module])
        if module in done:
            return
        for target in sorted(graph[module]):
            visit(target, (*path, module))
        done.add(module)

    for module in sorted(graph):
        visit(module, ())


def test_no_file_is_too_long():
    long = {
        str(file.relative_to(ROOT)): lines
        for file in (*FILES, *sorted((ROOT / "tests").rglob("*.py")))
        if (lines := len(file.read_text(encoding="utf-8").splitlines())) > LONGEST_FILE
    }
    assert not long, f"split these, one job each, at most {LONGEST_FILE} lines: {long}"


def test_the_middle_file_is_short():
    lengths = sorted(len(f.read_text(encoding="utf-8").splitlines()) for f in FILES)
    assert lengths[len(lengths) // 2] <= 170


def test_heavy_packages_are_imported_inside_functions_only():
    wrong = [
        f"{found.place}: import {found.target} inside the function that needs it"
        for found in IMPORTS
        if not found.inside
        and not found.typing_only
        and any(found.target == heavy or found.target.startswith(f"{heavy}.") for heavy in HEAVY)
    ]
    assert not wrong, "\n".join(wrong)


def test_librosa_is_not_imported_by_the_product():
    """Its compiled parts cost 10 to 17 s on first use: it is a reference for tests."""
    assert not [found.place for found in IMPORTS if found.target.split(".")[0] == "librosa"]


def loaded_by(code: str) -> set[str]:
    done = subprocess.run(
        [sys.executable, "-c", f"{code}\nimport sys\nprint('\\nLOADED', *sys.modules)"],
        capture_output=True,
        text=True,
        cwd=ROOT,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return set(done.stdout.rpartition("LOADED")[2].split())


def test_entering_the_house_is_cheap():
    loaded = loaded_by("import chatter")
    assert not loaded & {"numpy", "scipy", "typer", "rich", *HEAVY}


def test_help_loads_nothing_heavy():
    loaded = loaded_by(
        "import sys, io, contextlib\n"
        "from chatter.cli import main\n"
        "try:\n"
        "    main(['--help'])\n"
        "except SystemExit as end:\n"
        "    assert not end.code, end.code\n"
    )
    assert "chatter.cli" in loaded
    assert not loaded & set(NOT_FOR_HELP)
