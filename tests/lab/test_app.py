"""The ready-made app: built, started, and an example listened to; its start without building."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import httpx
import pytest

from chatter.lab import app

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def browser(tmp_path):
    """A "browser" that writes down what it is to open."""
    opened = tmp_path / "opened"
    script = tmp_path / "browser"
    script.write_text(f'#!/bin/sh\nprintf %s "$1" > "{opened}"\n', encoding="utf-8")
    script.chmod(0o755)
    return script, opened


def _wait(path: Path, seconds: float = 60) -> str:
    until = time.monotonic() + seconds
    while not path.is_file() or not path.read_text(encoding="utf-8"):
        assert time.monotonic() < until, "the browser was not opened"
        time.sleep(0.05)
    return path.read_text(encoding="utf-8")


def _run(words, tmp_path, browser: Path, port: int | None = None):
    env = {**os.environ, "PYTHONPATH": str(ROOT), "BROWSER": f"{browser} %s"}
    env["CHATTER_BOOK"] = str(tmp_path / "book.db")
    more = ["--port", str(port)] if port is not None else []
    return subprocess.Popen(
        [*words, *more], env=env, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    )


def test_every_module_but_the_lab_is_taken_along():
    taken = set(app._modules())
    assert {
        "chatter.cli.ready_made",
        "chatter.page.worker",
        "chatter.page.works",
        "chatter",
    } <= taken
    assert not [one for one in taken if one.startswith("chatter.lab")]


def test_a_second_start_opens_the_page_that_runs(tmp_path, browser):
    script, opened = browser
    words = [sys.executable, "-m", "chatter", "page", "--open"]
    first = _run(words, tmp_path, script, 0)
    try:
        address = _wait(opened)
        assert urllib.request.urlopen(address, timeout=60).status == 200
        opened.unlink()
        port = int(re.search(r":(\d+)/", address)[1])
        second = _run(words, tmp_path, script, port)
        assert second.wait(120) == 0 and "runs already" in second.stdout.read()
        assert _wait(opened) == address
    finally:
        first.kill()
        first.wait()


def test_the_program_is_its_own_worker_and_command_line():
    start = [
        sys.executable,
        "-c",
        "from chatter.cli.ready_made import main; raise SystemExit(main())",
    ]
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    told = subprocess.run([*start, "--version"], env=env, capture_output=True, text=True)
    assert told.returncode == 0 and told.stdout.startswith("chatter ")
    worker = subprocess.run(
        [*start, "--worker"], input="{}", env=env, capture_output=True, text=True
    )
    assert worker.returncode and "limits" in worker.stderr  # it read the request


@pytest.mark.skipif(
    os.environ.get("CHATTER_BUILD_APP") != "1", reason="builds for minutes: CHATTER_BUILD_APP=1"
)
def test_the_app_is_built_started_and_listens(tmp_path, browser):
    pytest.importorskip("PyInstaller")
    script, opened = browser
    program, _ = app.build(tmp_path / "dist")
    assert 50 < app._megabytes(program.parent) < 600
    env = {k: v for k, v in os.environ.items() if not k.startswith("PYTHON")}
    env |= {"BROWSER": f"{script} %s", "CHATTER_BOOK": str(tmp_path / "book.db")}
    running = subprocess.Popen(
        [program, "page", "--open", "--port", "0"], env=env, stdout=subprocess.PIPE, text=True
    )
    try:
        base = _wait(opened, 120).rstrip("/")
        client = httpx.Client(verify=False, base_url=base, headers={"origin": base}, timeout=120)
        token = re.search(r'name="csrf" value="(\w+)"', client.get("/").text)[1]
        where = client.post("/example", data={"csrf": token}).headers["location"]
        until = time.monotonic() + 240
        while (state := client.get(f"{where}/state").json())["state"] not in ("done", "failed"):
            assert time.monotonic() < until, state
            time.sleep(0.3)
        assert state["state"] == "done", client.get(where).text
        assert "<svg" in client.get(f"{where}/report").text
    finally:
        running.kill()
        running.wait()
    source = tmp_path / "in"
    source.mkdir()
    for name in ("06-side-mill.3gp", "01-idle.wav"):
        (source / name).write_bytes((ROOT / "recordings_demo" / name).read_bytes())
    card = ROOT / "recordings_demo" / "06-side-mill.toml"
    words = [program, "batch", "in", "--job", card, "--cores", "2"]
    done = subprocess.run(words, cwd=tmp_path, env=env, capture_output=True, text=True, timeout=300)
    assert done.returncode == 0 and "2 of 2 heard" in done.stdout, done.stdout + done.stderr
