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

_GROUND = ("plain", "errors", "findings")

#: Room -> the rooms it may import, in the order of the floors.
PLAN: dict[str, tuple[str, ...]] = {
    "plain": (),
    "errors": (),
    "findings": ("errors", "plain"),
    "locks": (),
    "threads": (),
    "places": (),
    "job": ("errors", "plain"),
    "sound": _GROUND,  # what the phone heard; knows nothing of cutting
    "trade": (*_GROUND, "job"),  # shop knowledge; knows nothing of audio
    "planning": (*_GROUND, "job", "trade"),
    "tapping": (*_GROUND, "job", "sound", "trade"),
    "listening": (*_GROUND, "job", "sound", "trade", "tapping"),
    "comparing": (*_GROUND, "job", "sound", "listening"),
    "logbook": (*_GROUND, "places", "job", "trade", "tapping"),
    "runin": (*_GROUND, "job", "sound", "trade", "listening", "logbook"),
    "teaching": (*_GROUND, "job", "sound", "listening", "logbook", "runin"),
    "demo": ("errors",),
    "manual": ("errors", "trade"),
    "report": (
        *_GROUND,
        *("job", "sound", "trade", "listening", "tapping", "comparing", "logbook", "runin"),
    ),
    "batch": (*_GROUND, "locks", "threads", "job", "listening", "logbook", "report"),
    "page": (
        *(*_GROUND, "locks"),
        *("job", "sound", "trade", "tapping", "planning", "listening", "comparing", "logbook"),
        *("runin", "teaching", "report", "demo", "manual", "threads"),
    ),
    "cli": (
        *_GROUND,
        *("job", "trade", "tapping", "planning", "listening", "comparing", "logbook", "runin"),
        *("teaching", "batch", "report", "demo", "manual", "page", "threads", "places"),
    ),
    # what makes, breaks or measures the instrument: imported by nothing above
    "lab.simulate": ("errors", "plain", "job"),  # the forger; must not know the judge
    "lab.evaluate": (
        *_GROUND,
        *("job", "sound", "lab.simulate", "listening", "comparing", "report", "trade"),
        *("logbook", "teaching"),
    ),
    "lab.shops": (
        *_GROUND,
        *("job", "lab.simulate", "listening", "logbook", "runin", "teaching", "lab.evaluate"),
    ),
    "lab.fit": (*_GROUND, "job", "sound", "listening", "lab.evaluate"),  # what evidence is worth
    "lab.numbers": (*_GROUND, "job", "sound", "listening", "logbook", "lab.evaluate"),
    "lab.pairs": (*_GROUND, "job", "lab.simulate", "listening", "comparing", "lab.evaluate"),
    "lab.histories": (*_GROUND, "job", "lab.simulate", "runin", "lab.evaluate"),
    "lab.trials": (*_GROUND, "job", "lab.simulate", "trade", "listening"),
    "lab.taps": ("tapping", "threads"),
    "lab.same": (
        *("errors", "job", "sound", "batch", "comparing", "runin"),
        *("lab.simulate", "lab.evaluate"),
    ),
    "lab.fuzz": (
        *(*_GROUND, "threads", "job", "sound", "tapping", "listening", "comparing", "runin"),
        *("report", "batch"),
    ),
    "lab.mutants": (),  # changes a copy of the code, and knows none of it
    "lab.jobs": ("errors", "job", "planning"),
    "lab.demo": (*_GROUND, "job", "demo", "lab.simulate"),
    "lab.bench_code": (),
    "lab.bench": (
        *_GROUND,
        "lab.bench_code",
        "job",
        "sound",
        "lab.simulate",
        "listening",
        "report",
    ),
    "lab.load": (*_GROUND, "sound", "page", "demo"),
    "lab.app": ("errors", "plain"),
    "lab.paper": (*_GROUND, "demo"),
    "lab.examples": (*_GROUND, "lab.simulate", "lab.histories", "manual"),
    "lab.manual": ("errors", "manual", "cli"),
}

#: Rooms of several modules that stand beside each other instead of in a folder.
SAME_ROOM = {"__main__": "cli", "findings_json": "findings", "lab.load_clients": "lab.load"}

#: Where a room may be entered by one door only: (from, to) -> modules.
DOORS = {
    ("report", "sound"): {"chatter.sound.playable"},
    ("report", "listening"): {"chatter.listening.exhibits"},
    ("listening", "tapping"): {"chatter.tapping.findings"},
    ("report", "tapping"): {"chatter.tapping.findings"},
    ("logbook", "tapping"): {"chatter.tapping.findings"},
    ("comparing", "listening"): {
        *("chatter.listening.exhibits", "chatter.listening.front", "chatter.listening.stamp"),
    },
    ("lab.evaluate", "report"): {"chatter.report.line_drawing"},
    ("teaching", "listening"): {  # from when a verdict is given; which code and model gave it
        *("chatter.listening.judging", "chatter.listening.stamp"),
    },
    ("teaching", "sound"): {  # to make a copy with some lines turned down
        *("chatter.sound.intake", "chatter.sound.spectrum", "chatter.sound.spool"),
    },
    ("lab.evaluate", "teaching"): {"chatter.teaching.shares"},
    ("lab.evaluate", "logbook"): {"chatter.logbook.collection"},  # the form of labelled folders
    ("page", "sound"): {  # decoded once, for picture and listen; all judging goes through listen
        *("chatter.sound.recording", "chatter.sound.intake", "chatter.sound.spool"),
        *("chatter.sound.playable", "chatter.sound.spectrum"),
    },
}

#: Within the room of listening: only its front door opens these rooms.
FRONT_ONLY = {"trade": "chatter.listening.front", "tapping": "chatter.listening.front"}

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
    name = ".".join(parts[1:3]) if parts[1] == "lab" else parts[1]
    return SAME_ROOM.get(name, name)


def test_every_room_is_in_the_plan():
    unknown = sorted({room_of(module) for module in MODULES} - set(PLAN) - {"", "lab"})
    assert not unknown, (
        f"{unknown} not in the plan: add each to PLAN in tests/test_house.py, at its floor, "
        "with the rooms it may import, and draw it in DEVELOPERS.md."
    )


def test_every_room_of_the_plan_stands():
    missing = sorted(set(PLAN) - {room_of(module) for module in MODULES})
    assert not missing, f"{missing} in the plan, but not in chatter/: build or strike them."


def test_nothing_outside_the_lab_imports_it():
    wrong = [
        f"{found.place}: {found.target}"
        for found in INNER
        if found.target.startswith("chatter.lab") and not found.module.startswith("chatter.lab")
    ]
    assert not wrong, "\n".join(wrong)
    assert not [
        room
        for room, below in PLAN.items()
        if not room.startswith("lab.") and any(one.startswith("lab.") for one in below)
    ]


def test_only_the_front_of_listening_knows_trade_and_taps():
    wrong = [
        f"{found.place}: {found.target}"
        for found in INNER
        if room_of(found.module) == "listening"
        and room_of(found.target) in FRONT_ONLY
        and found.module != FRONT_ONLY[room_of(found.target)]
    ]
    assert not wrong, "\n".join(wrong)


def test_the_plan_leads_upwards():
    floors = list(PLAN)
    for room, below in PLAN.items():
        for other in below:
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
        ("sound", {"job", "trade", "listening", "lab.simulate"}),
        ("lab.simulate", {"sound", "listening", "trade"}),
        ("trade", {"sound", "listening"}),
        ("job", {"sound", "listening", "trade"}),
        ("listening", {"lab.simulate", "report", "cli"}),
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
