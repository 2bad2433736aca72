"""From evidence to probabilities, and from probabilities to a verdict.

Each cause has its own logistic model over the pieces' scores: more than one cause may
hold.  The numbers stand in ``model.json`` beside this file, with the command that made
them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from chatter.findings import CAUSES, Evidence
from chatter.listening.evidence import pieces
from chatter.listening.model import model, probability, scores

#: A verdict below this probability is not given.
TELL = 0.65
#: Revolutions below which nothing tied to the turn can be said.
FEWEST_TURNS = 8.0
_FAULTS = ("chatter", "side_rubbing", "uneven_teeth")


@dataclass(frozen=True)
class Opinion:
    """What the evidence says of one pass."""

    verdict: str
    also: tuple[str, ...]
    confidence: float
    probabilities: dict[str, float]
    reason: str | None


def judge(
    measures: dict[str, float], *, speed_heard: bool, unfit: str | None, turn_s: float
) -> Opinion:
    """Verdict of one pass.

    Parameters
    ----------
    measures : dict
        From ``measures.measure``.
    speed_heard : bool
    unfit : str or None
        Why the recording cannot carry a verdict, if so.
    turn_s : float
        Time of one revolution, to say how long a recording should be.
    """
    score = scores(measures)
    p = {name: probability(model()[name], score) for name in ("cutting", *_FAULTS)}
    cutting = p["cutting"]
    faults = {name: cutting * p[name] for name in _FAULTS}
    normal = cutting * math.prod(1.0 - p[name] for name in _FAULTS)
    probabilities = {"normal": normal, **faults, "machine_only": 1.0 - cutting}
    probabilities = {name: probabilities[name] for name in CAUSES}

    holding = [name for name in _FAULTS if faults[name] >= 0.5]
    verdict = holding[0] if holding else max(("normal", "machine_only"), key=probabilities.get)
    confidence = probabilities[verdict]
    turns = measures["revolutions"]
    reason = None
    if unfit is not None:
        reason = unfit
    elif turns < FEWEST_TURNS:
        reason = (
            f"Only {turns:.1f} revolutions were heard; at least {FEWEST_TURNS:.0f} are needed: "
            f"record {max(FEWEST_TURNS * 1.5 * turn_s, 3.0):.0f} s or more of cutting."
        )
    elif confidence < TELL:
        rivals = sorted(probabilities, key=lambda name: -probabilities[name])[:2]
        names = " and ".join(name.replace("_", " ") for name in rivals)
        reason = (
            f"The evidence is divided between {names}; record a longer cut with 10 s of idling "
            "first and the phone closer to the work."
        )
    elif verdict == "machine_only" and not speed_heard and measures.get("tooth_z", 0.0) < 14.0:
        reason = None
    if reason is not None:
        return Opinion("cannot_tell", (), 0.0, probabilities, reason)
    return Opinion(verdict, tuple(holding[1:]), confidence, probabilities, None)


def weigh(measures: dict[str, float], verdict: str) -> tuple[Evidence, ...]:
    """Every piece of evidence with what it speaks for, strongest first.

    A piece speaks for the cause whose odds it raises most; one that raises none speaks
    against the cause it lowers most, and is then listed as speaking for a normal cut.
    """
    found = []
    for piece in pieces():
        value = piece.value(measures)
        if math.isnan(value):
            continue
        score = piece.score(measures)
        worth = {
            name: model()[name].weights.get(piece.name, 0.0) * score
            for name in ("cutting", *_FAULTS)
        }
        name = _relevant(worth, verdict)
        weight = worth[name]
        speaks_for = {"cutting": "normal" if weight > 0 else "machine_only"}.get(
            name, name if weight > 0 else "normal"
        )
        found.append(
            Evidence(
                name=piece.name,
                title=piece.title,
                value=value,
                unit=piece.unit,
                expected=piece.expected,
                speaks_for=speaks_for if abs(weight) >= 0.1 else None,
                weight=abs(weight) if abs(weight) >= 0.1 else 0.0,
                sentence=piece.sentence(value),
            )
        )
    return tuple(sorted(found, key=lambda e: -e.weight))


def _relevant(worth: dict[str, float], verdict: str) -> str:
    """The cause a piece is shown for: the verdict's own where the piece counts there."""
    if verdict in worth and abs(worth[verdict]) >= 0.1:
        return verdict
    return max(worth, key=lambda name: abs(worth[name]))
