"""The two ends of the terminal: answers on standard output, all else on standard error."""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.console import Console


Progress = Callable[[float, str], None]

#: A listen that is over sooner shows no bar.
_PATIENCE_S = 0.7


def settle_streams() -> None:
    """Let no sign end a command that this terminal cannot show: it becomes a question mark."""
    for stream in (sys.stdout, sys.stderr):
        if stream is None or not hasattr(stream, "reconfigure"):
            continue
        if os.name == "nt" and not stream.isatty():  # a file, or the next program
            stream.reconfigure(encoding="utf-8")
        if stream.errors == "strict":
            stream.reconfigure(errors="replace")


def console(*, error: bool = False) -> Console:
    """A console for people: 80 columns where the width is not known, 100 at most."""
    from rich.console import Console

    class Quiet(Console):
        def on_broken_pipe(self) -> None:
            """Leave it to the command line, which ends quietly (rich itself ends with 1)."""
            raise BrokenPipeError

    screen = Quiet(stderr=error, highlight=False, soft_wrap=False)
    screen.width = min(screen.width, 100)
    return screen


@contextmanager
def progress_bar(title: str, *, shown: bool) -> Iterator[Progress | None]:
    """A progress bar on standard error, for what takes longer than a moment.

    Yields a callable ``(share, what)``; None when nothing is to be shown, or standard
    error is not a terminal.
    """
    if not shown or not sys.stderr.isatty():
        yield None
        return
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (
        TextColumn("{task.fields[name]}", markup=False),
        BarColumn(bar_width=None),
        TextColumn("{task.percentage:>3.0f} %"),
        TimeRemainingColumn(),
        TextColumn("{task.description}", markup=False),
    )
    bar = Progress(*columns, console=console(error=True), transient=True)
    begun = time.monotonic()
    task = bar.add_task("", total=1.0, name=title)

    def tell(share: float, what: str) -> None:
        bar.update(task, completed=share, description=what)
        if not bar.live.is_started and time.monotonic() - begun > _PATIENCE_S:
            bar.start()

    try:
        yield tell
    finally:
        bar.stop()
