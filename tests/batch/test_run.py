"""Runs that end, fail, die and go on."""

from __future__ import annotations

import csv
import gc
import os
import signal
import subprocess
import sys
import time

import pytest
from batch_made import files, paced, quick

import chatter.logbook as lb
from chatter.batch import gather_tasks, run_batch
from chatter.batch.ledger import NAME, Ledger
from chatter.errors import BookError, OutputError


@pytest.fixture
def folder(tmp_path):
    files(tmp_path / "in", 6)
    return tmp_path / "in"


@pytest.fixture
def worked(tmp_path):
    """Names of the files that were worked on, as often as they were."""
    place = tmp_path / "worked.txt"
    return lambda: place.read_text().split() if place.exists() else []


def tasks_of(folder, **more):
    return gather_tasks(folder, job=folder / "all.toml", **more)


def test_rows_are_in_the_order_of_the_files(folder, tmp_path):
    (folder / "take-0003.wav").rename(folder / "fails-3.wav")
    done = run_batch(tasks_of(folder), tmp_path / "out", work=quick, cores=2)
    assert [row.file for row in done.rows] == sorted(p.name for p in folder.glob("*.wav"))
    assert (done.heard, done.failed, done.known) == (5, 1, 0)
    with done.sheet.open(encoding="utf-8", newline="") as sheet:
        lines = list(csv.DictReader(sheet))
    assert [line["verdict"] for line in lines] == ["", *["normal"] * 5]
    assert lines[0]["error"] == "It was refused." and lines[0]["status"] == "failed"


def test_what_is_done_is_not_done_again(folder, tmp_path, worked):
    (folder / "take-0000.wav").rename(folder / "fails.wav")
    run_batch(tasks_of(folder), tmp_path / "out", work=quick, cores=1)
    first = worked()
    assert len(first) == 6
    done = run_batch(tasks_of(folder), tmp_path / "out", work=quick, cores=1)
    assert done.known == 5 and worked()[6:] == ["fails.wav"], "what failed is tried again"
    assert done.heard == 5


def test_known_by_content_job_and_place(folder, tmp_path, worked):
    run_batch(tasks_of(folder), tmp_path / "out", work=quick, cores=1)
    os.utime(folder / "take-0000.wav", (1, 1))  # copied, the same sound
    (folder / "take-0001.wav").rename(folder / "moved.wav")
    path = folder / "take-0002.wav"
    path.write_bytes(path.read_bytes()[:-4] + b"more")  # another sound of the same length
    (folder / "take-0003.toml").write_text("[cutter]\nteeth = 5\n[cut]\nspeed = 600\n")
    run_batch(tasks_of(folder), tmp_path / "out", work=quick, cores=1)
    assert sorted(worked()[6:]) == ["take-0002.wav", "take-0003.wav"]
    run_batch(tasks_of(folder), tmp_path / "out", work=quick, cores=1, again=True)
    assert len(worked()) == 6 + 2 + 6


def test_an_idle_recording_that_changed_makes_it_new(folder, tmp_path, worked):
    card = (folder / "all.toml").read_text()
    (folder / "take-0001.toml").write_text(card + '[take]\nidle = "quiet.dat"\n')
    (folder / "quiet.dat").write_bytes(b"idle")
    run_batch(tasks_of(folder), tmp_path / "out", work=quick, cores=1)
    (folder / "quiet.dat").write_bytes(b"other idle")
    run_batch(tasks_of(folder), tmp_path / "out", work=quick, cores=1)
    assert worked()[6:] == ["take-0001.wav"]


def test_a_line_that_broke_off_costs_one_recording(folder, tmp_path, worked):
    run_batch(tasks_of(folder), tmp_path / "out", work=quick, cores=1)
    ledger = tmp_path / "out" / NAME
    ledger.write_bytes(ledger.read_bytes()[:-30])
    done = run_batch(tasks_of(folder), tmp_path / "out", work=quick, cores=1)
    assert (done.known, len(worked())) == (5, 7)
    assert run_batch(tasks_of(folder), tmp_path / "out", work=quick, cores=1).known == 6


def test_a_worker_that_dies_stops_nothing_else(folder, tmp_path):
    (folder / "take-0002.wav").rename(folder / "dies-2.wav")
    (folder / "take-0004.wav").rename(folder / "dies-4.wav")
    done = run_batch(tasks_of(folder), tmp_path / "out", work=quick, cores=2)
    failed = [row for row in done.rows if row.error]
    assert [row.file for row in failed] == ["dies-2.wav", "dies-4.wav"]
    assert "The program died of it" in failed[0].error
    assert done.heard == 4


KILLED = """
import sys
from batch_made import quick
from chatter.batch import gather_tasks, run_batch
if __name__ == "__main__":
    run_batch(gather_tasks("in", job="in/all.toml"), "out", work=quick, cores=2)
"""


def test_a_killed_run_goes_on(tmp_path, worked):
    for path in files(tmp_path / "in", 24):
        path.rename(path.with_name(f"slow-{path.name}"))
    (tmp_path / "killed.py").write_text(KILLED)
    run = subprocess.Popen([sys.executable, "killed.py"], start_new_session=True)
    ledger, until = tmp_path / "out" / NAME, time.monotonic() + 20
    while not (ledger.exists() and ledger.read_bytes().count(b"\n") >= 6):
        assert time.monotonic() < until and run.poll() is None
        time.sleep(0.01)
    os.killpg(run.pid, signal.SIGKILL)
    run.wait()
    at_least = ledger.read_bytes().count(b"\n")
    before = len(worked())
    assert not (tmp_path / "out/summary.csv").exists()
    done = run_batch(tasks_of(tmp_path / "in"), tmp_path / "out", work=quick, cores=2)
    assert at_least <= done.known < 24 and done.heard == 24
    assert len(worked()) - before == 24 - done.known
    assert (tmp_path / "out/summary.csv").exists()


def test_two_runs_into_one_folder(folder, tmp_path):
    with Ledger(tmp_path / "out"), pytest.raises(OutputError, match="Another batch"):
        run_batch(tasks_of(folder), tmp_path / "out", work=quick)


def test_no_place_to_write(folder, tmp_path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(OutputError, match="--out"):
        run_batch(tasks_of(folder), tmp_path / "file" / "out", work=quick)


def test_into_the_logbook_once(folder, tmp_path, worked):
    run_batch(tasks_of(folder), tmp_path / "out", work=quick, cores=2)
    for _ in range(2):
        with lb.open_book() as book:
            done = run_batch(tasks_of(folder), tmp_path / "out", work=quick, cores=2, book=book)
            assert done.unlogged == ()
            assert book.count(lb.RecordingRow) == book.count(lb.ListenRow) == 6
            assert book.count(lb.JobRow) == 1
            stored = book.get(lb.ListenRow, 1).findings
    assert len(worked()) == 12, "what was heard but not stored is heard once more"
    assert stored.verdict == "normal" and stored.job["cutter"]["teeth"] == 4


def test_a_logbook_that_refuses_loses_no_verdict(folder, tmp_path, monkeypatch, worked):
    def refuse(*_, **__):
        raise BookError("The disk is full: free some space.")

    with lb.open_book() as book:
        with pytest.MonkeyPatch.context() as full:
            full.setattr(lb, "store_listen", refuse)
            done = run_batch(tasks_of(folder), tmp_path / "out", work=quick, cores=1, book=book)
        assert len(done.unlogged) == 6 and done.heard == 6 and done.sheet.exists()
        assert run_batch(tasks_of(folder), tmp_path / "out", work=quick, cores=1, book=book).heard
        assert book.count(lb.ListenRow) == 6
    monkeypatch.undo()
    assert len(worked()) == 12


def test_hundreds_of_recordings_need_no_more_memory_than_fifty(tmp_path):
    """What Python holds, not what the system lends it: that depends on the tests before."""
    import tracemalloc

    files(tmp_path / "in", 200)
    tasks, seen = tasks_of(tmp_path / "in"), {}

    def tell(share, _what):
        at = round(share * 200)
        if at in (50, 200):
            gc.collect()
            seen[at] = tracemalloc.get_traced_memory()[0] / 1e6

    tracemalloc.start()
    try:
        with lb.open_book() as book:
            done = run_batch(tasks, tmp_path / "out", work=paced, cores=2, book=book, tell=tell)
    finally:
        tracemalloc.stop()
    print(f"\nheld: {seen[50]:.1f} MB after 50, {seen[200]:.1f} MB after 200 recordings")
    assert done.heard == 200
    # A row and its place in the ledger take about 2 kB; the findings of these take 50 kB each
    # (25 kB packed), so keeping them would add 3.7 to 7.5 MB.
    assert seen[200] - seen[50] < 2


def test_a_ledger_cut_off_anywhere(folder, tmp_path):
    """Whole lines count, half a line does not, and nothing stops the next run."""
    run_batch(tasks_of(folder), tmp_path / "out", work=quick, cores=1)
    ledger = tmp_path / "out" / NAME
    whole = ledger.read_bytes()
    for cut in range(0, len(whole), 211):
        ledger.write_bytes(whole[:cut])
        with Ledger(tmp_path / "out") as opened:
            known = [opened.done(task) for task in tasks_of(folder)]
        # a line that lacks nothing but its end is whole
        assert sum(row is not None for row in known) == whole[: cut + 1].count(b"\n")
    ledger.write_bytes(b"\xff\x00 nonsense\n[]\n{}\nnull\n" + whole)
    with Ledger(tmp_path / "out") as opened:
        assert all(opened.done(task) for task in tasks_of(folder))


def test_a_report_that_fails_does_not_cost_the_verdict(tmp_path, monkeypatch):
    """A full disk, a fault while drawing: the row has the verdict and says what is missing."""
    from batch_made import strokes

    from chatter.batch.row import HEARD
    from chatter.batch.work import hear_task

    strokes(tmp_path / "in" / "cut.wav")
    (tmp_path / "in" / "all.toml").write_text("[cutter]\nteeth = 4\n[cut]\nspeed = 600\n")
    task = tasks_of(tmp_path / "in", reports=tmp_path / "reports")[0]

    def full(*_args, **_more):
        raise OutputError("'cut.html' cannot be written (No space left on device).")

    monkeypatch.setattr("chatter.report.files.write_report", full)
    row = hear_task(0, task, False).row
    assert row.status == HEARD and row.verdict and row.report == ""
    assert "No space left on device" in row.error
    monkeypatch.setattr("chatter.report.files.write_report", lambda *_a, **_m: 1 / 0)
    row = hear_task(0, task, False).row
    assert row.status == HEARD and "ZeroDivisionError" in row.error


LONE = """
import os, sys, time
from pathlib import Path
from batch_made import quick
from chatter.batch import gather_tasks, run_batch

def stays(index, task, want_findings, started=None):
    Path(f"worker-{os.getpid()}").touch()
    time.sleep(60)
    return quick(index, task, want_findings, started)

if __name__ == "__main__":
    import killed_alone
    run_batch(gather_tasks("in", job="in/all.toml"), "out", work=killed_alone.stays, cores=2)
"""


def _there(pid: int) -> bool:
    try:
        with open(f"/proc/{pid}/stat") as told:
            return told.read().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


@pytest.mark.skipif(not os.path.exists("/proc/self/stat"), reason="looks into /proc")
def test_workers_end_with_a_killed_main_process_and_its_folder_is_swept(
    folder, tmp_path, monkeypatch
):
    """The main process alone is killed: two workers of 110 MB each outlived it by minutes."""
    temporary = tmp_path / "temporary"
    temporary.mkdir()
    (tmp_path / "killed_alone.py").write_text(LONE)
    env = {**os.environ, "TMPDIR": str(temporary)}
    env["PYTHONPATH"] = os.pathsep.join([str(tmp_path), env.get("PYTHONPATH", "")])
    run = subprocess.Popen([sys.executable, "killed_alone.py"], env=env)
    until = time.monotonic() + 60
    while len(workers := list(tmp_path.glob("worker-*"))) < 2:
        assert time.monotonic() < until and run.poll() is None
        time.sleep(0.05)
    os.kill(run.pid, signal.SIGKILL)
    run.wait()
    pids = [int(one.name.partition("-")[2]) for one in workers]
    until = time.monotonic() + 30
    while any(map(_there, pids)):
        assert time.monotonic() < until, "workers outlive the run"
        time.sleep(0.1)
    (left,) = temporary.glob("chatter-batch-*")
    (tmp_path / "out").mkdir(exist_ok=True)
    (tmp_path / "out" / ".writing-abc.tmp").write_text("half a report")
    monkeypatch.setattr("tempfile.tempdir", str(temporary))
    mine = temporary / f"chatter-batch-{os.getpid()}-x"
    mine.mkdir()
    run_batch(tasks_of(folder), tmp_path / "out", work=quick, cores=1)
    assert not left.exists() and mine.exists()
    assert not (tmp_path / "out" / ".writing-abc.tmp").exists()


def test_no_more_is_given_out_than_is_taken(folder, tmp_path, worked):
    """Results that come faster than they are stored wait in the workers, not in the memory."""
    from chatter.batch.parallel import _AHEAD, spread_tasks

    files(tmp_path / "in", 30)
    tasks = [(i, task, False) for i, task in enumerate(tasks_of(folder))]
    results = spread_tasks(quick, tasks, cores=2, died=lambda _task: None)
    for taken in range(1, 5):
        next(results)
        time.sleep(0.5)
        assert len(worked()) <= taken + 2 * _AHEAD
    results.close()
