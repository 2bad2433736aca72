"""One thread of linear algebra.

A listen makes many small products.  Spread over the cores each costs more to hand out than to
compute, and on a computer that is busy with something else every product waits for the slowest
core: measured 2 to 2.7 times slower on two cores.  So the command line asks for one thread
before NumPy is loaded, and the front doors hold to one while they work.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager

#: Read by the libraries of linear algebra while they are loaded.
VARIABLES = (
    "OPENBLAS_NUM_THREADS",
    "OMP_NUM_THREADS",
    "MKL_NUM_THREADS",
    "BLIS_NUM_THREADS",
    "VECLIB_MAXIMUM_THREADS",
)


def one_thread_from_here() -> None:
    """For this process and what it starts; to be called before NumPy is loaded.

    What the user has set for himself is left as it is.
    """
    for name in VARIABLES:
        os.environ.setdefault(name, "1")


@contextmanager
def one_thread() -> Iterator[None]:
    """One thread while inside, in a process that is somebody else's; as before afterwards.

    A library of linear algebra that is loaded only meanwhile keeps to one thread.
    """
    if any(name in os.environ for name in VARIABLES):
        yield  # somebody has chosen
        return
    from threadpoolctl import threadpool_limits

    one_thread_from_here()
    try:
        with threadpool_limits(1, user_api="blas"):
            yield
    finally:
        for name in VARIABLES:
            os.environ.pop(name, None)
