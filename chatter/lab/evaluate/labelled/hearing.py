"""Listening to a labelled collection, on all cores; what was heard is kept and can be resumed."""

from __future__ import annotations

import hashlib
import json
import time
import traceback
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from chatter.errors import ChatterError
from chatter.findings import Findings
from chatter.job.build import job_of, read_statement
from chatter.job.cut import Job
from chatter.lab.evaluate.code import HEARING, code_digest
from chatter.lab.evaluate.labelled.reading import LabelledRecording
from chatter.lab.evaluate.parallel import spread_calls, watched
from chatter.plain import from_plain, to_json


@dataclass(frozen=True)
class AnswerPass:
    """What the program said of one pass it found."""

    start_s: float
    end_s: float
    verdict: str
    also: tuple[str, ...]
    confidence: float
    probabilities: dict[str, float]
    rev_min: float
    speed_heard: bool
    contradiction: bool
    chatter_hz: float | None


@dataclass(frozen=True)
class Answer:
    """What the program said of one recording; ``error`` is its sentence when it refused it,
    ``crash`` the end of a traceback when it broke."""

    verdict: str
    confidence: float
    summary: str
    passes: tuple[AnswerPass, ...]
    error: str | None = None
    crash: str | None = None
    listen_s: float = 0.0

    @property
    def p_chatter(self) -> float:
        """Probability that something in the recording chatters: the likeliest pass."""
        return max((one.probabilities.get("chatter", 0.0) for one in self.passes), default=0.0)

    @property
    def names_chatter(self) -> bool:
        """Whether chatter is named, as the verdict or beside it."""
        return self.verdict == "chatter" or any(
            "chatter" in (one.verdict, *one.also) for one in self.passes
        )

    @property
    def contradicts(self) -> bool:
        """Whether the stated speed or tooth count is doubted."""
        return any(one.contradiction for one in self.passes)


def kept_answer(found: Findings, listen_s: float = 0.0) -> Answer:
    """Keep of the findings what is scored."""
    return Answer(
        verdict=found.verdict,
        confidence=found.confidence,
        summary=found.summary,
        passes=tuple(
            AnswerPass(
                start_s=one.start_s,
                end_s=one.end_s,
                verdict=one.verdict,
                also=tuple(one.also),
                confidence=one.confidence,
                probabilities={k: round(float(v), 6) for k, v in one.probabilities.items()},
                rev_min=one.spindle.rev_min,
                speed_heard=one.spindle.heard,
                contradiction=one.spindle.contradiction is not None
                or "another speed or tooth count" in (one.reason or ""),
                chatter_hz=None if one.chatter is None else one.chatter.frequency_hz,
            )
            for one in found.passes
        ),
        listen_s=round(listen_s, 3),
    )


def job_for(one: LabelledRecording) -> Job:
    """The job as it was stated.  Raises JobError."""
    return job_of(read_statement({"cut.speed": f"{one.rev_min:g}", "cutter.teeth": one.teeth}))


def hear_labelled(place: int, path: Path, job: Job) -> tuple[int, Answer]:
    """Listen to one recording; a refusal and a crash are answers too."""
    from chatter.listening.front import listen

    began = time.perf_counter()
    try:
        found = listen(path, job).findings
    except ChatterError as refused:
        return place, Answer("cannot_tell", 0.0, "", (), error=str(refused))
    except Exception:  # a crash is a result here: counted, shown, never hidden
        crash = traceback.format_exc(limit=-4)
        return place, Answer("cannot_tell", 0.0, "", (), crash=crash)
    return place, kept_answer(found, time.perf_counter() - began)


def hear_collection(
    recordings: Sequence[LabelledRecording],
    *,
    jobs: int = 0,
    cache: Path | None = None,
    work: Callable[[int, Path, Job], tuple[int, Answer]] = hear_labelled,
) -> tuple[Answer, ...]:
    """An answer for every recording, in their order.

    Parameters
    ----------
    recordings : sequence of LabelledRecording
    jobs : int
        Processes; 0 means one per core.
    cache : Path, optional
        Folder for what was heard, by the state of the code that hears: what is there already
        is not heard again.
    work : callable
        What listens; importable by name.

    Raises
    ------
    JobError
        A stated speed or tooth count cannot be.
    """
    store = None if cache is None else cache / f"labelled-{code_digest((*HEARING, 'job'))}.jsonl"
    known = _kept(store)
    asked = [(one, job_for(one)) for one in recordings]
    keys = [_key(one) for one in recordings]
    todo = [(i, one.path, job) for i, (one, job) in enumerate(asked) if keys[i] not in known]
    done = len(asked) - len(todo)
    for place, answer in watched(
        spread_calls(work, todo, jobs=jobs), "listening", len(asked), done=done
    ):
        known[keys[place]] = answer
        if store is not None and answer.crash is None:
            store.parent.mkdir(parents=True, exist_ok=True)
            with store.open("a", encoding="utf-8") as out:
                line = to_json({"key": keys[place], "answer": answer}, indent=None)
                out.write(f"{line}\n")
    return tuple(known[key] for key in keys)


def _key(one: LabelledRecording) -> str:
    """What an answer depends on beside the code: the sound, and what is stated of it."""
    digest = hashlib.sha256(one.path.read_bytes())
    digest.update(f"{one.rev_min!r} {one.teeth}".encode())
    return digest.hexdigest()


def _kept(store: Path | None) -> dict[str, Answer]:
    """What was heard earlier; a line torn by a kill is passed over."""
    if store is None or not store.is_file():
        return {}
    known = {}
    for line in store.read_text(encoding="utf-8").splitlines():
        try:
            told = json.loads(line)
            known[told["key"]] = from_plain(Answer, told["answer"])
        except (ValueError, TypeError, KeyError):
            continue
    return known
