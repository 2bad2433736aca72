"""Run: every item is made, listened to, scored and deleted, on all cores, and can be resumed."""

from __future__ import annotations

import json
import tempfile
import time
import traceback
from collections.abc import Sequence
from pathlib import Path

from chatter.errors import ChatterError
from chatter.lab.evaluate.code import code_digest
from chatter.lab.evaluate.corpus import Corpus, make_item
from chatter.lab.evaluate.kept import keep_item, kept_item
from chatter.lab.evaluate.outcome import RecordingOutcome, recording_outcome
from chatter.lab.evaluate.parallel import spread_calls, watched
from chatter.plain import from_plain, to_json


def run_item(corpus: Corpus, index: int, keep: Path | None = None) -> RecordingOutcome:
    """Make one item, listen to it, delete it.

    Parameters
    ----------
    corpus : Corpus
    index : int
    keep : Path, optional
        Folder of kept recordings: taken from there when it is there, put there when not.

    Returns
    -------
    Outcome
    """
    from chatter.listening.front import listen

    began = time.perf_counter()
    with tempfile.TemporaryDirectory(prefix="chatter-evaluate-") as folder:
        item = kept_item(keep, corpus, index) if keep else None
        if item is None:
            item = make_item(corpus, index, Path(folder))
            item = keep_item(keep, corpus, item) if keep else item
        made = time.perf_counter()
        heard = error = crash = None
        try:
            heard = listen(item.path, item.truth.job)
        except ChatterError as refused:
            error = str(refused)
        except Exception:  # a crash is a result here: counted, shown, never hidden
            crash = traceback.format_exc(limit=-4)
        done = time.perf_counter()
        outcome = recording_outcome(
            index, item.truth, heard, make_s=made - began, listen_s=done - made,
            error=error, crash=crash,
        )  # fmt: skip
    return outcome


def run_corpus(
    corpus: Corpus,
    indices: Sequence[int],
    *,
    jobs: int = 0,
    cache: Path | None = None,
    keep: Path | None = None,
) -> list[RecordingOutcome]:
    """Outcomes of some items of a corpus.

    Parameters
    ----------
    corpus : Corpus
    indices : sequence of int
    jobs : int
        Processes; 0 means one per core.
    cache : Path, optional
        Folder of JSON lines, one file per corpus and state of the code: what is there is
        not made again.
    keep : Path, optional
        Folder to keep the recordings in; those kept there already are not made again.

    Returns
    -------
    list of Outcome
        In the order of their indices.
    """
    store = _store(corpus, cache)
    wanted = sorted(set(indices))
    done = {one.index: one for one in _kept(store)}
    stored = set(done)
    todo = [index for index in wanted if index not in done]
    if keep is not None:
        todo = [i for i in wanted if i not in done or kept_item(keep, corpus, i) is None]
    out = store.open("a", encoding="utf-8") if store is not None else None
    if out is not None and out.tell():
        out.write("\n")  # ends a line that a kill may have torn
    try:
        made = spread_calls(run_item, [(corpus, index, keep) for index in todo], jobs=jobs)
        for outcome in watched(made, corpus.name, len(wanted), done=len(wanted) - len(todo)):
            if out is not None and outcome.index not in stored:
                out.write(to_json(outcome, indent=None) + "\n")
                out.flush()
            done[outcome.index] = outcome
    finally:
        if out is not None:
            out.close()
    return [done[index] for index in wanted]


def _store(corpus: Corpus, cache: Path | None) -> Path | None:
    if cache is None:
        return None
    cache.mkdir(parents=True, exist_ok=True)
    return cache / f"{corpus.name}-{corpus.fingerprint()}-{code_digest()}.jsonl"


def _kept(store: Path | None) -> list[RecordingOutcome]:
    """Outcomes of an earlier run; a line torn by a kill is passed over."""
    if store is None or not store.exists():
        return []
    kept = []
    for line in store.read_text(encoding="utf-8").splitlines():
        if not line:
            continue
        try:
            kept.append(from_plain(RecordingOutcome, json.loads(line)))
        except ValueError:
            continue
    return kept
