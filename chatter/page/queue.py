"""What waits for its listen: a bounded line, served by a few workers, kept on disk."""

from __future__ import annotations

import asyncio
import contextlib
import sys
import traceback
from collections import Counter, deque
from collections.abc import Awaitable, Callable

from chatter.errors import ChatterError
from chatter.page import runner
from chatter.page.limits import PageLimits
from chatter.page.spool import DONE, FAILED, RUNNING, WAITING, Kept, PageListen, RecordingStore

#: What is done with an answer: gets the recording and the take, gives changes to the take.
Answered = Callable[[Kept, PageListen], Awaitable[dict]]


class Full(Exception):
    """The line is full."""


class Many(Exception):
    """One device sends as much at a time as it may."""


class Queue:
    """The line of listens.

    Parameters
    ----------
    spool : RecordingStore
    limits : PageLimits
    request_of : callable
        What a worker is asked for a recording and a take.
    answered : callable
        Keeps an answer in the logbook.
    command : tuple of str
        The worker's program.
    """

    def __init__(
        self,
        spool: RecordingStore,
        limits: PageLimits,
        request_of: Callable[[Kept, PageListen], dict],
        answered: Answered,
        command: tuple[str, ...] = runner.COMMAND,
    ) -> None:
        self._spool = spool
        self._limits = limits
        self._request_of = request_of
        self._answered = answered
        self._command = command
        self._line: deque[tuple[str, int]] = deque(spool.unfinished())
        self._reserved = 0
        self._of_device: Counter[str] = Counter()
        self._running: dict[tuple[str, int], asyncio.Task] = {}
        self._more = asyncio.Event()
        self._workers: list[asyncio.Task] = []

    def start(self) -> None:
        """Start serving; what a stop had left half-done is done again."""
        for id_, number in self._line:
            self._spool.change(id_, number, state=WAITING, share=0.0, what="")
        if self._line:
            self._more.set()
        self._workers = [asyncio.create_task(self._serve()) for _ in range(self._limits.workers)]

    async def stop(self) -> None:
        """Stop serving; what is being done is done again at the next start."""
        for task in (*self._workers, *self._running.values()):
            task.cancel()
        await asyncio.gather(*self._workers, *self._running.values(), return_exceptions=True)

    def room(self) -> int:
        """How many more may wait."""
        return max(0, self._limits.waiting - len(self._line) - self._reserved)

    def reserve(self, device: str = "") -> QueuePlace:
        """A place for an upload that only begins.  Raises Full, or Many for one device."""
        if not self.room():
            raise Full
        if device and self._of_device[device] >= self._limits.uploads_of_one:
            raise Many
        return QueuePlace(self, device)

    def put(self, kept: Kept, number: int) -> None:
        """Let a take wait for its listen."""
        self._line.append((kept.id, number))
        self._more.set()

    def before(self, id_: str, number: int) -> int:
        """How many wait before this one."""
        with contextlib.suppress(ValueError):
            return self._line.index((id_, number))
        return 0

    async def drop(self, id_: str) -> None:
        """Forget all takes of a recording, also one that is being done."""
        self._line = deque(one for one in self._line if one[0] != id_)
        for (running, _), task in list(self._running.items()):
            if running == id_:
                task.cancel()
                await asyncio.gather(task, return_exceptions=True)

    def wait_s(self) -> int:
        """A fair guess of when there will be room again."""
        return 5 if len(self._line) < 4 else 15

    async def _serve(self) -> None:
        while True:
            while not self._line:
                self._more.clear()
                await self._more.wait()
            id_, number = self._line.popleft()
            kept = self._spool.get(id_)
            if kept is None:
                continue
            task = asyncio.create_task(self._do(kept, number))
            self._running[id_, number] = task
            try:
                # "wait" and not "await": a task that is dropped does not end the server of others
                await asyncio.wait({task})
            finally:
                self._running.pop((id_, number), None)

    async def _do(self, kept: Kept, number: int) -> None:
        change = self._spool.change
        take = change(kept.id, number, state=RUNNING, share=0.0, what="starting")

        def told(said: dict) -> None:
            share, what = said.get("share"), said.get("what")
            if isinstance(share, int | float) and isinstance(what, str):
                change(kept.id, number, keep=False, share=float(share), what=what[:120])

        try:
            request = self._request_of(kept, take)
            wrong = await runner.run_request(
                request, self._limits, told, scratch=str(self._spool.scratch), command=self._command
            )
            if wrong is None:
                more = await self._answered(kept, take)
                change(kept.id, number, state=DONE, share=1.0, what="", **more)
                return
        except ChatterError as error:
            wrong = str(error)
        except Exception:
            traceback.print_exc(file=sys.stderr)
            wrong = runner.FAULT
        change(kept.id, number, state=FAILED, sentence=wrong)


class QueuePlace:
    """A reserved place in the line; a context manager, given back at its end."""

    def __init__(self, queue: Queue, device: str) -> None:
        self._queue = queue
        self._device = device

    def __enter__(self) -> QueuePlace:
        """Take the place."""
        self._queue._reserved += 1
        self._queue._of_device[self._device] += 1
        return self

    def __exit__(self, *_: object) -> None:
        """Give it back."""
        self._queue._reserved -= 1
        self._queue._of_device[self._device] -= 1
        self._queue._of_device += Counter()  # those at zero are forgotten
