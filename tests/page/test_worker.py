"""A listen in a process of its own: each way it can end is one sentence; nothing else falls."""

from __future__ import annotations

import asyncio
import sys
import time
from dataclasses import replace

import pytest

from chatter.page import runner
from chatter.page.limits import PageLimits

FEW = replace(PageLimits(), workers=1, nice=0)


def _run(script: str, limits: PageLimits = FEW):
    told = []
    command = (sys.executable, "-c", script)
    sentence = asyncio.run(
        runner.run_request({"kind": "cut"}, limits, told.append, command=command)
    )
    return sentence, told


#: The real worker, with something else in place of the listen, under the real limits.
def _real(body: str) -> str:
    return (
        "import sys, time, os, signal\nimport chatter.page.worker as w\n"
        f"def listen(request):\n    {body}\nw._listen = listen\nsys.exit(w.main())"
    )


def test_all_is_well():
    sentence, told = _run(_real("w._say(share=0.5, what='half')"))
    assert sentence is None and told == [{"share": 0.5, "what": "half"}]


@pytest.mark.parametrize("name", ["SIGSEGV", "SIGBUS", "SIGFPE", "SIGILL", "SIGABRT"])
def test_a_decoder_that_crashes(name):
    sentence, _ = _run(_real(f"os.kill(os.getpid(), signal.{name})"))
    assert sentence == runner.CRASHED


def test_a_worker_that_is_killed():
    assert _run(_real("os.kill(os.getpid(), signal.SIGKILL)"))[0] == runner.STOPPED


def test_too_much_memory():
    sentence, _ = _run(_real("bytearray(10**10)"), replace(FEW, memory_bytes=300 << 20))
    assert sentence == runner.TOO_BIG


def test_little_memory_does_not_fell_a_small_listen():
    assert _run(_real("bytearray(10**7)"), replace(FEW, memory_bytes=300 << 20))[0] is None


def test_a_stricter_limit_of_the_shell_is_kept():
    body = "import resource; w._say(share=resource.getrlimit(resource.RLIMIT_NOFILE)[1], what='x')"
    strict = "import resource; resource.setrlimit(resource.RLIMIT_NOFILE, (64, 64))\n" + _real(body)
    sentence, told = _run(strict)
    assert sentence is None and told[0]["share"] == 64


def test_too_much_time_by_the_clock():
    begun = time.monotonic()
    sentence, _ = _run(_real("time.sleep(60)"), replace(FEW, wall_s=0.5))
    assert sentence == runner.TOO_SLOW and time.monotonic() - begun < 10


def test_too_much_processor_time():
    body = "\n    ".join(["while True:", "    pass"])
    assert _run(_real(body), replace(FEW, cpu_s=1))[0] == runner.TOO_SLOW


def test_too_large_a_file_written():
    body = "open('/dev/shm/chatter-test', 'wb').write(b'x' * 10**7)"
    sentence, _ = _run(_real(body), replace(FEW, written_bytes=1 << 20))
    assert sentence in (runner.TOO_BIG, runner.FAULT)


def test_a_sentence_is_passed_on():
    body = "from chatter.errors import RecordingError; raise RecordingError('Too loud: move away.')"
    assert _run(_real(body))[0] == "Too loud: move away."


def test_a_fault_of_the_program_is_one_sentence(capfd):
    assert _run(_real("raise RuntimeError('inside')"))[0] == runner.FAULT
    assert "inside" in capfd.readouterr().err  # for the terminal


@pytest.mark.parametrize(
    "script",
    [
        "print('not json')",
        "print('[1, 2]'); print('7'); print('null')",
        "import sys; sys.stdin.close()",
        "print('x' * 1000)",
    ],
)
def test_odd_output_is_no_progress(script):
    sentence, told = _run(script)
    assert sentence is None and told == []


def test_endless_output_is_ended():
    assert _run("print('x' * 10**6)")[0] == runner.FAULT


def test_what_the_worker_started_is_ended_with_it():
    script = (
        "import subprocess, sys, time\n"
        "subprocess.Popen([sys.executable, '-c', 'import time; time.sleep(60)'])\n"
        "time.sleep(60)"
    )
    begun = time.monotonic()
    assert _run(script, replace(FEW, wall_s=0.5))[0] == runner.TOO_SLOW
    assert time.monotonic() - begun < 10


def test_one_file_that_crashes_the_decoder_takes_nothing_down(run):
    script = (
        "import json, os, signal, sys\n"
        "request = json.load(sys.stdin)\n"
        "if open(request['recording'], 'rb').read(4) == b'evil':\n"
        "    os.kill(os.getpid(), signal.SIGSEGV)\n"
        "print(json.dumps({'wrong': 'Heard, and said: all is well.'})); sys.exit(2)"
    )
    page = run(worker=script)
    sent = [page.send((f"{n}.m4a", data)) for n, data in enumerate((b"good", b"evil", b"good"))]
    ids = [one.headers["location"].rpartition("/")[2] for one in sent]
    ends = [page.wait(id_).sentence for id_ in ids]
    assert ends[1] == runner.CRASHED and ends[0] == ends[2] != runner.CRASHED
    shown = page.client.get(f"/recordings/{ids[1]}").text
    assert "broke down on this file" in shown and "Listen again" in shown
    assert page.client.get("/").status_code == 200
