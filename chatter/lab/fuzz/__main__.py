"""Command: ``python -m chatter.lab.fuzz [--count 10000] [--seed N] [--work listen] [--write]``."""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

from chatter.lab.fuzz.run import Tally, fuzz
from chatter.lab.fuzz.table import tally_page
from chatter.lab.fuzz.worker import WORKS


def main() -> int:
    """Fuzz and print; 0 when nothing fell over, hung or printed, 1 otherwise."""
    parser = argparse.ArgumentParser(prog="python -m chatter.lab.fuzz", description=__doc__)
    parser.add_argument("--count", type=int, default=10_000, help="damaged files")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--work", choices=sorted(WORKS), action="append", help="only this")
    parser.add_argument("--write", action="store_true", help="write the page into reports/")
    options = parser.parse_args()

    def tell(done: int, tally: Tally) -> None:
        if done % 50 == 0 or done == options.count:
            print(f"{done}/{options.count}  {dict(tally.ends())}", file=sys.stderr, flush=True)

    works = tuple(options.work or WORKS)
    tally = fuzz(options.count, seed=options.seed, works=works, tell=tell)
    page = tally_page(tally, options.seed)
    print(page)
    if options.write:
        out = Path("reports") / f"fuzz-{time.strftime('%Y-%m-%d')}.md"
        out.parent.mkdir(exist_ok=True)
        out.write_text(f"# Damaged files\n\n{page}", encoding="utf-8")
    return 1 if tally.wrong else 0


if __name__ == "__main__":
    sys.exit(main())
