"""Entry: ``python -m chatter.lab.numbers`` prints how often wrong numbers are noticed."""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

from chatter.errors import ChatterError


def main(arguments: list[str] | None = None) -> int:
    """Ask recordings with right, wrong and missing numbers, or fit; return the exit code."""
    parser = argparse.ArgumentParser(
        prog="python -m chatter.lab.numbers",
        description="Hear labelled recordings with right numbers, the lever one and two steps off "
        "on an invented machine, miscounted teeth, and numbers left out.",
    )
    parser.add_argument("folders", nargs="+", metavar="MAKER=FOLDER")
    parser.add_argument("--most", type=int, default=150, help="recordings of a maker")
    parser.add_argument("--ask", type=int, default=150, help="how many of them are asked")
    parser.add_argument(
        "--verdicts", type=int, default=0, metavar="N",
        help="listen to N recordings of a maker with every statement, as a user would",
    )  # fmt: skip
    parser.add_argument("--fit", action="store_true", help="fit the weights, makers left out")
    parser.add_argument("--write", action="store_true", help="with --fit: write hypotheses.toml")
    parser.add_argument("--cache", type=Path, default=Path(".cache/numbers"))
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    options = parser.parse_args(arguments)
    begun = time.monotonic()
    try:
        _run(options)
    except ChatterError as wrong:
        print(wrong, file=sys.stderr)
        return 2
    print(f"{time.monotonic() - begun:.0f} s", file=sys.stderr)
    return 0


def _run(options: argparse.Namespace) -> None:
    from chatter.lab.numbers.cases import first_of_each, read_cases
    from chatter.lab.numbers.evidence import key_of, rates_of

    cases = []
    for named in options.folders:
        maker, _, folder = named.rpartition("=")
        of = read_cases(maker or Path(folder).name, Path(folder))
        cases += sorted(of, key=lambda one: key_of(one.path))[: options.most]
    rates = rates_of(cases, options.cache, jobs=options.jobs)
    without = None
    if options.fit:
        from chatter.lab.numbers.fitting import PATH, fit_all, weights_toml

        found, without = fit_all(cases, rates, lambda line: print(line, flush=True))
        text = weights_toml(found, sorted(without))
        if options.write:
            PATH.write_text(text, encoding="utf-8")
            print(f"written: {PATH}")
    from chatter.lab.numbers.asking import ask_numbers
    from chatter.lab.numbers.table import lines_of

    some = first_of_each(cases, options.ask)
    asked = ask_numbers([cases[i] for i in some], [rates[i] for i in some], without)
    print("each maker by weights fitted on the others" if without else "by the shipped weights")
    print("\n".join(lines_of(asked)))
    if options.verdicts:
        from chatter.lab.numbers.listening import hear_statements, verdict_lines

        told = hear_statements(cases, rates, options.verdicts, options.cache, jobs=options.jobs)
        print("\n".join(verdict_lines(told)))


if __name__ == "__main__":
    sys.exit(main())
