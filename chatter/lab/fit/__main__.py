"""``python -m chatter.lab.fit MAKER=FOLDER ... [--write]``: fit the models of the listening."""

from __future__ import annotations

import argparse
import json
import sys
from datetime import date
from pathlib import Path

from chatter.errors import ChatterError
from chatter.lab.evaluate.code import measuring_digest
from chatter.lab.evaluate.model_file import MODEL, write_model
from chatter.lab.evaluate.parallel import spread_calls
from chatter.lab.fit.gather import gather_runs
from chatter.lab.fit.left_out import (
    fit_calibration,
    leave_out,
    leave_parts_out,
    left_out_table,
    limits,
)
from chatter.lab.fit.stages import fit_chain
from chatter.lab.fit.strangers import score_left_out
from chatter.lab.fit.truths import read_truths

_ABOUT = """\
Fit the models of the listening on folders of labelled recordings by several makers.

Every folder is MAKER=FOLDER; folders of one maker share its name. Each maker is left out in turn:
the figures printed, the sureness and the limits of chatter come from recordings of makers that
the models had not met. With --write the models fitted on all of them are written to
chatter/listening/model.json. About a second of work for ten of sound, then ten minutes.
"""


def main(arguments: list[str] | None = None) -> int:
    """Run the command and return the exit code."""
    parser = argparse.ArgumentParser(
        prog="python -m chatter.lab.fit", description=_ABOUT,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )  # fmt: skip
    parser.add_argument("folders", nargs="+", metavar="MAKER=FOLDER")
    parser.add_argument("--write", action="store_true", help="write chatter/listening/model.json")
    parser.add_argument(
        "--quick", action="store_true", help="leave no maker out: keep sureness and limits"
    )
    parser.add_argument(
        "--score", metavar="MAKER", action="append",
        help="also listen to this maker's folder as a user would, by the model fitted without it, "
        "and print all figures; repeatable",
    )  # fmt: skip
    parser.add_argument(
        "--parts", type=int, default=0, metavar="K",
        help="also print how models do on recordings that they have not met, by makers that they "
        "have: K fits, each without one part of all recordings",
    )  # fmt: skip
    parser.add_argument(
        "--worst", type=int, default=20, metavar="N",
        help="with --score: so many of each maker's worst answers with the truth given step by "
        "step (default: %(default)s)",
    )  # fmt: skip
    parser.add_argument("--jobs", type=int, default=0, metavar="N", help="default: one a core")
    parser.add_argument(
        "--cache", type=Path, default=Path("reports/fit-cache"), metavar="DIR",
        help="where what was measured is kept (default: %(default)s)",
    )  # fmt: skip
    options = parser.parse_args(arguments)
    try:
        truths = []
        for one in options.folders:
            maker, mark, folder = one.partition("=")
            if not mark or not maker:
                parser.error(f"'{one}' is not MAKER=FOLDER")
            truths += read_truths(Path(folder), maker)
        asked = [(truth, options.cache) for truth in truths]
        measured = list(spread_calls(gather_runs, asked, jobs=options.jobs))
        gathered = sorted(
            (one for one in measured if one.observation.sounds),
            key=lambda one: (one.truth.maker, one.truth.path.name),
        )
        print(f"{len(gathered)} recordings measured", flush=True)
        kept = json.loads(MODEL.read_text("utf-8")) if options.quick else None
        if kept is None:
            answers, left_out = leave_out(gathered)
            calibration = fit_calibration(answers)
            limit = limits(answers, calibration)
            print(left_out_table(answers, calibration))
            print(json.dumps({"calibration": calibration, "limits": limit}), flush=True)
            if options.parts:
                print(f"\nother recordings of known makers, {options.parts} parts:")
                print(
                    left_out_table(leave_parts_out(gathered, options.parts), calibration),
                    flush=True,
                )
            if options.score:
                print(
                    score_left_out(
                        _scored(options),
                        left_out,
                        answers,
                        jobs=options.jobs,
                        cache=options.cache,
                        worst=options.worst,
                    ),
                    flush=True,
                )
        else:
            calibration, limit = kept["calibration"], kept["limits"]
        if options.write:
            models = fit_chain(gathered)
            makers: dict[str, int] = {}
            for one in gathered:
                makers[one.truth.maker] = makers.get(one.truth.maker, 0) + 1
            write_model(
                {
                    "made_by": "python -m chatter.lab.fit " + " ".join(
                        f"{maker}=FOLDER" for maker in makers
                    ) + " --write",
                    "made_on": str(date.today()),
                    "code": measuring_digest(),
                    "recordings": makers,
                    "prior": "probabilities hold for the mixture of causes in these recordings",
                    "calibration": calibration,
                    "limits": limit,
                    "forests": models.plain,
                }
            )  # fmt: skip
            print(f"written: {MODEL}")
    except ChatterError as error:
        print(error, file=sys.stderr)
        return error.exit_code
    return 0


def _scored(options: argparse.Namespace) -> dict[str, Path]:
    """Folder of each maker that is to be scored."""
    named = dict(one.split("=", 1) for one in options.folders)
    return {maker: Path(named[maker]) for maker in options.score if maker in named}


if __name__ == "__main__":
    sys.exit(main())
