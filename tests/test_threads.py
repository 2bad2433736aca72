"""One thread of linear algebra: on the command line, behind the front doors, and nowhere else."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from threadpoolctl import threadpool_info, threadpool_limits

import chatter
from chatter.threads import VARIABLES, one_thread

ROOT = Path(__file__).resolve().parent.parent


def counts() -> set[int]:
    """Threads of each library of linear algebra that is loaded."""
    return {one["num_threads"] for one in threadpool_info() if one["user_api"] == "blas"}


@pytest.fixture
def free(monkeypatch):
    """As in a process where nobody has said anything about threads."""
    for name in VARIABLES:
        monkeypatch.delenv(name, raising=False)


def run(code: str, **environment: str) -> dict:
    env = {name: value for name, value in os.environ.items() if name not in VARIABLES}
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        cwd=ROOT,
        env={**env, **environment},
        check=True,
    )
    return json.loads(done.stdout.splitlines()[-1])


COMMAND = """
import json, sys
from chatter.cli import main
assert "numpy" not in sys.modules
main(["tap", "no such file.wav"])
import numpy, scipy.linalg
from threadpoolctl import threadpool_info
print(json.dumps([one["num_threads"] for one in threadpool_info() if one["user_api"] == "blas"]))
"""


def test_these_tests_themselves_hold_to_one_thread():
    import numpy  # noqa: F401
    import scipy.linalg  # noqa: F401

    assert counts() == {int(os.environ["OPENBLAS_NUM_THREADS"])}


def test_the_command_line_takes_one_thread():
    found = run(COMMAND)
    assert found and set(found) == {1}


@pytest.mark.skipif((os.cpu_count() or 1) < 2, reason="one core has no second thread to give")
def test_what_the_user_says_of_threads_is_heeded():
    assert set(run(COMMAND, OPENBLAS_NUM_THREADS="2")) == {2}


@pytest.mark.parametrize(
    ("name", "given", "place"),
    [
        ("listen", ("x.m4a", None), "chatter.listening.front.listen"),
        ("compare", ((),), "chatter.comparing.front.compare"),
        ("tap", ("x.m4a",), "chatter.tapping.taps.tap"),
    ],
)
@pytest.mark.usefixtures("free")
def test_a_front_door_holds_to_one_thread_and_gives_the_others_back(
    monkeypatch, name, given, place
):
    import numpy  # noqa: F401

    inside = []
    monkeypatch.setattr(place, lambda *_args, **_more: inside.append(counts()))
    with threadpool_limits(2, user_api="blas"):
        assert counts() == {2}
        getattr(chatter, name)(*given)
        assert counts() == {2}
    assert inside == [{1}]
    assert not any(variable in os.environ for variable in VARIABLES)


@pytest.mark.usefixtures("free")
def test_threads_come_back_after_an_error():
    with threadpool_limits(2, user_api="blas"):
        with pytest.raises(ZeroDivisionError), one_thread():
            assert counts() == {1}
            _ = 1 / 0
        assert counts() == {2}
