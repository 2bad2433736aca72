"""``chatter page``: what it prints, how it stops, what it refuses."""

from __future__ import annotations

import contextlib
import os
import re
import signal
import socket
import subprocess
import sys
import time

import httpx
import pytest
import segno

from chatter.cli import main


@contextlib.contextmanager
def _running(folder, *options):
    command = [sys.executable, "-m", "chatter", "page", "--port", "0", *options]
    process = subprocess.Popen(
        [*command, "--book", str(folder / "book.db")],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    try:
        yield process
    finally:
        process.kill()
        process.communicate()  # waits, and closes the pipe


def _read_to(process, last: str) -> str:
    told = ""
    while last not in told:
        line = process.stdout.readline()
        assert line, told
        told += line
    return told


#: One for all: each client that is made reads all certificates of this computer first.
CLIENT = httpx.Client(verify=False)


def _get(address: str) -> httpx.Response:
    for _ in range(200):
        with contextlib.suppress(httpx.ConnectError):
            return CLIENT.get(address)
        time.sleep(0.05)
    raise AssertionError("the page did not come up")


def test_it_prints_its_address_serves_and_stops_at_ctrl_c(tmp_path):
    with _running(tmp_path) as process:
        told = _read_to(process, "Ctrl-C")
        address = re.search(r"http://127\.0\.0\.1:\d+/", told)[0]
        assert "this computer only" in told and str(tmp_path / "book.page") in told
        assert _get(address).status_code == 200
        process.send_signal(signal.SIGINT)
        rest, _ = process.communicate(timeout=20)
        assert "Traceback" not in rest
    assert (tmp_path / "book.db").is_file()


def test_with_lan_it_warns_and_shows_a_code_that_lets_one_phone_in(tmp_path):
    with _running(tmp_path, "--lan") as process:
        told = _read_to(process, "Ctrl-C")
        assert "not encrypted" in told and "own network" in told
        link = re.search(r"^http://\S+/enter\?key=\S+", told, re.MULTILINE)[0]
        drawn = [line for line in told.splitlines() if re.fullmatch("[ █▀▄]+", line)]
        # The code shown is that of the link: as many rows of two modules as it must have.
        size = segno.make(link, error="l").symbol_size(border=4)[1]
        assert len(drawn) == (size + 1) // 2
        local = re.sub(r"//[^:]+:", "//127.0.0.1:", link)
        base = local.partition("/enter")[0]
        assert _get(f"{base}/").status_code == 401
        key = link.partition("key=")[2]
        answer = CLIENT.post(f"{base}/enter", data={"key": key}, headers={"origin": base})
        assert answer.status_code == 303
        again = _read_to(process, "/enter?key=")  # the next phone gets a fresh one
        assert key not in again


def test_killed_in_the_middle_it_goes_on_where_it_was(tmp_path, short_aac):
    """kill -9 while a listen is being done; the next start does it again."""
    with _running(tmp_path) as process:
        base = re.search(r"http://127\.0\.0\.1:\d+", _read_to(process, "Ctrl-C"))[0]
        _get(base)
        with httpx.Client(verify=False, base_url=base, headers={"origin": base}) as client:
            token = re.search(r'name="csrf" value="(\w+)"', client.get("/").text)[1]
            fields = {"csrf": token, "cut.speed": "106", "cutter.teeth": "48"}
            file = {"file": ("a.m4a", short_aac.read_bytes())}
            where = client.post("/recordings", data=fields, files=file).headers["location"]
        os.kill(process.pid, signal.SIGKILL)
        process.wait()
    with _running(tmp_path) as process:
        base = re.search(r"http://127\.0\.0\.1:\d+", _read_to(process, "Ctrl-C"))[0]
        _get(base)
        until = time.monotonic() + 120  # a worker steps back for all else on the machine
        state = ""
        while state != "done" and time.monotonic() < until:
            state = CLIENT.get(f"{base}{where}/state").json()["state"]
            time.sleep(0.1)
        assert state == "done"
        assert ">Chatter</h1>" in CLIENT.get(f"{base}{where}").text


def test_a_port_in_use_is_one_sentence(tmp_path, capsys):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        assert main(["page", "--port", port, "--book", str(tmp_path / "b.db")]) == 2
    said = capsys.readouterr().err
    assert said.startswith(f"Port {port} cannot be used") and said.count("\n") == 1


def test_a_book_that_is_none_is_one_sentence(tmp_path, capsys):
    (tmp_path / "b.db").write_bytes(b"this is no logbook at all")
    assert main(["page", "--port", "0", "--book", str(tmp_path / "b.db")]) == 2
    assert "is not a logbook" in capsys.readouterr().err


@pytest.mark.parametrize("port", ["-1", "70000", "http"])
def test_a_port_that_is_none(port, tmp_path, capsys):
    assert main(["page", "--port", port, "--book", str(tmp_path / "b.db")]) == 2
    assert "--port" in capsys.readouterr().err
