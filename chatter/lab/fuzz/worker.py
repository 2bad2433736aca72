"""Does to damaged files what a user would, in a process of its own that others watch.

It reads one request a line from standard input and says one line each.  Its memory is limited
before the first file is touched; whatever a library prints is caught and counted.
"""

from __future__ import annotations

import json
import os
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

#: Address space; the page's own limit.
MEMORY_BYTES = 1536 << 20


def main() -> int:
    """Answer requests until standard input ends."""
    _limit()
    answers = os.fdopen(os.dup(1), "w")
    words = tempfile.TemporaryFile()  # noqa: SIM115  lives as long as the process
    os.dup2(words.fileno(), 1)
    os.dup2(words.fileno(), 2)
    for line in sys.stdin:
        request = json.loads(line)
        before, begun = words.seek(0, os.SEEK_END), time.perf_counter()
        told = _try(WORKS[request["work"]], Path(request["path"]), Path(request["whole"]))
        sys.stdout.flush()
        sys.stderr.flush()
        told["words"] = words.seek(0, os.SEEK_END) - before
        told["seconds"] = time.perf_counter() - begun
        told["peak_mb"] = _peak_mb()
        print(json.dumps(told), file=answers, flush=True)
    return 0


def _try(work: Callable[[Path, Path], dict], path: Path, whole: Path) -> dict:
    from chatter.errors import ChatterError

    try:
        return {"end": "answer", **work(path, whole)}
    except ChatterError as wrong:
        said = str(wrong)
        plain = "\n" not in said and "Traceback" not in said and said.rstrip().endswith((".", ")"))
        return {"end": "sentence" if plain else "fault", "said": said[:300]}
    except MemoryError:
        return {"end": "fault", "said": "MemoryError"}
    except Exception as wrong:
        return {"end": "fault", "said": f"{type(wrong).__name__}: {wrong}"[:300]}


def _job():
    from chatter.job.cut import Cut, Job
    from chatter.job.cutter import Cutter
    from chatter.lab.fuzz.seeds import REV_MIN, TEETH

    return Job(Cutter(TEETH, form="side_and_face"), Cut(REV_MIN))


def _listen(path: Path, _whole: Path) -> dict:
    """With the report: its player and pictures are made from the damaged file too."""
    from chatter.listening.front import listen
    from chatter.report.files import write_report

    heard = listen(path, _job())
    out = path.with_name("report.html")
    out.unlink(missing_ok=True)
    write_report(heard, out, path)
    found = heard.findings
    return {"verdict": found.verdict, "confidence": found.confidence}


def _compare(path: Path, whole: Path) -> dict:
    from chatter.comparing.front import CutterTakes, compare

    job = _job()
    compare([CutterTakes("A", ((whole, job),)), CutterTakes("B", ((path, job),))])
    return {}


def _tap(path: Path, _whole: Path) -> dict:
    from chatter.tapping.taps import tap

    return {"modes": len(tap(path).modes)}


def _run_in(path: Path, _whole: Path) -> dict:
    from chatter.runin.idle import hear_idle

    return {"lines": len(hear_idle(path, spindle_hz=4.75).lines)}


def _batch(path: Path, _whole: Path) -> dict:
    from chatter.batch.task import Task
    from chatter.batch.work import hear_task
    from chatter.errors import RecordingError

    row = hear_task(0, Task(str(path), path.name, _job()), True).row
    if row.error:
        if "inside the program" in row.error:
            raise RuntimeError(row.error)
        raise RecordingError(row.error)
    return {"verdict": row.verdict, "confidence": row.confidence or 0.0}


WORKS = {"listen": _listen, "compare": _compare, "tap": _tap, "run-in": _run_in, "batch": _batch}


def _limit() -> None:
    try:
        import resource
    except ImportError:  # Windows has no such limits
        return
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def _peak_mb() -> float:
    status = Path("/proc/self/status")
    if not status.exists():
        return 0.0
    return int(status.read_text().split("VmHWM:")[1].split()[0]) / 1024


if __name__ == "__main__":
    sys.exit(main())
