"""Entry: ``python -m chatter.lab.trials`` prints the table of closed-loop trials."""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path


def main(arguments: list[str] | None = None) -> int:
    """Run the trials and print their table; return the exit code."""
    parser = argparse.ArgumentParser(
        prog="python -m chatter.lab.trials",
        description="Simulate a fault, listen, do what is advised, simulate and listen again.",
    )
    parser.add_argument("--cases", type=int, default=6, help="scenes per sort of fault")
    parser.add_argument("--jobs", type=int, default=2, help="processes")
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--json", type=Path, help="also write every outcome here")
    parser.add_argument("--each", action="store_true", help="also print every outcome")
    options = parser.parse_args(arguments)
    if options.cases < 1 or options.jobs < 1:
        print("Cases and jobs must be 1 or more: correct the number.", file=sys.stderr)
        return 2
    from chatter.lab.trials.run import run_trials
    from chatter.lab.trials.table import each_line, outcomes_json, trial_lines

    start = time.perf_counter()
    outcomes = []
    for one in run_trials(options.cases, seed=options.seed, jobs=options.jobs):
        outcomes.append(one)
        if options.each:
            print(each_line(one), flush=True)
    print("\n".join(trial_lines(outcomes)))
    print(f"\n{len(outcomes)} trials in {time.perf_counter() - start:.0f} s.")
    if options.json is not None:
        options.json.write_text(outcomes_json(outcomes), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
