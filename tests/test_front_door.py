"""The package's own front doors: cheap to come in by, and what they open."""

from __future__ import annotations

import inspect
import subprocess
import sys
from pathlib import Path

import pytest

import chatter
from chatter.errors import RecordingError
from chatter.job.build import build_job

ROOT = Path(__file__).resolve().parent.parent


def test_import_costs_next_to_nothing():
    """Below 0.05 s of processor time and without NumPy; the best of five."""
    code = (
        "import sys, time; t = time.process_time(); import chatter; "
        "print(time.process_time() - t, 'numpy' in sys.modules)"
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
    from chatter.planning.setting import Wish

    assert chatter.plan(job.cutter, Wish(depth_m=0.002)).missing
    assert {"compare", "listen", "plan", "tap", "load_job"} <= set(dir(chatter))


def test_a_door_stays_a_function_whichever_rooms_are_open():
    """No room has the name of a door, so that importing one cannot put itself in its place."""
    import chatter.comparing.front
    import chatter.listening.front
    import chatter.planning.front
    import chatter.tapping.taps

    rooms = {path.stem for path in (ROOT / "chatter").iterdir()}
    assert not rooms & set(chatter.__all__)
    for name in chatter.__all__:
        assert inspect.isfunction(getattr(chatter, name))


@pytest.mark.parametrize(
    ("door", "room"),
    [
        ("listen", "chatter.listening.front"),
        ("compare", "chatter.comparing.front"),
        ("plan", "chatter.planning.front"),
        ("tap", "chatter.tapping.taps"),
        ("load_job", "chatter.job.cards"),
        ("open_book", "chatter.logbook.book"),
    ],
)
def test_a_door_shows_the_real_parameters(door, room):
    """The signature at the front is the signature behind it."""
    import importlib

    front = inspect.signature(getattr(chatter, door))
    behind = inspect.signature(getattr(importlib.import_module(room), door))
    assert [(p.name, p.kind, p.default) for p in front.parameters.values()] == [
        (p.name, p.kind, p.default) for p in behind.parameters.values()
    ]


def test_other_names_are_refused():
    with pytest.raises(AttributeError, match="no attribute 'lissen'"):
        chatter.lissen  # noqa: B018
