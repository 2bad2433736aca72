"""The package's own front doors: cheap to come in by, and what they open."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

import chatter
from chatter.errors import RecordingError
from chatter.job.build import build_job

ROOT = Path(__file__).resolve().parent.parent


def test_import_costs_next_to_nothing():
    """Below 0.05 s and without NumPy; the best of five, for the machine may be busy."""
    code = (
        "import sys, time; t = time.perf_counter(); import chatter; "
        "print(time.perf_counter() - t, 'numpy' in sys.modules)"
    )
    told = [
        subprocess.run(
            [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT
        ).stdout.split()
        for _ in range(5)
    ]
    assert min(float(seconds) for seconds, _ in told) < 0.05
    assert {numpy for _, numpy in told} == {"False"}


def test_doors_open(tmp_path):
    (tmp_path / "job.toml").write_text("[cutter]\nteeth = 4\n[cut]\nspeed = 900\n")
    job = chatter.load_job(tmp_path / "job.toml")
    assert job == build_job({"cut.speed": "900", "cutter.teeth": "4"})
    with pytest.raises(RecordingError):
        chatter.listen(tmp_path / "nothing.m4a", job)
    with pytest.raises(RecordingError):
        chatter.tap(tmp_path / "nothing.m4a")
    from chatter.trade.setting import Wish

    assert chatter.plan(job.cutter, Wish(depth_m=0.002)).missing
    assert {"listen", "plan", "tap", "load_job"} <= set(dir(chatter))


def test_a_door_is_still_its_module():
    """Whichever is imported first, the name means the same."""
    code = (
        "import chatter.listen as room\n"
        "from chatter import listen\n"
        "from chatter.listen import Heard, listen as function\n"
        "assert room is listen and room.Heard is Heard and callable(listen)\n"
        "import chatter\n"
        "assert chatter.listen is room and chatter.plan.Plan and chatter.tap.analyse\n"
        "assert function.__module__ == 'chatter.listen'\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True, cwd=ROOT)


def test_other_names_are_refused():
    with pytest.raises(AttributeError, match="no attribute 'lissen'"):
        chatter.lissen  # noqa: B018
