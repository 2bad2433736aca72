"""Parallel: one function over many arguments, with a progress bar and bounded memory."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Any

from chatter.lab.evaluate.progress import Progress


def spread_calls(
    work: Callable[..., Any], arguments: Sequence[tuple], *, jobs: int = 0
) -> Iterator[Any]:
    """Yield results as they come, in any order.

    Parameters
    ----------
    work : callable
        Importable by name.
    arguments : sequence of tuple
        Positional arguments of each call.
    jobs : int
        Processes; 0 means one per core.
    """
    jobs = jobs or os.cpu_count() or 1
    if jobs == 1 or len(arguments) < 2:
        yield from (work(*one) for one in arguments)
        return
    from joblib import Parallel, delayed, parallel_config
    from joblib.externals.loky import get_reusable_executor

    # One thread per process: the cores are taken by the items.
    with parallel_config("loky", n_jobs=jobs, inner_max_num_threads=1):
        pool = Parallel(return_as="generator_unordered", pre_dispatch="2*n_jobs", batch_size=1)
        try:
            yield from pool(delayed(work)(*one) for one in arguments)
        finally:
            # The next run may follow a new model or new code: it gets new processes.
            get_reusable_executor().shutdown(wait=True)


def watched(results: Iterable[Any], what: str, total: int, *, done: int = 0) -> Iterator[Any]:
    """Pass results on and move a progress bar."""
    bar = Progress(what, total, done=done)
    try:
        for one in results:
            bar.step()
            yield one
    finally:
        bar.close()
