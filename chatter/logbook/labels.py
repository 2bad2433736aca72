"""Labels: what a pass really was, who says so, and how it is known.

Labels are added, never overwritten.  Of one person's labels of one pass the newest counts;
different people stand beside each other.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from chatter.errors import BookError
from chatter.findings import CAUSES, Findings, Pass
from chatter.job.words import choose_word
from chatter.logbook.book import Book
from chatter.logbook.collection import LABEL_WORDS, NOT_SURE, how_known_of
from chatter.logbook.rows import LabelRow, ListenRow, RecordingRow

#: What a pass can be said to have been.
SAYABLE = (*CAUSES, NOT_SURE)
#: How a label is known, in words.
HOW_SAID = {
    "heard": "by ear",
    "seen_on_faces": "seen on the faces",
    "cured_by_change": "cured by a change",
    "indicator": "by an indicator reading",
    "simulated": "made by a program",
}
#: Share of what either covers, from which a pass found now is the one a label was of.
_SAME_PASS = 0.5

Key = str | int


def add_label(
    book: Book,
    recording: RecordingRow | Key,
    verdict: str,
    *,
    cure: str = "",
    pass_index: int | None = None,
    by: str = "",
    note: str = "",
    how_known: str = "",
    blind: bool = False,
) -> LabelRow:
    """Store what a recording, or one pass of it, really was.

    The pass is remembered by where it lay in the newest listen, so that the label stays with
    the sound when a later listen counts the passes otherwise.

    Parameters
    ----------
    book : Book
    recording : row, number, name or hash
    verdict : str
        One of ``SAYABLE``.
    cure : str
        What made it stop.
    pass_index : int, optional
        Counts from 1; None is the whole recording.
    by : str
        Initials.
    note : str
    how_known : str
        One of ``chatter.logbook.collection.HOW_KNOWN``.
    blind : bool
        Said before the program's answer was seen.

    Raises
    ------
    BookError
        No such recording, no such pass in its newest listen, or an unknown way of knowing.
    JobError
        The verdict is not known.
    """
    row = book.get(RecordingRow, recording)
    known = {word: key for word, key in LABEL_WORDS.items() if key in SAYABLE}
    said = choose_word(verdict, "verdict", SAYABLE, known)
    span = (None, None) if pass_index is None else _span(book, row, pass_index)
    return book.add(
        LabelRow(
            recording=row.uid,
            verdict=said,
            cure=cure.strip(),
            pass_index=pass_index,
            by=" ".join(by.split()),
            note=note.strip(),
            how_known=how_known_of(how_known) if how_known else "",
            start_s=span[0],
            end_s=span[1],
            blind=blind,
        )
    )


def _span(book: Book, row: RecordingRow, index: int) -> tuple[float | None, float | None]:
    """Where a pass lies in the newest listen; unknown when nobody listened."""
    if index < 1:
        raise BookError(f"There is no pass {index}: passes are counted from 1.")
    listens = book.list(ListenRow, recording=row)
    if not listens:
        return None, None
    passes = listens[-1].findings.passes
    for one_pass in passes:
        if one_pass.index == index:
            return one_pass.start_s, one_pass.end_s
    count = f"{len(passes)} pass{'es' if len(passes) != 1 else ''}" if passes else "no pass"
    raise BookError(
        f"Recording {row.number} ({row.name}) has {count} as last heard, and none of number "
        f"{index}: name one of those, or leave --pass out to label the whole recording."
    )


def same_words(book: Book, label: LabelRow) -> str | None:
    """A sentence when the same initials said something else of the same pass before."""
    others = [
        other
        for other in book.each(LabelRow, recording=label.recording, pass_index=label.pass_index)
        if other.by.lower() == label.by.lower() and other.uid != label.uid
    ]
    if not others or others[-1].verdict == label.verdict:
        return None
    who = label.by or "Somebody without initials"
    return (
        f"{who} said '{others[-1].verdict.replace('_', ' ')}' of this before: both are kept and "
        "the newer counts; if these are two people, give them different initials."
    )


@dataclass(frozen=True)
class PassLabels:
    """What was said of one pass as it is found now."""

    one_pass: Pass
    labels: tuple[LabelRow, ...]  # the newest of each person, in the order they were said


def counting(labels: Iterable[LabelRow]) -> tuple[LabelRow, ...]:
    """Of each person's labels the newest."""
    kept: dict[str, LabelRow] = {}
    for label in labels:
        kept.pop(label.by.lower(), None)
        kept[label.by.lower()] = label
    return tuple(kept.values())


def by_pass(
    labels: Sequence[LabelRow], findings: Findings | None
) -> tuple[tuple[PassLabels, ...], tuple[LabelRow, ...]]:
    """Labels of one recording put to the passes of a listen.

    Parameters
    ----------
    labels : sequence of LabelRow
    findings : Findings or None

    Returns
    -------
    of_passes : tuple of PassLabels
        One for every pass that somebody labelled.  A label of the whole recording counts for
        its only pass, when there is one.
    left : tuple of LabelRow
        Labels of the whole recording, and of passes that are not found any more.
    """
    passes = () if findings is None else findings.passes
    of: dict[int, list[LabelRow]] = {}
    left = []
    for label in labels:
        one_pass = _pass_of(label, passes)
        if one_pass is None:
            left.append(label)
        else:
            of.setdefault(one_pass.index, []).append(label)
    of_passes = tuple(
        PassLabels(one_pass, counting(of[one_pass.index]))
        for one_pass in passes
        if one_pass.index in of
    )
    return of_passes, tuple(left)


def _pass_of(label: LabelRow, passes: Sequence[Pass]) -> Pass | None:
    if label.pass_index is None:
        return passes[0] if len(passes) == 1 else None
    if label.start_s is None or label.end_s is None:  # said before anybody listened, or long ago
        return next((one for one in passes if one.index == label.pass_index), None)
    best = max(passes, key=lambda one: _overlap(label, one), default=None)
    return best if best is not None and _overlap(label, best) > _SAME_PASS else None


def _overlap(label: LabelRow, one_pass: Pass) -> float:
    start, end = float(label.start_s or 0.0), float(label.end_s or 0.0)
    shared = min(end, one_pass.end_s) - max(start, one_pass.start_s)
    union = max(end, one_pass.end_s) - min(start, one_pass.start_s)
    return max(shared, 0.0) / union if union > 0 else 0.0


def lost(label: LabelRow) -> str:
    """The sentence for a label whose pass the newest listen does not find."""
    where = "" if label.start_s is None else f" at {label.start_s:.1f} to {label.end_s:.1f} s"
    return (
        f"Label {label.number} ({label.verdict.replace('_', ' ')}) is of pass {label.pass_index}"
        f"{where}, which the newest listen does not find: it is kept, and does not count until a "
        "listen finds that pass again."
    )


def label_words(label: LabelRow) -> str:
    """One label in words."""
    by = f", says {label.by}" if label.by else ""
    how = f", {HOW_SAID[label.how_known]}" if label.how_known in HOW_SAID else ""
    blind = ", said blind" if label.blind else ""
    cure = f"; cured by: {label.cure}" if label.cure else ""
    note = f"; {label.note}" if label.note else ""
    really = label.verdict.replace("_", " ")
    return f"label {label.number}, really: {really}{by}{how}{blind}{cure}{note}"
