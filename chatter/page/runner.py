"""Start a worker for one listen, follow its progress, and turn every end into a sentence."""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import signal
import sys
from collections.abc import Callable
from dataclasses import asdict

from chatter.page.limits import PageLimits
from chatter.page.worker import NO_MEMORY, SAID, WORKER_FLAG
from chatter.threads import VARIABLES

#: In the ready-made app the program is its own worker.
COMMAND = (
    (sys.executable, WORKER_FLAG)
    if getattr(sys, "frozen", False)
    else (sys.executable, "-m", "chatter.page.worker")
)
_LINE_BYTES = 65536
_CRASHES = ("SIGSEGV", "SIGBUS", "SIGILL", "SIGFPE", "SIGABRT")
#: On Windows: a crash ends a process with a status from here on.
_FIRST_CRASH = 0x80000000

TOO_SLOW = (
    "Listening took too long and was stopped. Cut the recording down to the minutes that "
    "matter, or try again when the computer is less busy."
)
TOO_BIG = (
    "Listening needed more memory than the page allows. Cut the recording down to the minutes "
    "that matter and send it again."
)
CRASHED = (
    "The program that decodes the recording broke down on this file: it is damaged or of an "
    "odd kind. Save or export it again as m4a or wav and send that."
)
STOPPED = "Listening was stopped from outside. Press 'Listen again'."
FAULT = (
    "Something went wrong inside the program while it listened. The recording is kept: press "
    "'Listen again', and look at the terminal that runs the page."
)


async def run_request(
    request: dict,
    limits: PageLimits,
    tell: Callable[[dict], None],
    *,
    scratch: str | None = None,
    command: tuple[str, ...] = COMMAND,
) -> str | None:
    """Do one request in a process of its own.

    Parameters
    ----------
    request : dict
        As ``worker.main`` reads it; the limits are added here.
    limits : PageLimits
    tell : callable
        Gets every piece of progress, ``{"share": 0.4, "what": "..."}``.
    scratch : str, optional
        Folder for its temporary files.
    command : tuple of str
        The program to start.

    Returns
    -------
    str or None
        Why there is no answer, as one plain sentence; None when there is one.
    """
    env = {**os.environ, **dict.fromkeys(VARIABLES, "1")}
    if scratch is not None:
        env["TMPDIR"] = scratch
    process = await asyncio.create_subprocess_exec(
        *command,
        stdin=asyncio.subprocess.PIPE,
        stdout=asyncio.subprocess.PIPE,
        env=env,
        limit=_LINE_BYTES,
        **_apart(),
    )
    sentences: list[str] = []
    try:
        async with asyncio.timeout(limits.wall_s):
            await _hand_over(process, {**request, "limits": asdict(limits)})
            await _follow(process, tell, sentences)
            code = await process.wait()
    except TimeoutError:
        return TOO_SLOW
    except ValueError:  # a line longer than any of ours
        return FAULT
    finally:
        await _end(process)
    return sentences[-1] if sentences and code == SAID else ended(code)


def ended(code: int) -> str | None:
    """What the exit code of a worker means; None when all is well."""
    if code == 0:
        return None
    if code == NO_MEMORY:
        return TOO_BIG
    if code >= _FIRST_CRASH:
        return CRASHED
    if code > 0:
        return FAULT
    name = signal.Signals(-code).name if -code in _known_signals() else ""
    return {"SIGXCPU": TOO_SLOW, "SIGXFSZ": TOO_BIG, **dict.fromkeys(_CRASHES, CRASHED)}.get(
        name, STOPPED
    )


def _known_signals() -> set[int]:
    return {int(one) for one in signal.Signals}


def _apart() -> dict:
    """How a worker is started so that Ctrl-C in the terminal is for the page alone."""
    if sys.platform == "win32":
        import subprocess

        apart = subprocess.CREATE_NEW_PROCESS_GROUP | subprocess.CREATE_NO_WINDOW
        return {"creationflags": apart}
    return {"start_new_session": True}


async def _hand_over(process: asyncio.subprocess.Process, request: dict) -> None:
    assert process.stdin is not None, "it was started with a pipe"
    with contextlib.suppress(BrokenPipeError, ConnectionResetError):
        process.stdin.write(json.dumps(request).encode())
        await process.stdin.drain()
    process.stdin.close()


async def _follow(
    process: asyncio.subprocess.Process, tell: Callable[[dict], None], sentences: list[str]
) -> None:
    assert process.stdout is not None, "it was started with a pipe"
    while line := await process.stdout.readline():
        with contextlib.suppress(ValueError):
            said = json.loads(line)
            if isinstance(said, dict) and "wrong" in said:
                sentences.append(str(said["wrong"]))
            elif isinstance(said, dict):
                tell(said)


async def _end(process: asyncio.subprocess.Process) -> None:
    """Kill what still runs, with all it started."""
    if process.returncode is None:
        with contextlib.suppress(ProcessLookupError):
            if hasattr(os, "killpg"):
                os.killpg(process.pid, signal.SIGKILL)
            else:
                process.kill()
        await process.wait()
