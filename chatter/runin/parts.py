"""Gears, bearings and the rest: what their trends say together, in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from chatter.runin.items import LEVEL, RATIO
from chatter.runin.trends import Trend

WORDS = {"worse": "worse", "better": "better", "same": "same", "cannot_tell": "can't tell"}


@dataclass(frozen=True)
class PartVerdict:
    """A gear, a bearing or a line with its verdict.

    Attributes
    ----------
    key : str
        "gear:NAME", "bearing:NAME", or the key of a single item.
    title : str
    verdict : str
        "worse", "better", "same" or "cannot_tell".
    sentence : str
    check : str
        What to do about it; "" when nothing.
    trends : tuple of Trend
    """

    key: str
    title: str
    verdict: str
    sentence: str
    check: str
    trends: tuple[Trend, ...]


def judge_parts(trends: Sequence[Trend]) -> tuple[PartVerdict, ...]:
    """One verdict a part, the worst first."""
    groups: dict[str, list[Trend]] = {}
    for trend in trends:
        part = trend.item.part
        groups.setdefault(part if ":" in part else trend.item.key, []).append(trend)
    verdicts = [_part(key, own) for key, own in groups.items()]
    order = ("worse", "better", "same", "cannot_tell")
    return tuple(sorted(verdicts, key=lambda part: order.index(part.verdict)))


def _part(key: str, own: list[Trend]) -> PartVerdict:
    kind, _, name = key.partition(":")
    if kind == "gear":
        return _gear(key, name, own)
    title = name if kind == "bearing" else own[0].item.title
    worse = [one for one in own if one.verdict == "worse"]
    better = [one for one in own if one.verdict == "better"]
    if kind == "bearing" and worse:
        most = max(worse, key=lambda one: one.change_db or 0.0)
        what = most.item.title.rpartition("strikes of the ")[2]
        sentence = (
            f"Strikes in step with its {what} have risen by {_db(most)}{_at(most)}, "
            f"beyond the machine's own limits since {_day(most)}."
        )
        check = (
            "Spindle stopped and locked out: feel for play and roughness turning it by hand, "
            "check the temperature of the housing after an hour's running, the grease and the "
            "preload; record again within a few hours of running, and have the bearing looked "
            "at before heavy cuts."
        )
        return PartVerdict(key, title, "worse", sentence, check, tuple(own))
    if worse:
        most = max(worse, key=lambda one: one.change_db or 0.0)
        sentence = (
            f"Louder by {_db(most)}{_at(most)}, beyond the machine's own limits since {_day(most)}."
        )
        check = (
            "Find what makes it: listen at guards, covers, belts and oil level, spindle stopped."
        )
        return PartVerdict(key, title, "worse", sentence, check, tuple(own))
    if better:
        most = min(better, key=lambda one: one.change_db or 0.0)
        sentence = f"Quieter by {_db(most)}{_at(most)}, beyond its own limits since {_day(most)}."
        return PartVerdict(key, title, "better", sentence, "", tuple(own))
    return PartVerdict(key, title, *_quiet(own), "", tuple(own))


def _gear(key: str, name: str, own: list[Trend]) -> PartVerdict:
    sides = [one for one in own if one.item.sort == RATIO]
    levels = [one for one in own if one.item.sort == LEVEL]
    grown = [one for one in sides if one.verdict == "worse"]
    quieter = [one for one in levels if one.verdict == "better"]
    steadier = [one for one in sides if one.verdict == "better"]
    louder = [one for one in levels if one.verdict == "worse"]
    if grown:
        most = max(grown, key=lambda one: one.change_db or 0.0)
        sentence = (
            f"Its sideband family has grown by {_db(most)}{_at(most)} against the mesh, beyond "
            f"the limits since {_day(most)}: a gear that runs in loses its sidebands."
        )
        check = (
            "Look at the teeth all round for a damaged or tight one, at the key and the fit on "
            "the shaft, and at the shaft's bearings; spindle stopped and locked out."
        )
        return PartVerdict(key, name, "worse", sentence, check, tuple(own))
    if louder:
        most = max(louder, key=lambda one: one.change_db or 0.0)
        sentence = f"Its mesh is louder by {_db(most)}{_at(most)}, since {_day(most)}."
        check = "Check oil and backlash; a mesh that runs in gets quieter, not louder."
        return PartVerdict(key, name, "worse", sentence, check, tuple(own))
    if quieter or steadier:
        said = []
        if quieter:
            most = min(quieter, key=lambda one: one.change_db or 0.0)
            said.append(f"its mesh is quieter by {_db(most)}{_at(most)}")
        if steadier:
            most = min(steadier, key=lambda one: one.change_db or 0.0)
            said.append(f"its sidebands have fallen by {_db(most)}{_at(most)} against the mesh")
        since = _day(quieter[0] if quieter else steadier[0])
        sentence = f"Running in: {' and '.join(said)}, beyond its own limits since {since}."
        return PartVerdict(key, name, "better", sentence, "", tuple(own))
    return PartVerdict(key, name, *_quiet(own), "", tuple(own))


def _quiet(own: list[Trend]) -> tuple[str, str]:
    """Verdict and sentence where nothing was flagged."""
    same = [one for one in own if one.verdict == "same"]
    judged = {one.item.key for one in same}
    unjudged = [one for one in own if one.verdict == "cannot_tell" and one.item.key not in judged]
    # Speeds that were recorded most often say why; the others are waiting for dates anyway.
    unjudged.sort(key=lambda one: -len(one.points))
    if same:
        widest = max(max(abs(one.low_db or 0), abs(one.high_db or 0)) for one in same)
        sentence = (
            f"No change: at most {widest:.0f} dB either way, inside the machine's own limits."
        )
        if unjudged:
            sentence += f" Undecided: {_listed(unjudged)}; {unjudged[0].reason}."
        return "same", sentence
    first = unjudged[0].reason
    stop = "" if first.endswith("?") else "."
    return "cannot_tell", f"{first[:1].upper()}{first[1:]}{stop}"


def _listed(trends: list[Trend]) -> str:
    titles = list(
        dict.fromkeys(one.item.title.partition(", ")[2] or one.item.title for one in trends)
    )
    return ", ".join(titles)


def _db(trend: Trend) -> str:
    change = abs(trend.change_db or 0.0)
    half = 0.5 * ((trend.high_db or 0.0) - (trend.low_db or 0.0))
    return f"{change:.0f} dB (±{half:.0f})"


def _at(trend: Trend) -> str:
    return f" at {' and '.join(f'{speed:g}' for speed in trend.speeds)} rev/min"


def _day(trend: Trend) -> str:
    day = trend.since.isoformat() if trend.since else ""
    return f"{day} ({trend.reason})" if trend.reason else day
