"""Work spread over processes or over a cluster, a worker's death included.

On this machine results come one by one, and a new task is only given out once a result was
taken: what is stored slower than it is heard does not pile up.  On a Dask cluster, whose joblib
backend hands back whole lists only, they come in lots of a few per worker.  A worker that dies
(a decoder that crashes on a broken file, too little memory) takes the pool with it: those that
were being worked on are then tried one by one in processes of their own, and the rest goes on in
a new pool.
"""

from __future__ import annotations

import multiprocessing
import os
import re
import shutil
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool  # loky's is one of these
from contextlib import contextmanager
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Protocol, TypeVar

from chatter.errors import ChatterError
from chatter.threads import VARIABLES

if TYPE_CHECKING:
    from joblib.externals.loky import ProcessPoolExecutor as LokyExecutor


_MARKS = "chatter-batch-"
#: Tasks given out for each process of this machine: one that is done, one that waits.
_AHEAD = 2
#: A worker looks so often whether the run that it works for is still there.
_LOOK_S = 1.0
#: Tasks in one lot for each worker of a cluster.
_LOT = 4
_PATIENCE_S = 15


class Numbered(Protocol):
    """A result that says which task it is of."""

    @property
    def index(self) -> int: ...


Found = TypeVar("Found", bound=Numbered)


class AppExecutor(ProcessPoolExecutor):
    """The standard library's pool, whose workers can be ended at once as loky's can."""

    def shutdown(
        self, wait: bool = True, *, cancel_futures: bool = False, kill_workers: bool = False
    ) -> None:
        """As the standard library does; with ``kill_workers`` whatever they do."""
        if kill_workers:
            for worker in list((self._processes or {}).values()):
                worker.kill()
        super().shutdown(wait, cancel_futures=cancel_futures or kill_workers)


def spread_tasks(
    work: Callable[..., Found],
    tasks: Sequence[tuple],
    *,
    cores: int = 0,
    died: Callable[[tuple], Found],
) -> Iterator[Found]:
    """Results of ``work(*task, started)`` as they come, in any order.

    Parameters
    ----------
    work : callable
        Importable by name; ``started`` is a folder for marks, see ``work.hear``.  Its first
        argument, ``task[0]``, is a number of its own, and ``result.index`` is that number.
    tasks : sequence of tuple
    cores : int
        Processes; 0 is one per core.
    died : callable
        From a task to its result, when the process died of it.
    """
    cores = cores or _cores()
    left = {task[0]: task for task in tasks}
    sweep()
    with tempfile.TemporaryDirectory(prefix=f"{_MARKS}{os.getpid()}-") as marks:
        while left:
            try:
                for result in _pool(work, list(left.values()), cores, marks):
                    del left[result.index]
                    yield result
            except BrokenProcessPool:
                numbers = {int(one.name) for one in Path(marks).iterdir() if one.name.isdecimal()}
                for mark in Path(marks).iterdir():
                    mark.unlink()
                # one that was ended while it said that it was done is in nobody's way
                suspects = [left[each] for each in numbers if each in left]
                for task in suspects or [next(iter(left.values()))]:
                    yield _alone(work, task, marks, died)
                    del left[task[0]]


def _pool(
    work: Callable[..., Found], tasks: list[tuple], cores: int, marks: str
) -> Iterator[Found]:
    from concurrent.futures import FIRST_COMPLETED, wait

    waiting = iter(tasks)
    own = _processes(cores)  # with one core too: this process must outlive a crash
    try:
        going = {own.submit(work, *task, marks) for task in islice(waiting, _AHEAD * cores)}
        while going:
            done, going = wait(going, return_when=FIRST_COMPLETED)
            # what was heard before a process died comes first
            for future in sorted(done, key=lambda each: each.exception() is not None):
                yield future.result()
                going |= {own.submit(work, *task, marks) for task in islice(waiting, 1)}
    except BaseException:
        own.shutdown(wait=True, kill_workers=True)
        raise
    own.shutdown(wait=True)


def _processes(cores: int) -> LokyExecutor | AppExecutor:
    """A pool that ends with this process.  One thread each: the cores are taken by the
    recordings.

    The ready-made app has no interpreter that loky could start its workers with; it starts
    itself again, as the standard library knows how to.
    """
    if getattr(sys, "frozen", False):
        os.environ.update(dict.fromkeys(VARIABLES, "1"))
        spawn = multiprocessing.get_context("spawn")
        return AppExecutor(cores, spawn, _end_with, (os.getpid(),))
    from joblib.externals.loky import ProcessPoolExecutor as LokyExecutor

    return LokyExecutor(
        max_workers=cores,
        initializer=_end_with,
        initargs=(os.getpid(),),
        env=dict.fromkeys(VARIABLES, "1"),
    )


def _end_with(parent: int) -> None:
    """In a worker: end when the run is gone, which may have been killed and told nobody."""

    def look() -> None:
        while os.getppid() == parent:
            time.sleep(_LOOK_S)
        os._exit(1)

    threading.Thread(target=look, name="chatter-end-with", daemon=True).start()


def sweep() -> None:
    """Remove the folders of runs that were killed."""
    for folder in Path(tempfile.gettempdir()).glob(f"{_MARKS}*"):
        named = re.fullmatch(rf"{_MARKS}(\d+)-.*", folder.name)
        if named is not None and not folder.is_symlink() and not _alive(int(named[1])):
            shutil.rmtree(folder, ignore_errors=True)


def _alive(pid: int) -> bool:
    if os.name == "nt":  # where signal 0 would end the process
        return True
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except OSError:  # somebody else's
        return True
    return True


def _alone(
    work: Callable[..., Found], task: tuple, marks: str, died: Callable[[tuple], Found]
) -> Found:
    """One task in a process of its own."""
    with _processes(1) as own:
        try:
            return own.submit(work, *task, marks).result()
        except BrokenProcessPool:
            return died(task)


def _cores() -> int:
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:
        return os.cpu_count() or 1


@contextmanager
def cluster(address: str) -> Iterator[int]:
    """A Dask cluster that is running already; yields how many tasks it can work on at once.

    Raises
    ------
    ChatterError
        Dask is not installed, nothing answers there, or the cluster has no workers.
    """
    try:
        from distributed import Client
    except ImportError:
        raise ChatterError(
            "--scheduler needs Dask: install it with pip install -e '.[cluster]' in a checkout."
        ) from None
    try:
        client = Client(address, timeout=_PATIENCE_S, set_as_default=False)
    except (OSError, ValueError, TimeoutError) as wrong:
        raise ChatterError(
            f"No cluster answers at '{address}' ({' '.join(str(wrong).split())[:80]}): check the "
            "address, as in tcp://192.168.1.20:8786."
        ) from None
    with client, client.as_current():
        slots = sum(client.nthreads().values())
        if not slots:
            raise ChatterError(f"The cluster at '{address}' has no workers: start some.")
        yield slots


def spread_over_cluster(
    work: Callable[..., Found], tasks: Sequence[tuple], slots: int
) -> Iterator[Found]:
    """As ``spread_tasks``, on the cluster that is current."""
    from joblib import Parallel, delayed, parallel_config

    size = max(1, slots * _LOT)
    with parallel_config("dask"):
        for start in range(0, len(tasks), size):
            lot = tasks[start : start + size]
            yield from Parallel(batch_size=1)(delayed(work)(*task, None) for task in lot)
