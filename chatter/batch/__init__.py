"""A folder of recordings: each listened to under its job, on all cores, in one table.

::

    from chatter.batch import gather_tasks, run_batch

    tasks = gather_tasks("recordings", job="slot.toml")
    done = run_batch(tasks, "reports/batch")
    done.rows                     # one small row per recording, in the order of the tasks

What is done is kept in a ledger in the output folder, line by line: a run that was killed goes
on where it stopped.  Nothing of a recording but its row stays in memory.
"""

from __future__ import annotations

from chatter.batch.cover import remarks
from chatter.batch.gather import gather_tasks
from chatter.batch.row import LedgerRow
from chatter.batch.run import Done, run_batch
from chatter.batch.task import Task

__all__ = ["Done", "LedgerRow", "Task", "gather_tasks", "remarks", "run_batch"]
