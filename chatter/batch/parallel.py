"""Work spread over processes or over a cluster, a worker's death included.

joblib does the spreading.  On this machine results come one by one; on a Dask cluster, whose
joblib backend hands back whole lists only, they come in lots of a few per worker.  A worker that
dies (a decoder that crashes on a broken file, too little memory) takes the pool with it: those
that were being worked on are then tried one by one in processes of their own, and the rest goes
on in a new pool.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from chatter.errors import ChatterError

#: Tasks in one lot for each worker of a cluster.
_LOT = 4
_PATIENCE_S = 15

Work = Callable[..., Any]


def spread(
    work: Work,
    tasks: Sequence[tuple],
    *,
    cores: int = 0,
    died: Callable[[tuple], Any],
) -> Iterator[Any]:
    """Results of ``work(*task, started)`` as they come, in any order.

    Parameters
    ----------
    work : callable
        Importable by name; ``started`` is a folder for marks, see ``work.hear``.  Its first
        argument, ``task[0]``, is a number of its own, and ``result[0]`` is that number.
    tasks : sequence of tuple
    cores : int
        Processes; 0 is one per core.
    died : callable
        From a task to its result, when the process died of it.
    """
    cores = cores or _cores()
    left = {task[0]: task for task in tasks}
    with tempfile.TemporaryDirectory(prefix="chatter-batch-") as marks:
        while left:
            try:
                for result in _pool(work, list(left.values()), cores, marks):
                    del left[result[0]]
                    yield result
            except _deaths():
                suspects = [
                    left[int(one.name)] for one in Path(marks).iterdir() if one.name.isdecimal()
                ]
                for one in Path(marks).iterdir():
                    one.unlink()
                for task in [each for each in suspects if each[0] in left] or [
                    next(iter(left.values()))
                ]:
                    yield _alone(work, task, marks, died)
                    del left[task[0]]


def _pool(work: Work, tasks: list[tuple], cores: int, marks: str) -> Iterator[Any]:
    from joblib import Parallel, delayed, parallel_config
    from joblib.externals.loky import ProcessPoolExecutor

    if cores == 1:  # not in this process either, which must outlive a crash
        with ProcessPoolExecutor(max_workers=1) as own:
            yield from (own.submit(work, *task, marks).result() for task in tasks)
        return
    # One thread per process: the cores are taken by the recordings.
    with parallel_config("loky", n_jobs=cores, inner_max_num_threads=1):
        pool = Parallel(return_as="generator_unordered", pre_dispatch="2*n_jobs", batch_size=1)
        yield from pool(delayed(work)(*task, marks) for task in tasks)


def _alone(work: Work, task: tuple, marks: str, died: Callable[[tuple], Any]) -> Any:
    """One task in a process of its own."""
    from joblib.externals.loky import ProcessPoolExecutor

    with ProcessPoolExecutor(max_workers=1) as own:
        try:
            return own.submit(work, *task, marks).result()
        except _deaths():
            return died(task)


def _deaths() -> tuple[type[BaseException], ...]:
    from joblib.externals.loky.process_executor import BrokenProcessPool

    return (BrokenProcessPool,)


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
            "--scheduler needs Dask: install it with pip install 'chatter[cluster]'."
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


def spread_over_cluster(work: Work, tasks: Sequence[tuple], slots: int) -> Iterator[Any]:
    """As ``spread``, on the cluster that is current."""
    from joblib import Parallel, delayed, parallel_config

    size = max(1, slots * _LOT)
    with parallel_config("dask"):
        for start in range(0, len(tasks), size):
            lot = tasks[start : start + size]
            yield from Parallel(batch_size=1)(delayed(work)(*task, None) for task in lot)
