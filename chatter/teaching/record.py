"""How often the program was right on a machine, by the labels of its cuts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from chatter.errors import ChatterError
from chatter.findings import VERDICTS
from chatter.logbook import Book, LabelRow, MachineRow, latest_listens
from chatter.logbook.labels import by_pass, lost
from chatter.teaching.cases import Case, labelled_passes
from chatter.teaching.keeping import tuning_of
from chatter.teaching.shares import Share
from chatter.teaching.tuning import FEWEST, Tuning

if TYPE_CHECKING:
    from chatter.job.cut import Job


_GRAVITY = ("chatter", "side_rubbing", "uneven_teeth", "normal", "machine_only", "cannot_tell")


@dataclass(frozen=True)
class Step:
    """Advice that was followed up: a cut, what was said to do, and the next cut with the cutter."""

    before: int  # numbers of recordings
    after: int
    verdict: str
    action: str  # what was suggested first
    verdict_after: str
    better: bool | None  # None: one of the two could not be told
    changed: tuple[str, ...]  # what was stated otherwise the next time


@dataclass(frozen=True)
class Record:
    """The record of one machine, or of the whole book."""

    machine: str  # name, "" for all
    labelled: int
    divided: int  # passes on which people do not agree
    by_verdict: dict[str, Share]  # answer -> right of those given
    by_label: dict[str, Share]  # label -> answered so, of all
    blind: Share  # right of answered, where the label was said before the answer was seen
    wrong: tuple[Case, ...]  # to listen to again
    steps: tuple[Step, ...]
    better: Share
    lost: tuple[str, ...]
    tuning: Tuning | None

    @property
    def right(self) -> Share:
        """Right of all answers given."""
        given = self.by_verdict.values()
        return Share(sum(one.hits for one in given), sum(one.total for one in given))

    @property
    def teaches(self) -> str:
        """How the tuning stands, in words."""
        if self.tuning is None or self.tuning.labels < FEWEST:
            need = FEWEST - (self.tuning.labels if self.tuning else self.labelled)
            more = max(need, 1)
            return f"Nothing is tuned yet: {more} more labelled cut{'s' * (more != 1)} are needed."
        if self.tuning.kind == "none":
            return f"Nothing is tuned: {self.tuning.why}."
        return (
            f"Sureness is tuned by {self.tuning.labels} labelled cuts ({self.tuning.kind}): "
            f"{self.tuning.why}."
        )


def record_of(book: Book, machine: MachineRow | None = None) -> Record:
    """The record by the newest listens and labels.

    Parameters
    ----------
    book : Book
    machine : MachineRow, optional
        None: everything in the book.

    Raises
    ------
    BookError
    """
    every = list(labelled_passes(book, machine))
    cases = [one for one in every if one.label]
    answered = [one for one in cases if one.answered]
    blind = [one for one in answered if any(label.blind for label in one.labels)]
    steps = _steps(book, machine)
    return Record(
        machine="" if machine is None else machine.name,
        labelled=len(cases),
        divided=len(every) - len(cases),
        by_verdict=_shares(answered, "verdict"),
        by_label=_shares(cases, "label"),
        blind=Share(sum(one.right for one in blind), len(blind)),
        wrong=tuple(sorted((one for one in answered if not one.right), key=_surest)),
        steps=steps,
        better=Share(
            sum(bool(one.better) for one in steps), sum(one.better is not None for one in steps)
        ),
        lost=_lost(book, machine),
        tuning=tuning_of(book, machine),
    )


def _surest(case: Case) -> float:
    return -case.confidence


def _shares(cases: Sequence[Case], name: str) -> dict[str, Share]:
    values = {getattr(case, name) for case in cases}
    shares = {}
    for value in VERDICTS:
        of = [case for case in cases if getattr(case, name) == value]
        if value in values:
            shares[value] = Share(sum(case.right for case in of), len(of))
    return shares


def _lost(book: Book, machine: MachineRow | None) -> tuple[str, ...]:
    """Labels of passes that are not found any more."""
    said: dict[str, list[LabelRow]] = {}
    for label in book.each(LabelRow):
        if label.pass_index is not None:
            said.setdefault(label.recording, []).append(label)
    if not said:
        return ()
    sentences = []
    for heard in latest_listens(book, machine=machine):
        labels = said.get(heard.recording.uid)
        if not labels:
            continue
        try:
            _, left = by_pass(labels, heard.listen.findings)
        except ChatterError:
            continue
        sentences += [f"Recording {heard.recording.number}: {lost(label)}" for label in left]
    return tuple(sentences)


def _steps(book: Book, machine: MachineRow | None) -> tuple[Step, ...]:
    """Each cut with a fault, and the next cut with the same cutter on the same machine."""
    last: dict[tuple[str, str], tuple] = {}
    steps = []
    for heard in latest_listens(book, machine=machine, kind="cut"):
        on = (heard.recording.machine or heard.job.machine or "", heard.job.cutter or "")
        try:
            findings, job = heard.listen.findings, heard.job.job
        except ChatterError:
            continue
        before = last.get(on)
        last[on] = (heard, findings, job)
        if before is None or before[1].verdict not in _GRAVITY[:3]:
            continue
        steps.append(
            Step(
                before=before[0].recording.number,
                after=heard.recording.number,
                verdict=before[1].verdict,
                action=before[1].suggestions[0].action if before[1].suggestions else "",
                verdict_after=findings.verdict,
                better=_better(before[1].verdict, findings.verdict),
                changed=_changed(before[2], job),
            )
        )
    return tuple(steps)


def _better(before: str, after: str) -> bool | None:
    """A lesser fault, or none; the machine alone and "can't tell" say nothing of the cut."""
    if after in ("cannot_tell", "machine_only"):
        return None
    return _GRAVITY.index(after) > _GRAVITY.index(before)


def _changed(job: Job, other: Job) -> tuple[str, ...]:
    """What was stated otherwise, in words."""
    words = {
        "speed_rev_min": "speed",
        "depth_m": "depth",
        "width_m": "width",
        "feed_m_s": "feed",
        "direction": "direction",
        "overhang_m": "overhang",
    }
    changed = [
        said for name, said in words.items() if getattr(job.cut, name) != getattr(other.cut, name)
    ]
    if job.cutter.teeth != other.cutter.teeth:
        changed.append("number of teeth")
    return tuple(changed)
