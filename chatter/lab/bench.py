"""Benchmark: ``python -m chatter.lab.bench [--hour] [--silence] [--runs N]``.

All figures are whole processes, measured in the same run on the same file: ten minutes of a
made-up cut, 48 kHz AAC.  The denominator of the ratio is the least any analysis must do:
decode the file once through PyAV and take one pass of float32 ``scipy.fft.rfft`` in blocks
(Hann window of 2,048, hop of 512, power averaged).  The rooms hold no timing code: the
split comes from looking at the running process every few milliseconds.
"""

from __future__ import annotations

import argparse
import getpass
import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from chatter.lab.bench_code import DENOMINATOR, PEAK, SPLIT, SPLIT_END, TELL

TEETH = 48
REV_MIN = 57.0
RATE_HZ = 48000

#: Aims: name -> (largest value, unit).
AIMS = {
    "ratio": (2.0, ""),
    "memory": (400.0, "MB"),
    "silence": (300.0, "MB"),
    "help": (0.4, "s"),
    "import": (0.15, "s"),
}

_ANALYSIS = f"""
import sys, time
from chatter.job.cut import Cut, Job
from chatter.job.cutter import Cutter
from chatter.listening.front import listen
job = Job(cutter=Cutter(teeth={TEETH}), cut=Cut(speed_rev_min={REV_MIN}))
heard = listen(sys.argv[1], job)
"""

#: What is measured: the whole command, as a user types it.
_COMMAND = f"""
import sys
from chatter.cli import main
given = ["listen", sys.argv[1], "--rpm", "{REV_MIN}", "--teeth", "{TEETH}", "--no-report", "-q"]
code = main(given)
assert code == 0, code
"""

#: The same where the sound is asked for the tooth count.
_FINDING = _COMMAND.replace(f', "--teeth", "{TEETH}"', "")

#: What the page starts for a recording sent to it: picture, player, verdict and report.
_PAGE = f"""
import io, json, os, shutil, sys
from dataclasses import asdict
from chatter.page.limits import PageLimits
from chatter.page import worker
recording = shutil.copy(sys.argv[1], os.path.join(sys.argv[2], "recording"))
sys.stdin = io.StringIO(json.dumps({{
    "kind": "cut", "recording": recording, "out": sys.argv[2], "name": "cut.m4a", "units": "metric",
    "stated": {{"cut.speed": "{REV_MIN}", "cutter.teeth": "{TEETH}"}},
    "limits": asdict(PageLimits()),
}}))
code = worker.main()
assert code == 0, code
"""

#: A small file that holds many hours, and the limit of length raised for it.
_SILENT_H = 10
_LONG = f"import os\nos.environ['CHATTER_LONGEST_HOURS'] = '{_SILENT_H + 1}'\n"

#: Another program at work, as on the computers of shops.
_BUSY = "while True: sum(range(10**6))"

_REPORT = """
analysis_mb = peak_mb()
before = time.perf_counter()
from chatter.report.files import write_report
out = write_report(heard, sys.argv[2], sys.argv[1])
say(report_s=time.perf_counter() - before, analysis_mb=analysis_mb, bytes=out.stat().st_size)
"""

_MAKE = """
import sys
from chatter.lab.bench import make_recording
make_recording(sys.argv[1], float(sys.argv[2]))
"""

_MAKE_SILENT = f"""
import sys
import numpy as np, soundfile
with soundfile.SoundFile(sys.argv[1], "w", {RATE_HZ}, 1, "PCM_16", format="FLAC") as out:
    for _ in range({_SILENT_H} * 60):
        out.write(np.zeros({RATE_HZ} * 60, np.int16))
"""


@dataclass(frozen=True)
class Run:
    """One whole process: wall and processor time [s] and what it said of itself."""

    wall_s: float
    processor_s: float
    said: dict


def make_recording(path: str, seconds: float) -> None:
    """Write a made-up cut as 48 kHz mono AAC: idle, then passes of three minutes.

    Parameters
    ----------
    path : str
        File to write (m4a).
    seconds : float [s]
    """
    import av
    import numpy as np

    rng = np.random.default_rng(1)
    teeth = rng.normal(1.0, 0.15, TEETH)  # uneven by 15 %
    spindle_hz = 0.985 * REV_MIN / 60.0  # slip
    with av.open(path, "w") as container:
        stream = container.add_stream("aac", rate=RATE_HZ)
        stream.layout, stream.bit_rate = "mono", 128_000
        step = RATE_HZ
        for start in range(0, round(seconds * RATE_HZ), step):
            n = min(step, round(seconds * RATE_HZ) - start)
            t = (start + np.arange(n)) / RATE_HZ
            idle = 0.004 * rng.standard_normal(n) + 0.004 * np.sin(2 * np.pi * 100.0 * t)
            turn = spindle_hz * t
            stroke = turn * TEETH
            strength = teeth[np.floor(stroke).astype(int) % TEETH] * np.exp(-6.0 * (stroke % 1.0))
            cut = strength * (0.15 * rng.standard_normal(n) + 0.1 * np.sin(2 * np.pi * 740.0 * t))
            cut *= 1.0 + 0.3 * np.sin(2 * np.pi * turn)
            cutting = (t > 10.0) & (t % 190.0 > 8.0)
            sound = (idle + cut * cutting).astype(np.float32)
            frame = av.AudioFrame.from_ndarray(sound[None, :], format="fltp", layout="mono")
            frame.sample_rate, frame.pts = RATE_HZ, start
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))


def cached_recording(minutes: int) -> Path:
    """The benchmark's recording, made on first use and kept in the user's temporary folder.

    Parameters
    ----------
    minutes : int

    Returns
    -------
    Path
    """
    folder = Path(tempfile.gettempdir()) / f"chatter-bench-{getpass.getuser()}"
    folder.mkdir(exist_ok=True)
    path = folder / f"cut-{minutes}-min.m4a"
    if not path.exists():
        print(f"making {minutes} minutes of a cut in {path} ...", flush=True)
        half = path.with_name(f"{os.getpid()}-{path.name}")
        _run(_MAKE, str(half), str(60.0 * minutes))
        half.rename(path)
    return path


def silence_mb() -> float:
    """Peak memory of listening to ten hours of silence, a file of 6 MB [MB]."""
    with tempfile.TemporaryDirectory() as folder:
        path = str(Path(folder) / "silence.flac")
        _run(_MAKE_SILENT, path)
        return _run(_LONG + _COMMAND + PEAK + TELL, path).said["mb"]


def _children_s() -> float:
    """Processor time of all finished child processes [s]."""
    times = os.times()
    return times.children_user + times.children_system


def _run(code: str, *arguments: str) -> Run:
    # An installed chatter lies compiled on the disk, as its packages do; so must the one measured.
    compiled = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    before, used = time.perf_counter(), _children_s()
    done = subprocess.run(
        [sys.executable, "-c", code, *arguments],
        capture_output=True,
        text=True,
        check=False,
        env=compiled,
    )
    wall_s = time.perf_counter() - before
    if done.returncode:
        sys.exit(f"a measured process failed:\n{done.stderr[-2000:]}")
    _, _, said = done.stdout.rpartition("SAID")
    return Run(
        wall_s, _children_s() - used, json.loads(said) if said.strip().startswith("{") else {}
    )


def _median(runs: list[Run], key: str | None = None) -> float:
    return statistics.median(run.wall_s if key is None else run.said[key] for run in runs)


def measure(minutes: int, runs: int) -> dict[str, float]:
    """Measure one recording.

    Parameters
    ----------
    minutes : int
        Length of the recording.
    runs : int
        Each figure is the median of so many runs, taken in turns.

    Returns
    -------
    dict of str to float
        ``denominator_s``, ``analysis_s``, ``ratio``, ``processor_ratio`` (the same in
        processor time, for machines with other work), ``analysis_mb``, ``denominator_mb``,
        ``report_s``, ``report_mb``, ``report_bytes``.
    """
    path = str(cached_recording(minutes))
    least, whole, full = [], [], []
    with tempfile.TemporaryDirectory() as folder:
        out = str(Path(folder) / "report.html")
        for _ in range(runs):
            least.append(_run(PEAK + DENOMINATOR + TELL, path))
            whole.append(_run(_COMMAND + PEAK + TELL, path))
            full.append(_run(PEAK + _ANALYSIS + _REPORT + TELL, path, out))
    return {
        "denominator_s": _median(least),
        "denominator_mb": _median(least, "mb"),
        "analysis_s": _median(whole),
        "analysis_mb": _median(whole, "mb"),
        "ratio": _median(whole) / _median(least),
        "processor_ratio": statistics.median(run.processor_s for run in whole)
        / statistics.median(run.processor_s for run in least),
        "report_s": _median(full, "report_s"),
        "report_mb": _median(full, "mb"),
        "report_bytes": _median(full, "bytes"),
    }


def measure_asked(minutes: int, runs: int) -> dict[str, float]:
    """What else is asked of one recording, each time in one decoding.

    Parameters
    ----------
    minutes, runs : int
        As for :func:`measure`.

    Returns
    -------
    dict of str to float [s]
        Processor time of the command, of the command that finds the tooth count by the sound,
        and of the page's worker with picture, player and report.
    """
    path = str(cached_recording(minutes))
    made: dict[str, list[Run]] = {"command": [], "finding": [], "page": []}
    for _ in range(runs):
        made["command"].append(_run(_COMMAND, path))
        made["finding"].append(_run(_FINDING, path))
        with tempfile.TemporaryDirectory() as folder:
            made["page"].append(_run(PEAK + _PAGE + TELL, path, folder))
    return {name: statistics.median(run.processor_s for run in of) for name, of in made.items()}


def split_by_room(minutes: int) -> dict[str, float]:
    """Where the analysis spends its time.

    Parameters
    ----------
    minutes : int

    Returns
    -------
    dict of str to float [s]
        By module of chatter that was at work, "imports" and "start" apart.
    """
    path = str(cached_recording(minutes))
    run = _run(PEAK + SPLIT + _ANALYSIS + SPLIT_END + TELL, path)
    return dict(sorted(run.said["spent"].items(), key=lambda item: -item[1]))


def _start_up(runs: int) -> tuple[float, float]:
    help_runs, import_runs = [], []
    for _ in range(max(5, runs)):
        help_runs.append(_run("from chatter.cli import main; main(['--help'])"))
        import_runs.append(_run("import chatter"))
    return _median(help_runs), _median(import_runs)


def _row(name: str, value: float, unit: str, aim: float | None = None) -> str:
    verdict = "" if aim is None else f"aim {aim:g} {unit}".rstrip()
    if aim is not None:
        verdict += "   met" if value <= aim else "   MISSED"
    return f"{name:<46}{value:>9.2f} {unit:<3} {verdict}"


def _print_measured(minutes: int, found: dict[str, float]) -> None:
    length = "an hour" if minutes == 60 else f"{minutes} minutes"
    print(f"\n{length} of 48 kHz AAC")
    print(_row("denominator: decode + one STFT pass", found["denominator_s"], "s"))
    print(_row("the whole command, --no-report", found["analysis_s"], "s"))
    print(_row("  command / denominator", found["ratio"], "", AIMS["ratio"][0]))
    print(_row("  the same in processor time", found["processor_ratio"], ""))
    print(_row("  peak memory, analysis", found["analysis_mb"], "MB", AIMS["memory"][0]))
    print(_row("  peak memory, denominator", found["denominator_mb"], "MB"))
    print(_row("writing the report", found["report_s"], "s"))
    print(_row("  peak memory with the report", found["report_mb"], "MB", AIMS["memory"][0]))
    print(_row("  size of the report", found["report_bytes"] / 1e6, "MB"))


def _print_split(spent: dict[str, float]) -> None:
    rooms: dict[str, float] = {}
    for module, seconds in spent.items():
        room = ".".join(module.split(".")[:2])
        rooms[room] = rooms.get(room, 0.0) + seconds
    total = sum(rooms.values())
    print(f"\nwhere the analysis of 10 minutes spends its {total:.2f} s")
    for room, seconds in sorted(rooms.items(), key=lambda item: -item[1]):
        print(f"  {room:<24}{seconds:>7.2f} s {100.0 * seconds / total:>5.0f} %")
        for module, part in spent.items():
            inside = module != room and module.startswith(f"{room}.")
            if inside and part >= 0.02 * total:
                print(f"      {module.removeprefix(room + '.'):<20}{part:>7.2f} s")


def main(arguments: list[str] | None = None) -> int:
    """Measure and print; 0 when every aim is met, 1 otherwise.

    Parameters
    ----------
    arguments : list of str, optional

    Returns
    -------
    int
    """
    parser = argparse.ArgumentParser(prog="python -m chatter.lab.bench", description=__doc__)
    parser.add_argument("--hour", action="store_true", help="also measure an hour")
    parser.add_argument("--silence", action="store_true", help="also ten hours of silence")
    parser.add_argument("--runs", type=int, default=3, help="runs per figure (median)")
    parser.add_argument(
        "--asked", action="store_true", help="only what else is asked of ten minutes"
    )
    parser.add_argument("--busy", action="store_true", help="also beside a busy process")
    options = parser.parse_args(arguments)

    if options.asked:
        asked = measure_asked(10, options.runs)
        print("processor time, 10 minutes of 48 kHz AAC")
        print(_row("the whole command, --no-report", asked["command"], "s"))
        print(_row("  the tooth count left out", asked["finding"], "s"))
        print(_row("the page's worker, all it makes", asked["page"], "s"))
        return 0

    help_s, import_s = _start_up(options.runs)
    print("start-up (whole processes)")
    print(_row("chatter --help", help_s, "s", AIMS["help"][0]))
    print(_row("import chatter", import_s, "s", AIMS["import"][0]))
    if options.busy:
        with subprocess.Popen([sys.executable, "-c", _BUSY]) as busy:
            try:
                print("\nwith one busy process beside it:")
                _print_measured(10, measure(10, options.runs))
            finally:
                busy.kill()
    found = measure(10, options.runs)
    _print_measured(10, found)
    _print_split(split_by_room(10))
    met = [
        help_s <= AIMS["help"][0],
        import_s <= AIMS["import"][0],
        found["ratio"] <= AIMS["ratio"][0],
        max(found["analysis_mb"], found["report_mb"]) <= AIMS["memory"][0],
    ]
    if options.hour:
        hour = measure(60, 1)
        _print_measured(60, hour)
        met.append(hour["ratio"] <= AIMS["ratio"][0])
        met.append(max(hour["analysis_mb"], hour["report_mb"]) <= AIMS["memory"][0])
    if options.silence:
        silent, (most, unit) = silence_mb(), AIMS["silence"]
        print()
        print(_row(f"{_SILENT_H} hours of silence, peak memory", silent, unit, most))
        met.append(silent <= most)
    print(f"\n{sum(met)} of {len(met)} aims met; median of {options.runs} runs each")
    return 0 if all(met) else 1


if __name__ == "__main__":
    sys.exit(main())
