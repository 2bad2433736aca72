"""A progress bar on standard error, with the time still to go."""

from __future__ import annotations

import sys
import time


class Progress:
    """Count steps; draw a bar where there is a terminal, else a line now and then."""

    def __init__(self, what: str, total: int, *, done: int = 0) -> None:
        self.what, self.total, self.done = what, total, done
        self.began, self.first, self.said = time.monotonic(), done, 0.0
        self.terminal = sys.stderr.isatty()

    def step(self) -> None:
        """One more is done."""
        self.done += 1
        now = time.monotonic()
        pause = 0.2 if self.terminal else 20.0
        if now - self.said < pause and self.done < self.total:
            return
        self.said = now
        left = (now - self.began) / (self.done - self.first) * (self.total - self.done)
        filled = round(24 * self.done / self.total)
        text = (
            f"{self.what}  {'█' * filled}{'·' * (24 - filled)}  "
            f"{self.done}/{self.total}  {_clock(left)} to go"
        )
        end = "" if self.terminal else "\n"
        print(("\r" if self.terminal else "") + text + "  ", end=end, file=sys.stderr, flush=True)

    def close(self) -> None:
        """End the line."""
        if self.terminal:
            print(file=sys.stderr)


def _clock(seconds: float) -> str:
    minutes, rest = divmod(round(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02d}:{rest:02d}" if hours else f"{minutes}:{rest:02d}"
