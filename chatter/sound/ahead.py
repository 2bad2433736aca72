"""Made ahead: what comes next is made in a thread of its own while the last is being used."""

from __future__ import annotations

import queue
import threading
from collections.abc import Generator, Iterator
from typing import TypeVar

Item = TypeVar("Item")

#: How often a thread that has nobody to hand its item to looks whether it is still wanted [s].
_LOOK_S = 0.1


def made_ahead(items: Iterator[Item], *, most: int = 4) -> Generator[Item]:
    """The same items in the same order, at most ``most`` of them waiting.

    Decoders let go of the interpreter while they decode, so that two cores are busy at once.
    Whatever making an item raises is raised here in its place; whoever stops asking (by closing
    this generator) stops the making too.

    Parameters
    ----------
    items : iterator
        Only the thread touches it, until it is used up or this generator is closed.
    most : int
    """
    waiting: queue.Queue = queue.Queue(most)
    unwanted = threading.Event()

    def put(what: tuple) -> bool:
        while not unwanted.is_set():
            try:
                waiting.put(what, timeout=_LOOK_S)
                return True
            except queue.Full:
                continue
        return False

    def make() -> None:
        try:
            for item in items:
                if not put((item, None)):
                    return
        except BaseException as wrong:
            put((None, wrong))
        else:
            put((None, StopIteration()))

    maker = threading.Thread(target=make, daemon=True)
    maker.start()
    try:
        while True:
            item, end = waiting.get()
            if isinstance(end, StopIteration):
                return
            if end is not None:
                raise end
            yield item
    finally:
        unwanted.set()
        maker.join()
