"""``python -m chatter.lab.histories``: how right the run-in is, or a history to look at."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

from chatter.errors import ChatterError

#: How it stands is told on standard error after so many histories.
_TELL_EVERY = 20
#: Development may look at its seeds as often as it likes; reporting never uses them.
DEVELOPMENT_FROM, REPORTING_FROM = 0, 800_000


def main(arguments: list[str] | None = None) -> int:
    """Run the command; return the exit code."""
    parser = argparse.ArgumentParser(prog="python -m chatter.lab.histories", description=__doc__)
    parser.add_argument("--count", type=int, default=200, help="number of histories")
    parser.add_argument("--seconds", type=float, default=8.0, help="length of each recording")
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument(
        "--develop", action="store_true", help="the seeds for development, not for reporting"
    )
    parser.add_argument("--first", type=int, default=0, help="start this many seeds later")
    parser.add_argument(
        "--make", type=Path, metavar="FOLDER", help="write the invented mill's history instead"
    )
    options = parser.parse_args(arguments)
    try:
        if options.make is not None:
            from chatter.lab.histories.writing import make_folder

            make_folder(options.make, tell=print)
            print(f"Simulated. Look at it with: chatter runin report {options.make}")
            return 0
        return _measure(options)
    except ChatterError as wrong:
        print(wrong, file=sys.stderr)
        return wrong.exit_code


def _measure(options: argparse.Namespace) -> int:
    from joblib import Parallel, delayed

    from chatter.lab.histories.score import score_history

    if options.count < 1 or options.seconds < 4.0:
        print("State at least one history, of 4 s recordings or longer.", file=sys.stderr)
        return 2
    start = (DEVELOPMENT_FROM if options.develop else REPORTING_FROM) + options.first
    seeds = range(start, start + options.count)
    work = Parallel(n_jobs=options.jobs, return_as="generator")(
        delayed(score_history)(seed, duration_s=options.seconds) for seed in seeds
    )
    found = []
    for one in work:
        found.append(one)
        for flag in one.false_flags:
            print(f"seed {one.seed}: false '{flag.verdict}' of {flag.key}", flush=True)
        if one.found_by is not None and not one.in_time:
            when = "never" if one.found_at is None else "too late"
            print(f"seed {one.seed}: {one.worsens} found {when}", flush=True)
        if len(found) % _TELL_EVERY == 0 and len(found) < options.count:
            print(f"... {'; '.join(history_lines(found)[1:3])}", file=sys.stderr, flush=True)
    print()
    for line in history_lines(found):
        print(line)
    return 0


def history_lines(found: Sequence) -> list[str]:
    """The figures with their 95 % Wilson intervals.

    Parameters
    ----------
    found : sequence of Scored
    """
    from chatter.lab.evaluate.intervals import wilson

    def share(hits: int, total: int) -> str:
        if not total:
            return "no case"
        low, high = wilson(hits, total)
        return (
            f"{hits} of {total}, {100 * hits / total:.1f} % ({100 * low:.1f} to {100 * high:.1f})"
        )

    flagged = sum(bool(one.false_flags) for one in found)
    due = [one for one in found if one.found_by is not None]
    kinds = {"bearings": "bearing:", "gears": "gear:"}
    lines = [
        f"{len(found)} simulated histories of 12 dates, about "
        f"{sum(one.items for one in found) / max(1, len(found)):.0f} items followed in each",
        f"histories with any false flag on any date: {share(flagged, len(found))}",
        f"true worsening found by the stated time: {share(sum(o.in_time for o in due), len(due))}",
    ]
    for name, start in kinds.items():
        own = [one for one in due if (one.worsens or "").startswith(start)]
        lines.append(f"  of {name}: {share(sum(one.in_time for one in own), len(own))}")
    worn = sum(one.wear_in_found for one in found)
    lines.append(f"wear-in of a gear called better at some date: {share(worn, len(found))}")
    return lines
