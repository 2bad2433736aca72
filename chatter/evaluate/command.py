"""The command line of the evaluation."""

from __future__ import annotations

import argparse
import sys
from datetime import date
from pathlib import Path

from chatter.errors import ChatterError

_ABOUT = """\
Measure how right the verdicts are, on simulated recordings whose truth is known.

Without a section option: make a corpus, listen to it, print the scores and write a dated
page and JSON. Recordings are made one by one, listened to and deleted; outcomes are kept
as JSON lines in the cache, so that a killed run goes on where it stopped. A change to the
code that makes or hears the recordings starts the cache anew.
"""


def parser() -> argparse.ArgumentParser:
    """The options."""
    made = argparse.ArgumentParser(
        prog="python -m chatter.evaluate", description=_ABOUT,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )  # fmt: skip
    size = made.add_argument_group("size of the run")
    size.add_argument("--quick", action="store_true", help="about 60 recordings instead of 2000")
    size.add_argument("--count", type=int, metavar="N", help="this many recordings")
    size.add_argument(
        "--jobs", type=int, default=0, metavar="N", help="processes (default: one per core)"
    )
    corpus = made.add_argument_group("corpus")
    corpus.add_argument(
        "--ranges", choices=["reporting", "development"],
        help="what may be drawn (default: reporting; development with --fit)",
    )  # fmt: skip
    corpus.add_argument(
        "--seed", type=int, default=0, metavar="N", help="another number is another corpus"
    )
    corpus.add_argument(
        "--keep", type=Path, metavar="DIR", help="keep the recordings and their outcomes here"
    )
    corpus.add_argument(
        "--cache", type=Path, default=Path("reports/evaluate-cache"), metavar="DIR",
        help="where outcomes are kept for going on (default: %(default)s)",
    )  # fmt: skip
    corpus.add_argument(
        "--out", type=Path, default=Path("reports"), metavar="DIR",
        help="where page and JSON are written (default: %(default)s)",
    )  # fmt: skip
    return made


def main(arguments: list[str] | None = None) -> int:
    """Run the command and return the exit code."""
    options = parser()
    told = options.parse_args(arguments)
    if told.seed < 0 or told.jobs < 0 or (told.count is not None and told.count < 1):
        options.error("--seed and --jobs must be 0 or more, --count 1 or more")
    try:
        return evaluate(told)
    except ChatterError as error:
        print(error, file=sys.stderr)
        return error.exit_code
    except KeyboardInterrupt:
        print("Stopped; the same command goes on from here.", file=sys.stderr)
        return 130


def evaluate(told: argparse.Namespace) -> int:
    """Score a corpus."""
    from chatter.evaluate.corpus import Corpus
    from chatter.evaluate.page import write
    from chatter.evaluate.run import code_digest, run
    from chatter.evaluate.score import score
    from chatter.evaluate.text import split_lines, summary

    corpus = Corpus(told.ranges or "reporting", base_seed=told.seed)
    count = told.count or (60 if told.quick else 2000)
    code = code_digest()
    outcomes = run(corpus, count, jobs=told.jobs, cache=told.cache, keep=told.keep)
    made = (
        f"python -m chatter.evaluate --ranges {corpus.ranges} --count {count} "
        f"--seed {corpus.base_seed}; corpus {corpus.name} {corpus.fingerprint()}, code {code}, "
        f"{date.today()}"
    )
    if code_digest() != code:
        print("The code changed during the run: these figures mix two states.", file=sys.stderr)
        made += " (code changed during the run)"
    scored = score(outcomes)
    title = f"How right the verdicts are: {corpus.ranges} corpus, {count} recordings"
    print(summary(scored, title))
    print(split_lines(scored))
    for one in outcomes:
        if one.crash:
            print(f"\nitem {one.index} crashed:\n{one.crash}")
    page, plain = write(told.out, "evaluation", title, made, scored, (), {"corpus": corpus})
    print(f"\n{page}\n{plain}")
    return 0
