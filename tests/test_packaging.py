"""What is handed out: the wheel is a product by itself, the sdist holds tests and demo."""

from __future__ import annotations

import os
import subprocess
import sys
import tarfile
import tomllib
import zipfile
from pathlib import Path

import pytest

from chatter import demo
from chatter.lab.demo import SHIPPED_NAMES, TAPPED_MODES, simulated_taps

ROOT = Path(__file__).resolve().parent.parent


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    """Wheel and sdist, built from a copy of the tree without a network."""
    out = tmp_path_factory.mktemp("built")
    done = subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-d", str(out)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return next(out.glob("*.whl")), next(out.glob("*.tar.gz"))


def test_the_name_is_our_own_and_the_command_stays():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    assert project["name"] == "chatter-by-ear"
    assert project["scripts"] == {"chatter": "chatter.cli:main"}
    for path in (*(ROOT / "chatter").rglob("*.py"), ROOT / "README.md", ROOT / "DEVELOPERS.md"):
        text = path.read_text("utf-8")
        for line in text.splitlines():
            if "pip install" in line:
                assert "install chatter" not in line and "'chatter[" not in line, (path, line)


def test_the_sdist_holds_tests_and_all_demo_recordings(built):
    with tarfile.open(built[1]) as packed:
        names = {name.partition("/")[2] for name in packed.getnames()}
    wanted = [*(ROOT / "recordings_demo").iterdir(), *(ROOT / "tests").rglob("*.py")]
    missing = {path.relative_to(ROOT).as_posix() for path in wanted} - names
    assert not missing
    assert {"README.md", "DEVELOPERS.md", "pyproject.toml", "chatter/py.typed"} <= names


def test_the_wheel_holds_every_file_of_the_package_and_no_other(built):
    with zipfile.ZipFile(built[0]) as packed:
        names = {name for name in packed.namelist() if ".dist-info/" not in name}
    wanted = {
        path.relative_to(ROOT).as_posix()
        for path in (ROOT / "chatter").rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }
    assert names == wanted
    assert sum(name.startswith("chatter/demo_recordings/") for name in names) == 7


def test_chatter_demo_works_from_the_wheel(built, tmp_path):
    with zipfile.ZipFile(built[0]) as packed:
        packed.extractall(tmp_path / "site")
    done = subprocess.run(
        [sys.executable, "-m", "chatter", "demo", "--no-report"],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(tmp_path / "site")},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert "2 recordings. Verdict and truth agree: 2 yes." in done.stdout
    assert str(tmp_path / "site" / "chatter" / "demo_recordings") in done.stdout


def test_what_is_shipped_is_the_demo():
    for name in SHIPPED_NAMES:
        for one in demo.FOLDER.glob(f"{name}.*"):
            assert (demo.SHIPPED / one.name).read_bytes() == one.read_bytes(), (
                "lay them in again: python -c 'from chatter.lab.demo import ship; ship()'"
            )
    assert [take.recording.stem for take in demo.demo_takes(demo.SHIPPED)] == list(SHIPPED_NAMES)


def test_the_shipped_taps_ring_as_they_were_made():
    """Against the frequencies and damping that went into them."""
    import numpy as np
    import soundfile

    from chatter.tapping.taps import tap

    kept, rate_hz = soundfile.read(demo.TAPS)
    assert rate_hz == 16000 and np.abs(kept - simulated_taps()).max() < 1e-4
    found = tap(demo.TAPS, simulated=True)
    assert len(found.modes) == len(TAPPED_MODES)
    for mode, (hz, damping) in zip(found.modes, TAPPED_MODES, strict=True):
        assert mode.frequency_hz == pytest.approx(hz, rel=0.002)
        assert mode.damping_ratio == pytest.approx(damping, rel=0.05)
