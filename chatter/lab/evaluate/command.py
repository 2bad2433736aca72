"""The command line of the evaluation."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from chatter.errors import ChatterError

_ABOUT = """\
Measure how right the verdicts are, on simulated recordings whose truth is known.

Without a section option: make a corpus, listen to it, print the scores and write a dated
page and JSON. Recordings are made one by one, listened to and deleted, unless kept;
outcomes are kept as JSON lines in the cache, so that a killed run goes on where it
stopped. A change to the code that makes or hears the recordings starts the cache anew.
"""


def evaluate_parser() -> argparse.ArgumentParser:
    """The options."""
    parser = argparse.ArgumentParser(
        prog="python -m chatter.lab.evaluate", description=_ABOUT,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )  # fmt: skip
    size = parser.add_argument_group("size of the run")
    size.add_argument("--quick", action="store_true", help="about 60 recordings instead of 2000")
    size.add_argument("--count", type=int, metavar="N", help="this many recordings")
    size.add_argument(
        "--item",
        type=int,
        action="append",
        metavar="N",
        help="only recording N of the corpus (may be given again); with --keep to listen to it",
    )
    size.add_argument(
        "--jobs", type=int, default=0, metavar="N", help="processes (default: one per core)"
    )
    section = parser.add_argument_group("what to do (one of these; default: score a corpus)")
    what = section.add_mutually_exclusive_group()
    what.add_argument(
        "--robust",
        action="store_true",
        help="how often gain, rate, codec, mirrored stereo or a tilt change a verdict "
        "(default 40 recordings)",
    )
    what.add_argument(
        "--boundary",
        action="store_true",
        help="verdicts over speed and depth of a published milling benchmark",
    )
    what.add_argument(
        "--missing",
        action="store_true",
        help="the same scenes with phone, room, other noise or wrong statements taken away: "
        "which information is missing (default 120 recordings)",
    )
    what.add_argument(
        "--no-cutting",
        action="store_true",
        help="recordings of anything but cutting (default 300)",
    )
    what.add_argument(
        "--corpus-table",
        action="store_true",
        help="what the corpus sounds like beside real recordings: lines, floors, strokes, "
        "contrast (default 200 recordings)",
    )
    section.add_argument(
        "--beside",
        type=Path,
        action="append",
        default=[],
        metavar="DIR",
        help="with --corpus-table: a folder of labelled recordings to measure alike (may be "
        "given again)",
    )
    what.add_argument(
        "--labelled",
        action="append",
        metavar="FOLDER",
        help="score recordings that somebody labelled: a folder with labels.csv, truth.json or "
        "labels.json (may be given again; --count takes an even sample)",
    )
    section.add_argument(
        "--worst", type=int, default=20, metavar="N",
        help="with --labelled: list the N worst answers (default: %(default)s)",
    )  # fmt: skip
    corpus = parser.add_argument_group("corpus")
    corpus.add_argument(
        "--ranges", choices=["reporting", "development"],
        help="what may be drawn (default: reporting)",
    )  # fmt: skip
    corpus.add_argument(
        "--seed", type=int, default=0, metavar="N", help="another number is another corpus"
    )
    corpus.add_argument(
        "--keep",
        type=Path,
        metavar="DIR",
        help="keep the recordings and their truths here (4 MB a minute of wav); kept ones are "
        "listened to again without being made again, which is several times as fast",
    )
    corpus.add_argument(
        "--cache", type=Path, default=Path("reports/evaluate-cache"), metavar="DIR",
        help="where outcomes are kept for going on (default: %(default)s)",
    )  # fmt: skip
    corpus.add_argument(
        "--out", type=Path, default=Path("reports"), metavar="DIR",
        help="where page and JSON are written (default: %(default)s)",
    )  # fmt: skip
    return parser


def main(arguments: list[str] | None = None) -> int:
    """Run the command and return the exit code."""
    parser = evaluate_parser()
    options = parser.parse_args(arguments)
    if options.seed < 0 or options.jobs < 0 or (options.count is not None and options.count < 1):
        parser.error("--seed and --jobs must be 0 or more, --count 1 or more")
    if options.beside and not options.corpus_table:
        parser.error("--beside goes with --corpus-table")
    if options.boundary and (
        options.count or options.ranges or options.item or options.keep or options.seed
    ):
        parser.error("--boundary has its own grid: it takes --quick, --jobs and --out only")
    if (options.robust or options.missing) and options.keep:
        parser.error("--robust and --missing keep nothing: leave --keep out")
    if options.labelled and (
        options.ranges or options.item or options.keep or options.seed or options.quick
    ):
        parser.error("--labelled takes --count, --jobs, --worst, --cache and --out only")
    from chatter.lab.evaluate import sections

    try:
        if options.labelled:
            from chatter.lab.evaluate.labelled.section import labelled_section

            return labelled_section(options)
        if options.robust:
            return sections.robust_section(options)
        if options.boundary:
            return sections.boundary_section(options)
        if options.missing:
            return sections.missing_section(options)
        if options.corpus_table:
            from chatter.lab.evaluate.corpus_table import corpus_table_section

            return corpus_table_section(options)
        return sections.score_section(options)
    except ChatterError as error:
        print(error, file=sys.stderr)
        return error.exit_code
    except KeyboardInterrupt:
        print("Stopped; the same command goes on from here.", file=sys.stderr)
        return 130
