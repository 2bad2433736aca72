"""Figures of a labelled collection, each a share with Wilson's interval or an error."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from chatter.findings import VERDICTS
from chatter.lab.evaluate.calibration import Reliability, reliability
from chatter.lab.evaluate.labelled.hearing import Answer
from chatter.lab.evaluate.labelled.reading import LabelledRecording
from chatter.lab.evaluate.labelled.units import Unit, match_labels, of_passes, of_recordings
from chatter.teaching.shares import Share

#: False alarms at which the share of chatter named is read off.
FALSE_ALARMS = (0.0, 0.01, 0.03, 0.05, 0.10, 0.20)
#: Part of the true speed within which a speed is right.
SPEED_WITHIN = (0.005, 0.01)
#: How far a chatter line must stand out to be counted among those that can be heard.
AUDIBLE_DB = 20.0


@dataclass(frozen=True)
class Point:
    """Chatter named at a bound on the probability, whatever the program's own bound is."""

    false_alarms: float  # asked for
    bound: float  # probabilities above it are named
    recall: Share
    alarms: Share


@dataclass(frozen=True)
class ChatterFigures:
    """How well chatter is parted from everything else."""

    named: Share  # by the program's own verdict, of all that chatters
    named_audible: Share  # of those whose line stands 20 dB out
    false: Share  # by the program's own verdict, of all that does not
    area: float  # chance that a chattering one has the higher probability
    curve: tuple[Point, ...]


@dataclass(frozen=True)
class PartFigures:
    """The figures of one part of what was heard."""

    title: str
    recordings: int
    refused: int
    crashed: int
    confusion: dict[str, dict[str, float]]  # label -> answer -> recordings
    right: dict[str, Share]  # label -> right of answered
    shares: dict[str, Share]
    chatter: ChatterFigures
    pass_chatter: ChatterFigures
    reliability: dict[str, Reliability]
    speed_error: dict[str, float]  # quantile -> part of the true speed


def share_of_units(units: Iterable[Unit], hit: Callable[[Unit], bool]) -> Share:
    """A share of some units."""
    kept = list(units)
    return Share(sum(u.weight for u in kept if hit(u)), sum(u.weight for u in kept))


def chatter_figures(units: Sequence[Unit]) -> ChatterFigures:
    """Chatter against all else, by verdict and by probability."""
    yes = [u for u in units if u.said.chatters]
    no = [u for u in units if u.said.chatters is False]

    def named(u: Unit) -> bool:
        return "chatter" in u.named

    loud = [u for u in yes if (u.said.stands_out_db or -math.inf) >= AUDIBLE_DB]
    return ChatterFigures(
        share_of_units(yes, named),
        share_of_units(loud, named),
        share_of_units(no, named),
        _area(yes, no),
        tuple(_point(yes, no, allowed) for allowed in FALSE_ALARMS),
    )


def _point(yes: Sequence[Unit], no: Sequence[Unit], allowed: float) -> Point:
    """The lowest bound that lets no more than ``allowed`` of what does not chatter through."""
    total = sum(u.weight for u in no)
    bound, through = 0.0, 0.0
    for p in sorted({u.p_chatter for u in no}, reverse=True):
        through += sum(u.weight for u in no if u.p_chatter == p)
        if through > allowed * total + 1e-9:
            bound = p
            break

    def above(u: Unit) -> bool:
        return u.p_chatter > bound

    return Point(allowed, bound, share_of_units(yes, above), share_of_units(no, above))


def _area(yes: Sequence[Unit], no: Sequence[Unit]) -> float:
    """Area under the curve of recall over false alarms; ties count half."""
    if not yes or not no:
        return math.nan
    a = np.array([u.p_chatter for u in yes])[:, None]
    b = np.array([u.p_chatter for u in no])[None, :]
    weight = np.outer([u.weight for u in yes], [u.weight for u in no])
    return float(np.sum(weight * ((a > b) + 0.5 * (a == b))) / weight.sum())


def score_labelled(
    title: str, recordings: Sequence[LabelledRecording], answers: Sequence[Answer]
) -> PartFigures:
    """The figures of some recordings.

    Parameters
    ----------
    title : str
    recordings, answers : sequences of the same length
    """
    whole = of_recordings(recordings, answers)
    passes = of_passes(recordings, answers)
    judged = [u for u in whole if u.judged]
    cuts = [u for u in whole if recordings[u.recording].cutting]
    owed = [u for u in cuts if "cannot_tell" not in u.said.accept]
    labels = _labels(whole)
    wrong_number = [u for u in whole if recordings[u.recording].wrong_number]
    sound_number = [u for u in cuts if not recordings[u.recording].wrong_number]
    return PartFigures(
        title=title,
        recordings=len(whole),
        refused=sum(a.error is not None for a in answers),
        crashed=sum(a.crash is not None for a in answers),
        confusion={name: _answers([u for u in whole if _name(u) == name]) for name in labels},
        right={
            name: share_of_units(
                [u for u in judged if u.answered and _name(u) == name], lambda u: u.right
            )
            for name in labels
        },
        shares={
            "answered, of cuts": share_of_units(cuts, lambda u: u.answered),
            "answered, of cuts that can be told": share_of_units(owed, lambda u: u.answered),
            "right, of answered": share_of_units(
                [u for u in judged if u.answered], lambda u: u.right
            ),
            "confident and wrong, of all": share_of_units(
                judged, lambda u: u.confident and u.wrong
            ),
            "confident and wrong, of confident": share_of_units(
                [u for u in judged if u.confident], lambda u: u.wrong
            ),
            **_speed_shares(recordings, answers),
            **_pass_shares(recordings, answers),
            "wrong speed or teeth doubted": share_of_units(
                wrong_number, lambda u: answers[u.recording].contradicts
            ),
            "right speed and teeth doubted": share_of_units(
                sound_number, lambda u: answers[u.recording].contradicts
            ),
        },
        chatter=chatter_figures(whole),
        pass_chatter=chatter_figures(passes),
        reliability=_reliabilities(judged, passes),
        speed_error=_speed_error(recordings, answers),
    )


def _name(unit: Unit) -> str:
    """The class a unit is counted under."""
    if unit.said.label:
        return unit.said.label
    if not unit.said.accept:
        return "not labelled"
    accept = unit.said.accept
    known = [name for name in VERDICTS if name in accept and name != "cannot_tell"]
    if len(known) > 2:
        return "not " + ", ".join(name for name in VERDICTS if name not in accept)
    return " or ".join(known)


def _labels(units: Sequence[Unit]) -> list[str]:
    present = {_name(u) for u in units}
    return [name for name in VERDICTS if name in present] + sorted(present - set(VERDICTS))


def _answers(units: Sequence[Unit]) -> dict[str, float]:
    row: dict[str, float] = {}
    for u in units:
        row[u.verdict] = row.get(u.verdict, 0.0) + u.weight
    return row


def _errors(
    recordings: Sequence[LabelledRecording], answers: Sequence[Answer]
) -> list[list[float]]:
    """Relative error of speed of every labelled pass, by recording; infinite when not found."""
    made = []
    for one, answer in zip(recordings, answers, strict=True):
        errors = []
        for said, heard in match_labels(one.passes, answer.passes).pairs:
            true = said.said.true_rev_min or one.said.true_rev_min
            if true:
                errors.append(abs(heard.rev_min / true - 1.0) if heard else math.inf)
        if errors:
            made.append(errors)
    return made


def _speed_shares(
    recordings: Sequence[LabelledRecording], answers: Sequence[Answer]
) -> dict[str, Share]:
    errors = _errors(recordings, answers)
    return {
        f"speed within {100 * bound:g} %, of passes": Share(
            sum(sum(e <= bound for e in of) / len(of) for of in errors), len(errors)
        )
        for bound in SPEED_WITHIN
    }


def _speed_error(
    recordings: Sequence[LabelledRecording], answers: Sequence[Answer]
) -> dict[str, float]:
    every = [e for of in _errors(recordings, answers) for e in of if math.isfinite(e)]
    return {f"{q:g}": float(np.quantile(every, q)) if every else math.nan for q in (0.5, 0.9, 0.99)}


def _pass_shares(
    recordings: Sequence[LabelledRecording], answers: Sequence[Answer]
) -> dict[str, Share]:
    """Whole recordings with every pass found and none too many; and passes found."""
    whole, none_cut, found, many = [], [], [], []
    for one, answer in zip(recordings, answers, strict=True):
        matched = match_labels(one.passes, answer.passes)
        if one.passes:
            found.append(matched.found / len(one.passes))
        if one.complete and one.passes:
            whole.append(matched.found == len(one.passes) and not matched.too_many)
            many.append(matched.too_many > 0)
        elif one.complete and one.said.label == "machine_only":
            none_cut.append(not matched.too_many)
    return {
        "passes all found, none too many": Share(sum(whole), len(whole)),
        "passes found": Share(sum(found), len(found)),
        "passes too many, of recordings": Share(sum(many), len(many)),
        "no pass heard where nothing is cut": Share(sum(none_cut), len(none_cut)),
    }


def _reliabilities(units: Sequence[Unit], passes: Sequence[Unit]) -> dict[str, Reliability]:
    """Stated against held: of verdicts, of the probability of chatter, and the latter by pass."""
    told = [u for u in units if u.answered]
    known = [u for u in units if u.said.chatters is not None]
    by_pass = [u for u in passes if u.said.chatters is not None and u.found is not None]
    return {
        name: reliability(
            name,
            np.array([p(u) for u in some], float),
            np.array([held(u) for u in some], bool),
            np.array([u.weight for u in some], float),
            np.array([u.recording for u in some], int),
        )
        for name, some, p, held in (
            ("verdict", told, lambda u: u.confidence, lambda u: u.right),
            ("chatter", known, lambda u: u.p_chatter, lambda u: bool(u.said.chatters)),
            ("chatter, by pass", by_pass, lambda u: u.p_chatter, lambda u: bool(u.said.chatters)),
        )
    }
