"""The pool of the ready-made app: the standard library's, whose workers can be ended at once."""

from __future__ import annotations

import multiprocessing
import os
import time

import pytest

from chatter.batch.parallel import AppExecutor


@pytest.fixture
def pool():
    made = AppExecutor(1, multiprocessing.get_context("spawn"))
    yield made
    made.shutdown(wait=True, kill_workers=True)


def test_work_is_done_in_another_process(pool):
    assert pool.submit(os.getpid).result(60) not in (0, os.getpid())


def test_workers_are_ended_whatever_they_do(pool):
    worker = pool.submit(os.getpid).result(60)
    pool.submit(time.sleep, 600)
    began = time.monotonic()
    pool.shutdown(wait=True, kill_workers=True)
    assert time.monotonic() - began < 30
    with pytest.raises(ProcessLookupError):
        os.kill(worker, 0)
