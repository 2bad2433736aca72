"""The ready-made app: one program that is the page, its workers and the command line.

Without a word it opens the page in the browser, for people who start programs with a click.
"""

from __future__ import annotations

import multiprocessing
import os
import sys


def main() -> int:
    """Run what the words of the command line ask for; the exit code."""
    multiprocessing.freeze_support()  # a worker of a batch ends in here
    words = sys.argv[1:]
    from chatter.page.worker import WORKER_FLAG

    if words[:1] == [WORKER_FLAG]:
        from chatter.page.worker import main as work

        return work()
    _own_libraries_only()
    from chatter.cli import main as command_line

    code = command_line(words or ["page", "--open"])
    if code and not words and sys.stdin is not None and sys.stdin.isatty():
        input("Press Enter to close this window. ")  # else nobody could read what went wrong
    return code


def _own_libraries_only() -> None:
    """Programs that this one starts, the browser above all, use their own libraries again."""
    for name in ("LD_LIBRARY_PATH", "DYLD_LIBRARY_PATH"):
        before = os.environ.pop(f"{name}_ORIG", None)
        if before is not None:
            os.environ[name] = before
        elif getattr(sys, "frozen", False):
            os.environ.pop(name, None)


if __name__ == "__main__":
    sys.exit(main())
