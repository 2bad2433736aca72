"""Run: every item is made, listened to, scored and deleted, on all cores, and can be resumed."""

from __future__ import annotations

import hashlib
import json
import shutil
import tempfile
import time
import traceback
from collections.abc import Sequence
from pathlib import Path

from chatter.errors import ChatterError
from chatter.evaluate.corpus import Corpus, make_item
from chatter.evaluate.outcome import Outcome, from_plain, outcome_of, to_plain
from chatter.evaluate.parallel import spread, watched

#: Rooms whose code decides an outcome; a change in any starts the cache anew.
_ROOMS = ("simulate", "sound", "listening", "job", "findings.py", "listen.py")


def code_digest() -> str:
    """Digest of the code and data that an outcome depends on."""
    house = Path(__file__).resolve().parent.parent
    digest = hashlib.sha256()
    for room in _ROOMS:
        place = house / room
        paths = [place] if place.is_file() else sorted(place.rglob("*"))
        for path in paths:
            if path.suffix in (".py", ".json", ".toml"):
                digest.update(str(path.relative_to(house)).encode())
                digest.update(path.read_bytes())
    return digest.hexdigest()[:12]


def run_item(corpus: Corpus, index: int, keep: Path | None = None) -> Outcome:
    """Make one item, listen to it, delete it.

    Parameters
    ----------
    corpus : Corpus
    index : int
    keep : Path, optional
        Folder that receives the recording and its truth instead of the bin.

    Returns
    -------
    Outcome
    """
    from chatter.listen import listen

    began = time.perf_counter()
    with tempfile.TemporaryDirectory(prefix="chatter-evaluate-") as folder:
        item = make_item(corpus, index, Path(folder))
        made = time.perf_counter()
        findings = error = crash = None
        try:
            findings = listen(item.path, item.truth.job).findings
        except ChatterError as refused:
            error = str(refused)
        except Exception:  # a crash is a result here: counted, shown, never hidden
            crash = traceback.format_exc(limit=-4)
        heard = time.perf_counter()
        outcome = outcome_of(
            index, item.truth, findings, make_s=made - began, listen_s=heard - made,
            error=error, crash=crash,
        )  # fmt: skip
        if keep is not None:
            shutil.copy(item.path, keep / item.path.name)
            beside = keep / f"{item.path.stem}.outcome.json"
            beside.write_text(json.dumps(to_plain(outcome), indent=1), encoding="utf-8")
    return outcome


def run(
    corpus: Corpus,
    indices: Sequence[int],
    *,
    jobs: int = 0,
    cache: Path | None = None,
    keep: Path | None = None,
) -> list[Outcome]:
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
        Folder to keep the recordings in; all are then made anew.

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
        keep.mkdir(parents=True, exist_ok=True)
        todo = wanted
    out = store.open("a", encoding="utf-8") if store is not None else None
    if out is not None and out.tell():
        out.write("\n")  # ends a line that a kill may have torn
    try:
        made = spread(run_item, [(corpus, index, keep) for index in todo], jobs=jobs)
        for outcome in watched(made, corpus.name, len(wanted), done=len(wanted) - len(todo)):
            if out is not None and outcome.index not in stored:
                out.write(json.dumps(to_plain(outcome)) + "\n")
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


def _kept(store: Path | None) -> list[Outcome]:
    """Outcomes of an earlier run; a line torn by a kill is passed over."""
    if store is None or not store.exists():
        return []
    kept = []
    for line in store.read_text(encoding="utf-8").splitlines():
        if not line:
            continue
        try:
            kept.append(from_plain(json.loads(line)))
        except (json.JSONDecodeError, TypeError, KeyError):
            continue
    return kept
