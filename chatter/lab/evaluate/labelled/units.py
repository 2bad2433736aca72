"""What is scored: whole recordings, and passes; what was said beside what the program answered.

A found pass is a labelled one when they overlap over half, counted as what both share of what
either covers; the best overlap first, one to one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from chatter.lab.evaluate.labelled.hearing import Answer, AnswerPass
from chatter.lab.evaluate.labelled.reading import LabelledRecording, Said, SaidPass

#: Overlap over union above which a found pass is a labelled one.
OVERLAP = 0.5
#: Probability from which a wrong answer is confident and wrong.
CONFIDENT = 0.8


@dataclass(frozen=True)
class Unit:
    """One recording or one pass; ``weight`` makes the passes of a recording count as one."""

    recording: int
    said: Said
    verdict: str
    named: frozenset[str]  # the verdict and what is said to hold beside it
    confidence: float
    p_chatter: float
    weight: float = 1.0
    found: AnswerPass | None = None

    @property
    def answered(self) -> bool:
        """Whether there is a verdict."""
        return self.verdict != "cannot_tell"

    @property
    def judged(self) -> bool:
        """Whether anything is known that the answer can be held against."""
        return bool(self.said.accept)

    @property
    def right(self) -> bool:
        """An answer that is not wrong."""
        return self.answered and self.verdict in self.said.accept

    @property
    def wrong(self) -> bool:
        """An answer that is not defensible."""
        return self.answered and self.judged and self.verdict not in self.said.accept

    @property
    def confident(self) -> bool:
        """An answer at 0.8 or more."""
        return self.answered and self.confidence >= CONFIDENT


@dataclass(frozen=True)
class Matched:
    """The passes of one recording: labelled ones with what was found, and what is left."""

    pairs: tuple[tuple[SaidPass, AnswerPass | None], ...]
    spare: tuple[AnswerPass, ...]

    @property
    def found(self) -> int:
        """Labelled passes that were found."""
        return sum(found is not None for _, found in self.pairs)

    @property
    def too_many(self) -> int:
        """Passes found beyond those labelled; a stretch told as the machine alone is none."""
        return sum(one.verdict != "machine_only" for one in self.spare)


def match_labels(said: Sequence[SaidPass], found: Sequence[AnswerPass]) -> Matched:
    """Match passes one to one, the best overlap first."""
    overlaps = sorted(
        ((_overlap(s, f), -i, -j) for i, s in enumerate(said) for j, f in enumerate(found)),
        reverse=True,
    )
    of: dict[int, int] = {}
    for overlap, i, j in overlaps:
        if overlap > OVERLAP and -i not in of and -j not in of.values():
            of[-i] = -j
    return Matched(
        tuple((s, found[of[i]] if i in of else None) for i, s in enumerate(said)),
        tuple(f for j, f in enumerate(found) if j not in of.values()),
    )


def _overlap(one: SaidPass, other: AnswerPass) -> float:
    shared = min(one.end_s, other.end_s) - max(one.start_s, other.start_s)
    union = max(one.end_s, other.end_s) - min(one.start_s, other.start_s)
    return max(shared, 0.0) / union if union > 0 else 0.0


def of_recordings(
    recordings: Sequence[LabelledRecording], answers: Sequence[Answer]
) -> tuple[Unit, ...]:
    """One unit a recording."""
    return tuple(
        Unit(
            recording=i,
            said=one.said,
            verdict=answer.verdict,
            named=frozenset({answer.verdict, *({"chatter"} if answer.names_chatter else ())}),
            confidence=answer.confidence,
            p_chatter=answer.p_chatter,
        )
        for i, (one, answer) in enumerate(zip(recordings, answers, strict=True))
    )


def of_passes(
    recordings: Sequence[LabelledRecording], answers: Sequence[Answer]
) -> tuple[Unit, ...]:
    """One unit a labelled pass, found or not, and one a pass heard where nothing was cut."""
    made: list[Unit] = []
    for i, (one, answer) in enumerate(zip(recordings, answers, strict=True)):
        found = match_labels(one.passes, answer.passes)
        pairs = [(said.said, heard) for said, heard in found.pairs]
        if one.complete and not one.passes and one.said.label == "machine_only":
            pairs += [(one.said, heard) for heard in found.spare]
        made += [_unit(i, said, heard, 1.0 / len(pairs)) for said, heard in pairs]
    return tuple(made)


def _unit(recording: int, said: Said, heard: AnswerPass | None, weight: float) -> Unit:
    if heard is None:
        return Unit(recording, said, "cannot_tell", frozenset(), 0.0, 0.0, weight)
    return Unit(
        recording=recording,
        said=said,
        verdict=heard.verdict,
        named=frozenset({heard.verdict, *heard.also}),
        confidence=heard.confidence,
        p_chatter=heard.probabilities.get("chatter", 0.0),
        weight=weight,
        found=heard,
    )
