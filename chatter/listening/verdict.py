"""From evidence to probabilities, and from probabilities to a verdict.

Each cause has its own additive model over the measures: more than one cause may hold.
The numbers stand in ``model.json`` beside this file, with the command that made them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from chatter.findings import CAUSES, Evidence, Pass
from chatter.listening.evidence import pieces
from chatter.listening.model import model
from chatter.listening.speed import HEARD_Z, SLIP, TURN_HEARD_Z

#: A verdict below this probability is not given.
TELL = 0.65
#: No verdict is surer than this: the recordings it was calibrated with cannot show more.
MOST = 0.99
#: Revolutions below which nothing tied to the turn can be said.
FEWEST_TURNS = 8.0
_FAULTS = ("chatter", "side_rubbing", "uneven_teeth")  # the gravest first
# How far a comb, of the teeth or of the turn, must stand out in some pass to tie a recording
# to this cutter; less than a speed is read from, since chatter may drown the teeth.  Short
# stretches need a speed: blows, beeps and words are short.  So do, and more, stretches with
# nothing beside them to be louder than.  Of 500 development recordings without cutting six
# got a confident fault all the same; one cut in ten lost its verdict.
_TIED, _TIED_ALONE = (5.0, 6.0), (10.0, 9.0)
_SHORT_S = 1.2
# What comes once a turn may drown the teeth, but swells at the turn itself: so many times more
# than at any period further off, and it is tied.  Of 500 development recordings without cutting
# none got a fault of the turn by it; of 12 cuts that rub and could not be tied, 11 were told
# rightly.
_SWELLS = 2.0
_OF_THE_TURN = ("side_rubbing", "uneven_teeth")
_RISE_DB = (10.0, 42.0)  # of a cut over the machine running free
_NOT_TIED = (
    "Neither teeth nor turn can be heard at the stated speed, so the sound cannot be tied "
    "to this cutter: check speed and tooth count, and put the phone closer to the cut."
)
_NOT_TIED_ALONE = (
    "The recording holds nothing but this sound, and the teeth are not clear enough in it to "
    "tell a cut from a machine running free: record 10 s of idling before the cut."
)
_SLIGHT = 0.1  # log odds below this say nothing


@dataclass(frozen=True)
class Opinion:
    """What the evidence says of one pass."""

    verdict: str
    also: tuple[str, ...]
    confidence: float
    probabilities: dict[str, float]
    reason: str | None


def judge(
    measures: dict[str, float], *, contradicted: bool, unfit: str | None, turn_s: float
) -> Opinion:
    """Verdict of one pass.

    Parameters
    ----------
    measures : dict
        From ``measures.measure``.
    contradicted : bool
        The sound speaks against the stated speed or tooth count, and could not be followed.
    unfit : str or None
        Why the recording cannot carry a verdict, if so.
    turn_s : float
        Time of one revolution, to say how long a recording should be.
    """
    p = {name: model()[name].probability(measures) for name in ("cutting", *_FAULTS)}
    cutting = p["cutting"]
    faults = {name: cutting * p[name] for name in _FAULTS}
    normal = cutting * math.prod(1.0 - p[name] for name in _FAULTS)
    probabilities = {"normal": normal, **faults, "machine_only": 1.0 - cutting}
    probabilities = {name: min(probabilities[name], MOST) for name in CAUSES}

    # where several hold, the gravest that can be told comes first; the rest by their odds
    holding = sorted((n for n in _FAULTS if faults[n] >= 0.5), key=lambda n: -faults[n])
    holding.sort(key=lambda n: _FAULTS.index(n) if faults[n] >= TELL else len(_FAULTS))
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
    elif contradicted:
        reason = (
            "The sound fits another speed or tooth count better than the stated ones: check both "
            "and listen again."
        )
    elif confidence < TELL:
        rivals = sorted(probabilities, key=lambda name: -probabilities[name])[:2]
        names = " and ".join(name.replace("_", " ") for name in rivals)
        reason = (
            f"The evidence is divided between {names}; record a longer cut with 10 s of idling "
            "first and the phone closer to the work."
        )
    if reason is not None:
        return Opinion("cannot_tell", (), 0.0, probabilities, reason)
    return Opinion(verdict, tuple(holding[1:]), confidence, probabilities, None)


def tied(measures: dict[str, float], teeth: float, turn: float) -> bool:
    """Whether the comb of the teeth, or that of the turn, stands out so far in a pass; a
    radio has tones too, but no comb of this cutter."""
    return measures.get("speed_z", 0.0) >= teeth or measures.get("turn_z", 0.0) >= turn


def tie(passes: list[Pass], teeth: int) -> list[Pass]:
    """The passes, those without verdict that nothing in the recording ties to this cutter.

    A single tooth that stays in the cut, as in turning, makes no comb: there it must do that
    the sound rises above idling, as a cut does, and not out of silence.  A fault that comes once
    a turn is tied by its own swelling.
    """
    all_of = [one.measures for one in passes]
    weakly = any(tied(m, *_TIED) for m in all_of)
    clearly = any(tied(m, HEARD_Z, TURN_HEARD_Z) for m in all_of)
    alone = any(tied(m, *_TIED_ALONE) for m in all_of)
    told = []
    for one in passes:
        short = one.end_s - one.start_s < _SHORT_S
        turned = teeth == 1 and not short and _rises(one.measures)
        if _swells(one):
            pass
        elif not turned and (not weakly or (short and not clearly)):
            one = untied(one, _NOT_TIED)
        elif one.measures.get("contrast_db") == 0.0 and not alone:
            one = untied(one, _NOT_TIED_ALONE)
        told.append(one)
    return told


def _swells(one: Pass) -> bool:
    return one.verdict in _OF_THE_TURN and one.measures.get("swell_times", 0.0) >= _SWELLS


def _rises(measures: dict[str, float]) -> bool:
    low, high = _RISE_DB
    return low <= measures.get("contrast_db", 0.0) <= high


def untied(one: Pass, reason: str) -> Pass:
    """A pass that nothing ties to this cutter: nothing but "the machine only" can be told, and
    no speed, since what was heard may be a gear."""
    stated = one.spindle.stated_rev_min
    spindle = replace(
        one.spindle,
        rev_min=stated,
        low=stated * (1 - SLIP),
        high=stated * (1 + SLIP),
        heard=False,
        course=((0.5 * (one.start_s + one.end_s), stated),),
    )
    tooth_hz = one.tooth_passing_hz * stated / one.spindle.rev_min
    one = replace(one, spindle=spindle, tooth_passing_hz=tooth_hz)
    if one.verdict in ("machine_only", "cannot_tell"):
        return one
    moments = tuple(
        m if m.state in ("entry", "exit") else replace(m, state="cannot_tell") for m in one.timeline
    )
    return replace(
        one,
        verdict="cannot_tell",
        also=(),
        confidence=0.0,
        reason=reason,
        chatter=None,
        timeline=moments,
    )


def weigh(measures: dict[str, float], verdict: str) -> tuple[Evidence, ...]:
    """Every piece of evidence with what it speaks for or (negative weight) against.

    A piece is shown for the verdict's own cause where it counts there, else for the cause
    it counts most for.  What counts for the verdict's cause comes first, then the weightiest.
    """
    found = []
    for piece in pieces():
        value = piece.value(measures)
        if math.isnan(value):
            continue
        name, weight = _bearing(piece.name, value, verdict)
        tells = abs(weight) >= _SLIGHT
        found.append(
            Evidence(
                name=piece.name,
                title=piece.title,
                value=value,
                unit=piece.unit,
                expected=piece.expected,
                speaks_for=name if tells else None,
                weight=weight if tells else 0.0,
                sentence=piece.sentence(value),
            )
        )
    return tuple(sorted(found, key=lambda e: (e.speaks_for != verdict, -abs(e.weight))))


def _bearing(name: str, value: float, verdict: str) -> tuple[str, float]:
    """Cause that a piece bears on most, and its log-odds contribution to it."""
    worth = {cause: model()[cause].adds(name, value) for cause in _FAULTS}
    # what says "teeth are cutting" speaks against hearing the machine only
    worth["machine_only"] = -model()["cutting"].adds(name, value)
    if abs(worth.get(verdict, 0.0)) >= _SLIGHT:
        return verdict, worth[verdict]
    cause = max(worth, key=lambda c: abs(worth[c]))
    return cause, worth[cause]
