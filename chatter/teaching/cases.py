"""Labelled passes of the book: what people said beside what the program answered."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from chatter.errors import ChatterError
from chatter.findings import CAUSES
from chatter.logbook import Book, LabelRow, MachineRow, RecordingRow, latest_listens
from chatter.logbook.collection import NOT_SURE
from chatter.logbook.labels import by_pass

#: How often a label is wrong, by how it is known.  Two practised people agree on chatter in
#: 88.5 % of passes: each is then wrong in 6 %, if they err apart.  The rest: common practice,
#: no source.
LABEL_ERROR = {
    "": 0.08,
    "heard": 0.08,
    "seen_on_faces": 0.05,
    "cured_by_change": 0.05,
    "indicator": 0.03,
    "simulated": 0.01,
}


@dataclass(frozen=True)
class Case:
    """One labelled pass.

    ``probabilities`` are those before any tuning; ``label`` is "" when people are divided.
    """

    machine: str  # uid, "" for none
    recording: int  # number in the book
    name: str  # of the file
    day: str
    pass_index: int
    start_s: float
    end_s: float
    label: str
    labels: tuple[LabelRow, ...]
    error: float  # how often a label like this is wrong
    probabilities: dict[str, float]
    verdict: str
    confidence: float

    @property
    def answered(self) -> bool:
        """Whether the program gave a verdict."""
        return self.verdict != "cannot_tell"

    @property
    def right(self) -> bool:
        """Whether it is the one people gave."""
        return self.answered and self.verdict == self.label


def labelled_passes(book: Book, machine: MachineRow | None = None) -> Iterator[Case]:
    """Labelled passes by the newest listen of each recording, in order of time.

    Parameters
    ----------
    book : Book
    machine : MachineRow, optional
        Only of this machine.

    Notes
    -----
    Passes that people are not sure of, and listens of a form this program does not read any
    more, are left out.  Raises BookError.
    """
    said: dict[str, list[LabelRow]] = {}
    for label in book.each(LabelRow):
        said.setdefault(label.recording, []).append(label)
    if not said:
        return
    for heard in latest_listens(book, machine=machine, kind="cut"):
        labels = said.get(heard.recording.uid)
        if not labels:
            continue
        try:
            findings = heard.listen.findings
        except ChatterError:
            continue
        for labelled in by_pass(labels, findings)[0]:
            if all(each.verdict == NOT_SURE for each in labelled.labels):
                continue
            yield Case(
                machine=heard.recording.machine or heard.job.machine or "",
                recording=heard.recording.number,
                name=heard.recording.name,
                day=_day(heard.recording),
                pass_index=labelled.one_pass.index,
                start_s=labelled.one_pass.start_s,
                end_s=labelled.one_pass.end_s,
                label=agreed(labelled.labels),
                labels=labelled.labels,
                error=min(LABEL_ERROR.get(each.how_known, 0.08) for each in labelled.labels),
                probabilities=dict(labelled.one_pass.untuned or labelled.one_pass.probabilities),
                verdict=labelled.one_pass.verdict,
                confidence=labelled.one_pass.confidence,
            )


def agreed(labels: Sequence[LabelRow]) -> str:
    """What most people say; "" when they are divided or nobody is sure."""
    votes = Counter(one.verdict for one in labels if one.verdict in CAUSES).most_common()
    if not votes or (len(votes) > 1 and votes[0][1] == votes[1][1]):
        return ""
    return votes[0][0]


def _day(recording: RecordingRow) -> str:
    when = datetime.fromisoformat(recording.recorded_at or recording.created_at)
    return when.astimezone().date().isoformat()
