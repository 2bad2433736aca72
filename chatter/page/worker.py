"""One listen, in a process of its own: ``python -m chatter.page.worker``.

It reads a request from standard input, says on standard output how far it is, one JSON
object a line, and writes what it made into two folders.  Its limits are set before the
file is touched: decoders have faults, and a file that finds one ends this process only.
"""

from __future__ import annotations

import contextlib
import json
import os
import sys
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from chatter.job.cut import Job
    from chatter.teaching.telling import Taught


#: Kind of what was handed in -> its function in ``works``; a cut is listened to here.
KINDS = {"tap": "tap", "idle": "idle", "compare": "compare", "runin": "runin"}

#: First word to the ready-made app that is to be a worker: see ``chatter.cli.ready_made``.
WORKER_FLAG = "--worker"

#: Exit codes beside 0: a sentence was said; the memory did not suffice.
SAID, NO_MEMORY = 2, 3


def main() -> int:
    """Do what standard input asks for; the exit code says how it went."""
    request = json.load(sys.stdin)
    _limit(request["limits"])
    from chatter.errors import ChatterError

    try:
        if request["kind"] == "cut":
            _listen(request)
        else:
            from chatter.page import works

            work = getattr(works, KINDS[request["kind"]])
            work(request, lambda share, what: _say(share=share, what=what))
    except ChatterError as wrong:
        _say(wrong=_named(str(wrong), request))
        return SAID
    except MemoryError:
        return NO_MEMORY
    return 0


def _named(sentence: str, request: dict) -> str:
    """The sentence with the name that the file came with: here they are all called alike."""
    came = [(request.get("recording") or "recording", request.get("name"))]
    for path, name in (*came, *request.get("more", ())):
        if not name:
            continue
        sentence = sentence.replace(str(path), name)
        file = Path(path).name
        for end in (" ", ":"):
            if sentence.startswith(file + end):
                return name + sentence[len(file) :]
    return sentence


def _limit(limits: dict) -> None:
    """Processor time, memory and size of files, for this process and what it starts.

    Where the system has no such limits the page says so when it starts; the time by the clock
    is kept by the page itself, everywhere.
    """
    if hasattr(os, "nice"):
        os.nice(limits["nice"])
    if not limited():
        return
    cpu = limits["cpu_s"]
    _cap("RLIMIT_CPU", cpu, cpu + 5)
    _cap("RLIMIT_AS", limits["memory_bytes"])
    _cap("RLIMIT_FSIZE", limits["written_bytes"])
    _cap("RLIMIT_CORE", 0)
    _cap("RLIMIT_NOFILE", 128)


def limited() -> bool:
    """Whether this system can limit what a process takes."""
    try:
        import resource  # noqa: F401
    except ImportError:  # Windows
        return False
    return True


def _cap(name: str, soft: int, hard: int | None = None) -> None:
    """Set a limit, or keep a stricter one that is there; some systems do not know all of them."""
    import resource

    kind = getattr(resource, name, None)
    if kind is None:
        return
    most = resource.getrlimit(kind)[1]
    wanted = (soft, soft if hard is None else hard)
    if most != resource.RLIM_INFINITY:
        wanted = (min(wanted[0], most), min(wanted[1], most))
    with contextlib.suppress(ValueError, OSError):
        resource.setrlimit(kind, wanted)


def _say(**said: object) -> None:
    print(json.dumps(said), flush=True)


def _listen(request: dict) -> None:
    from chatter.job.build import read_statement
    from chatter.listening.finding import find_job
    from chatter.listening.front import listen_to
    from chatter.page.forms import options
    from chatter.page.view import lay_sound, make_view
    from chatter.plain import to_json
    from chatter.report.card import card_png
    from chatter.report.files import write_bytes, write_text
    from chatter.report.html import listen_page
    from chatter.sound.playable import Playable
    from chatter.teaching.telling import listen_taught

    recording, out = Path(request["recording"]), Path(request["out"])
    sound = lay_sound(
        recording,
        recording.parent,
        most_s=request["limits"]["duration_s"],
        tell=lambda share, what: _say(share=0.25 * share, what=what),
    )
    with sound.spool:
        view = make_view(
            sound,
            recording,
            recording.parent,
            tell=lambda share, what: _say(share=0.25 + 0.1 * share, what=what),
        )
        _say(share=0.35, what="the picture is ready", view=True)
        whole = find_job(sound, read_statement(options(request["stated"])))
        job = whole.job
        ear = partial(
            listen_to,
            units=request["units"],
            numbers=whole.numbers,
            progress=lambda share, what: _say(share=0.35 + 0.55 * share, what=what),
        )
        heard = listen_taught(ear, sound, job, _taught(request, job))
    findings = heard.findings
    source = replace(findings.source, name=request["name"], path="")
    findings = replace(findings, source=source)
    _say(share=0.92, what="writing the report")
    play = recording.with_name("play").read_bytes()
    player = Playable(view["mime"], play, view["offset_s"], view["how"]) if view["mime"] else None
    page = listen_page(  # a picture that fails is left out
        findings,
        heard.exhibits,
        sound=player,
        sound_note=view["how"],
        units=request["units"],
    )
    write_text(out / "findings.json", to_json(findings, indent=None))
    write_text(out / "report.html", page)
    picture = card_png(findings, heard.exhibits.overview, units=request["units"])
    write_bytes(out / "share.png", picture)
    _say(share=1.0, what="done")


def _taught(request: dict[str, Any], job: Job) -> Taught:
    """What the logbook has learned of the machine; a book that cannot be read teaches nothing."""
    from chatter.errors import BookError
    from chatter.logbook import MachineRow, open_book
    from chatter.teaching.telling import Taught, taught

    if "book" not in request:  # the page was started with --untaught
        return Taught()
    try:
        with open_book(request["book"], write=False) as book:
            machines = book.list(MachineRow, uid=request["machine"]) if request["machine"] else ()
            return taught(book, machines[0] if machines else None, job)
    except BookError:
        return Taught()


if __name__ == "__main__":
    sys.exit(main())
