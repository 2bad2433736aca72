"""A folder of labelled recordings: ``python -m chatter.lab.evaluate.folder OUT --count 100``.

Writes recordings of a corpus with their truths, and ``index.json``: one row a recording with
what is stated, what is true, and the passes.  Started again, it goes on where it stopped.
"""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import replace
from pathlib import Path

from chatter.lab.evaluate.corpus import Corpus, draw_item
from chatter.lab.simulate import Truth, simulate
from chatter.lab.simulate.codec import write_recording
from chatter.lab.simulate.ranges import ALL
from chatter.lab.simulate.writing import TRUTH_SUFFIX, load_truth, save_truth


def index_row(truth: Truth, file: str, index: int) -> dict:
    """One row of the index.

    Parameters
    ----------
    truth : Truth
    file : str
        Name of the recording beside the index.
    index : int
        Its number in the corpus.
    """
    cutter, cut = truth.job.cutter, truth.job.cut
    has = truth.conditions
    wrong = [name for name in ("teeth", "gear") if has[f"wrong_{name}"]]
    true_rev_min = truth.passes[0].rev_min if truth.passes else None
    return {
        "file": file,
        "index": index,
        "seed": truth.seed,
        "kind": truth.kind,
        "verdict": truth.verdict,
        "stated_rev_min": cut.speed_rev_min,
        "true_rev_min": true_rev_min,
        "teeth": cutter.teeth,
        "true_teeth": truth.true_teeth,
        "cutter": has["form"],
        "regime": has["regime"],
        "stated_form": cutter.form,
        "diameter_mm": None if cutter.diameter_m is None else 1000 * cutter.diameter_m,
        "speeds_rev_min": list(truth.job.machine.speeds_rev_min),
        "mains_hz": truth.job.machine.mains_hz,
        "wrong_number": wrong,
        "has_idle": has["has_idle"],
        "layout": has["layout"],
        "snr_db": has["snr_db"],
        "distractors": has["distractors"],
        "duration_s": truth.duration_s,
        "passes": [_pass(one) for one in truth.passes],
        "stretches": [[one.start_s, one.end_s, one.state] for one in truth.stretches],
    }


def _pass(one) -> dict:
    return {
        "start_s": one.start_s,
        "end_s": one.end_s,
        "verdict": one.verdict,
        "also": list(one.also),
        "marginal": one.marginal,
        "rev_min": one.rev_min,
        "true_rev_min": one.rev_min,
        "direction": one.direction,
        "chatter_hz": one.chatter_hz,
        "chatter_kind": one.chatter_kind,
        "chatter_family_hz": list(one.chatter_family_hz),
        "chatter_width_hz": one.chatter_width_hz,
        "chatter_audible_db": one.chatter_audible_db,
        "chatter_share": one.chatter_share,
        "chatter_db": one.chatter_db,
        "onset_s": one.onset_s,
        "contrast_db": one.contrast_db,
        "runout_share": one.runout_share,
        "scatter_share": one.scatter_share,
        "unevenness": one.unevenness,
        "rubbing_db": one.rubbing_db,
    }


def make_corpus(folder: Path, corpus: Corpus, first: int, count: int) -> int:
    """Write items ``first`` to ``first + count`` of a corpus; return how many stand there."""
    folder.mkdir(parents=True, exist_ok=True)
    rows = []
    for index in range(first, first + count):
        stem = folder / f"{corpus.name}-{index:05d}"
        note = stem.with_suffix(TRUTH_SUFFIX)
        sounds = [one for one in folder.glob(f"{stem.name}.*") if one != note]
        if not (note.exists() and sounds):
            try:
                scene, seed = draw_item(corpus, index)
                signal, rate_hz, truth = simulate(scene, seed)
            except ValueError as error:
                print(f"{index}: {error}", file=sys.stderr, flush=True)
                continue
            path, rate_hz = write_recording(stem, signal, rate_hz, scene.format)
            save_truth(replace(truth, rate_hz=rate_hz), note)
            sounds = [path]
        rows.append(index_row(load_truth(note), sounds[0].name, index))
        if len(rows) % 25 == 0 or index == first + count - 1:
            save_index(folder, rows)
            print(f"{len(rows)} of {count}", flush=True)
    save_index(folder, rows)
    return len(rows)


def save_index(folder: Path, rows: list[dict]) -> None:
    """Write ``index.json`` whole or not at all."""
    short = folder / "index.json.part"
    text = ",\n".join(json.dumps(row, allow_nan=False) for row in rows)
    short.write_text(f"[\n{text}\n]\n", encoding="utf-8")
    short.replace(folder / "index.json")


def main(arguments: list[str] | None = None) -> int:
    """Run the command and return the exit code."""
    parser = argparse.ArgumentParser(
        prog="python -m chatter.lab.evaluate.folder", description=__doc__
    )
    parser.add_argument("out", type=Path, help="folder to write into")
    parser.add_argument("--count", type=int, default=100, help="how many (default: %(default)s)")
    parser.add_argument("--first", type=int, default=0, help="number of the first in the corpus")
    parser.add_argument("--seed", type=int, default=1, help="another number is another corpus")
    parser.add_argument("--ranges", choices=list(ALL), default="development")
    parser.add_argument(
        "--no-cutting", action="store_true", help="recordings of anything but cutting"
    )
    options = parser.parse_args(arguments)
    if options.count < 1 or options.first < 0 or options.seed < 0:
        parser.error("--count must be 1 or more, --first and --seed 0 or more")
    mixture = "no_cutting" if options.no_cutting else "mixture"
    corpus = Corpus(options.ranges, mixture, options.seed)
    made = make_corpus(options.out, corpus, options.first, options.count)
    print(f"{made} recordings with index.json in {options.out}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
