"""The command line of the invented shops."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from chatter.errors import ChatterError

_ABOUT = """\
Invent shops, let each label some of its cuts (11 % of the labels wrong), teach the program, and
score it on later days, untaught and taught.

By default no sound is made: what the program says of a pass is drawn from the distribution of
log odds measured on recordings it was not fitted to (outcomes.toml), shifted for each shop, each
day and each pass. --voice makes sound: cuts on machines that whine, with and without one idle
recording of the machine in the book.
"""


def shops_parser() -> argparse.ArgumentParser:
    """The options."""
    made = argparse.ArgumentParser(
        prog="python -m chatter.lab.shops",
        description=_ABOUT,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    made.add_argument("--shops", type=int, default=60, metavar="N", help="default: %(default)s")
    made.add_argument("--seed", type=int, default=0, metavar="N", help="other numbers, other shops")
    made.add_argument("--jobs", type=int, default=0, metavar="N", help="processes; 0: one a core")
    made.add_argument(
        "--wrong", type=float, default=0.11, metavar="PART", help="labels that are wrong"
    )
    what = made.add_mutually_exclusive_group()
    what.add_argument(
        "--voice",
        type=int,
        metavar="N",
        help="with sound: N quiet and N chattering cuts on machines that whine",
    )
    what.add_argument(
        "--sound",
        action="store_true",
        help="the shops with sound, listened to: a minute of computing for each cut of each shop",
    )
    what.add_argument(
        "--learn",
        type=Path,
        metavar="FILE",
        help="print outcomes.toml anew from the JSON of 'evaluate --labelled'",
    )
    return made


def main(arguments: list[str] | None = None) -> int:
    """Run the command and return the exit code."""
    options = shops_parser()
    told = options.parse_args(arguments)
    if told.shops < 2 or told.jobs < 0 or not 0 <= told.wrong < 0.5:
        options.error("--shops must be 2 or more, --jobs 0 or more, --wrong from 0 to 0.5")
    from chatter.lab.shops import sections

    try:
        if told.learn is not None:
            return sections.learn_section(told)
        if told.voice is not None:
            return sections.voice_section(told)
        return sections.shops_section(told)
    except ChatterError as error:
        print(error, file=sys.stderr)
        return error.exit_code
