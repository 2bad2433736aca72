"""Entry: ``python -m chatter.lab.pairs`` prints how often compare is right."""

from __future__ import annotations

import argparse
import sys
import time


def main(arguments: list[str] | None = None) -> int:
    """Run pairs and print their rates, or fit the between-take terms; return the exit code."""
    parser = argparse.ArgumentParser(
        prog="python -m chatter.lab.pairs",
        description="Compare simulated takes of the same cut, and of cuts that rub 6 dB louder.",
    )
    parser.add_argument("--identical", type=int, default=200, help="pairs of the same cut")
    parser.add_argument("--rubbing", type=int, default=100, help="pairs that differ in rubbing")
    parser.add_argument("--first", type=int, default=0, help="index of the first pair")
    parser.add_argument("--takes", type=int, default=1, help="recordings of each side")
    parser.add_argument("--same-phone", action="store_true", help="one phone in one room")
    parser.add_argument(
        "--ranges", default="reporting", choices=("development", "reporting"),
        help="which seeds and ranges; figures are only worth telling of 'reporting'",
    )  # fmt: skip
    parser.add_argument("--jobs", type=int, default=0, help="processes (default: one per core)")
    parser.add_argument("--fit", action="store_true", help="fit the between-take terms instead")
    parser.add_argument("--write", action="store_true", help="with --fit: write between.json")
    options = parser.parse_args(arguments)
    begun = time.monotonic()
    if options.fit:
        _fit(options)
    else:
        _measure(options)
    print(f"{time.monotonic() - begun:.0f} s", file=sys.stderr)
    return 0


def _measure(options: argparse.Namespace) -> None:
    from chatter.lab.pairs.run import pair_outcomes
    from chatter.lab.pairs.table import identical_lines, rubbing_lines

    phones = "one phone and room a pair" if options.same_phone else "a phone and room for each take"
    print(f"{options.ranges} ranges and seeds; {options.takes} recording(s) a side; {phones}")
    for sort, count, lines in (
        ("identical", options.identical, identical_lines),
        ("rubbing", options.rubbing, rubbing_lines),
    ):
        if count:
            found = pair_outcomes(
                options.ranges,
                sort,
                count,
                takes=options.takes,
                same_phone=options.same_phone,
                first=options.first,
                jobs=options.jobs,
            )
            print("\n".join(lines(found)))


def _fit(options: argparse.Namespace) -> None:
    from chatter.lab.evaluate.code import comparing_digest
    from chatter.lab.pairs.fit import PATH, fit, no_shorter, terms_json
    from chatter.lab.pairs.run import pair_features

    code = comparing_digest()  # of the start: the code may be worked on while pairs are heard
    terms, counts = {}, {}
    for phones in ("other", "alike"):
        pairs: dict[str, list] = {"identical": [], "rubbing": []}
        for drawn, count in (("identical", options.identical), ("rubbing", options.rubbing)):
            same = phones == "alike"
            for sort, pair in pair_features(
                "development", drawn, count, same_phone=same, jobs=options.jobs
            ):
                pairs[sort].append(pair)
        terms[phones] = fit(pairs["identical"], pairs["rubbing"])
        counts[phones] = {sort: len(found) for sort, found in pairs.items()}
    terms["other"] = no_shorter(terms["other"], terms["alike"])
    text = terms_json(terms, counts, code)
    if options.write:
        PATH.write_text(text, encoding="utf-8")
        print(f"written: {PATH}")
    else:
        print(text, end="")


if __name__ == "__main__":
    sys.exit(main())
