"""Kept recordings: made once, listened to as often as the detector changes.

Making a recording takes several times as long as listening to it.  A kept one is used again
as long as the corpus and the code that makes recordings are the same.
"""

from __future__ import annotations

import json
import shutil
from pathlib import Path

from chatter.lab.evaluate.code import MAKING, code_digest
from chatter.lab.evaluate.corpus import Corpus, CorpusItem
from chatter.lab.simulate.truth import Truth
from chatter.plain import from_plain, to_json


def place_of(keep: Path, corpus: Corpus) -> Path:
    """Folder of one corpus as made by the present code."""
    return keep / f"{corpus.name}-{corpus.fingerprint()}-{code_digest(MAKING)}"


def kept_item(keep: Path, corpus: Corpus, index: int) -> CorpusItem | None:
    """Return the kept item, or None when it must be made."""
    beside = place_of(keep, corpus) / f"{index:05d}.truth.json"
    if not beside.exists():
        return None
    told = json.loads(beside.read_text(encoding="utf-8"))
    return CorpusItem(index, from_plain(Truth, told["truth"]), beside.parent / told["file"])


def keep_item(keep: Path, corpus: Corpus, item: CorpusItem) -> CorpusItem:
    """Copy an item into its place; the truth last, so that half an item is none."""
    place = place_of(keep, corpus)
    place.mkdir(parents=True, exist_ok=True)
    path = place / f"{item.index:05d}{item.path.suffix}"
    shutil.copy(item.path, path)
    beside = place / f"{item.index:05d}.truth.json"
    half = beside.with_suffix(".half")
    told = {"file": path.name, "truth": item.truth}
    half.write_text(to_json(told, indent=1), encoding="utf-8")
    half.replace(beside)
    return CorpusItem(item.index, item.truth, path)
