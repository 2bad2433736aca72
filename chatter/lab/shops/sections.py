"""What the command prints."""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator, Sequence

import numpy as np

from chatter.errors import OutputError
from chatter.findings import CAUSES
from chatter.lab.evaluate.parallel import spread_calls, watched
from chatter.lab.shops.run import LATER, Row, learning_table, one_shop
from chatter.teaching.tuning import LEAST

_WORDS = {
    "accuracy": "right, of answered",
    "confident_wrong": "confident and wrong, of all",
    "calibration": "calibration error",
    "answered": "answered, of all",
}


def shops_section(told: argparse.Namespace) -> int:
    """The table of untaught and taught shops."""
    if told.sound:
        from chatter.lab.shops.sound import sound_shop as work
    else:
        work = one_shop
    asked = [(told.seed, i, told.wrong) for i in range(told.shops)]
    shops = list(watched(spread_calls(work, asked, jobs=told.jobs), "shops", len(asked)))
    how = "with sound" if told.sound else f"no sound; {LATER} later passes a shop"
    print(f"{told.shops} invented shops ({how}), {100 * told.wrong:g} % of the labels wrong")
    print("means over shops with 95 % intervals by drawing shops again\n")
    print("\n".join(learning_lines(learning_table(shops))))
    return 0


def learning_lines(rows: Sequence[Row]) -> Iterator[str]:
    """The table as text."""
    yield f"{'labels':>6s}  {'figure':28s} {'untaught':>24s} {'taught':>24s} {'change':>26s}  taken"
    for row in rows:
        cells = [f"{m:.3f} ({a:.3f} to {b:.3f})" for m, a, b in (row.untaught, row.taught)]
        m, a, b = row.change
        yield (
            f"{row.labels:6d}  {_WORDS[row.figure]:28s} {cells[0]:>24s} {cells[1]:>24s} "
            f"{f'{m:+.3f} ({a:+.3f} to {b:+.3f})':>26s}  {100 * row.taken:.0f} %"
        )


def learn_section(told: argparse.Namespace) -> int:
    """outcomes.toml from what was heard in labelled recordings.

    Raises OutputError when the file is not such a JSON.
    """
    try:
        answers = json.loads(told.learn.read_text(encoding="utf-8"))["answers"]
        found: dict[str, list[list[float]]] = {cause: [] for cause in CAUSES}
        for one in answers:
            for p in one["passes"]:
                if one["label"] in found:
                    odds = np.clip([p["probabilities"][c] for c in CAUSES], LEAST, 1 - LEAST)
                    found[one["label"]].append(list(np.log(odds / (1 - odds))))
    except (OSError, ValueError, KeyError, TypeError) as wrong:
        raise OutputError(
            f"'{told.learn}' is not what 'evaluate --labelled' writes ({str(wrong)[:60]}): name "
            "its JSON."
        ) from None
    few = [cause for cause, rows in found.items() if len(rows) < 8]
    if few:
        raise OutputError(f"There are fewer than 8 passes of {', '.join(few)}: label more.")
    print(f"causes = {json.dumps(list(CAUSES))}\nsilent = 0.2")
    total = sum(len(rows) for rows in found.values())
    for cause, rows in found.items():
        x = np.array(rows)
        print(f"\n[{cause}]\nshare = {len(rows) / total:.3f}")
        print(f"mean = {[round(float(v), 2) for v in x.mean(axis=0)]}")
        print(f"sd = {[round(float(v), 2) for v in x.std(axis=0)]}")
    return 0


def voice_section(told: argparse.Namespace) -> int:
    """False and true chatter on machines that whine, without and with one idle recording."""
    from chatter.lab.shops.whine import voice_lines, voice_trial

    asked = [(told.seed, i, kind) for i in range(told.voice) for kind in ("normal", "chatter_hopf")]
    found = list(watched(spread_calls(voice_trial, asked, jobs=told.jobs), "cuts", len(asked)))
    print("\n".join(voice_lines(found)))
    return 0
