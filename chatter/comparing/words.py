"""Words: one sentence per family, and one for the whole comparison, in shop English."""

from __future__ import annotations

from collections.abc import Sequence

from chatter.comparing.families import FAMILIES, Family
from chatter.comparing.results import Difference

#: What must be alike for every cutter, or it is compared instead of them.  Common practice.
HOLD = (
    "Each cutter: sharp or just reground, and about as many minutes cut since.",
    "Runout measured at the rim, on the arbor, with clean collars; the same collars and support.",
    "Coolant alike, the machine as many minutes warm, the same bar of stock.",
    "Speed, feed, depth and direction by the same dials; the phone in the same place.",
)
_REMOVED = {
    "rubbing": "the once-per-turn rubbing",
    "squeal": "the squeal",
    "chatter": "the chatter tone",
}
#: How loud a change must be to be called more than "a little" and less than "far" [dB].
_LITTLE_DB, _FAR_DB = 3.0, 8.0
#: "Far" also asks for an interval that ends this far from nothing [dB].
_FAR_AT_LEAST_DB = 4.0


def show_difference(value: float, half: float) -> str:
    """A difference with its interval: "-9 dB ± 2"."""
    if half < 0.95:
        return f"{value:+.1f} dB ± {half:.1f}".replace("-", "\N{MINUS SIGN}")
    return f"{value:+.0f} dB ± {half:.0f}".replace("-", "\N{MINUS SIGN}")


def sentence(
    family: Family,
    names: tuple[str, str],
    said: str,
    value: float | None,
    half: float | None,
    *,
    absent: bool = False,
    possible: tuple[str, float] | None = None,
    missing: str | None = None,
    faint: bool = False,
    deep: bool = False,
) -> str:
    """What is said of one family.

    Parameters
    ----------
    family : Family
    names : (str, str)
    said : str
        One of ``results.SAID``.
    value, half : float or None
        Difference (second less first) and half its interval [dB].
    absent : bool
        Neither has any of it.
    possible : (str, float), optional
        A cutter with which listening holds chatter possible, though it names no tone; how likely.
    missing : str, optional
        Name of a cutter of which no recording could be compared.
    faint : bool
        Next to nothing of it is left with the second cutter.
    deep : bool
        The deep tones swell with the turn as much as the hiss does.
    """
    if said == "shown" and value is not None and half is not None:
        number = show_difference(value, half)
        if deep:
            how = "more" if value > 0 else "less"
            return (
                f"{names[1]} swells {how} once a turn than {names[0]}: {number}. The deep tones "
                "swell as much as the hiss, so it is runout or a high tooth rather than rubbing."
            )
        if faint and value < 0 and family.name in _REMOVED:
            return f"{names[1]} removes {_REMOVED[family.name]} of {names[0]}: {number}."
        how = family.more if value > 0 else family.less
        return f"{names[1]} {_adverb(how, abs(value), half)} than {names[0]}: {number}."
    if possible is not None and (absent or value is None):
        name, chance = possible
        return (
            f"{family.title.capitalize()}: can't tell; no tone is named, but listening gives "
            f"chatter with {name} a chance of {chance:.2f}: listen to that recording by itself."
        )
    if absent:
        return f"{family.title.capitalize()}: none heard in either."
    if missing is not None:
        return f"{family.title.capitalize()}: can't tell; no recording of {missing} could be used."
    if value is None or half is None:
        return f"{family.title.capitalize()}: can't tell; {_LACK[family.name]}."
    if said == "cannot_tell":
        return (
            f"{family.title.capitalize()}: can't tell, the interval is too wide "
            f"({show_difference(value, half)}); longer or more recordings narrow it."
        )
    return f"{family.title.capitalize()}: no difference shown ({show_difference(value, half)})."


_TURNS = "too few turns were heard: record at least 20 turns of cutting"
_IDLE = "both recordings must begin with some seconds of the same machine idling"
#: Why a family could not be measured, and what to do.
_LACK = dict.fromkeys((one.name for one in FAMILIES), _TURNS) | {"machine": _IDLE, "level": _IDLE}


def _adverb(how: str, db: float, half: float) -> str:
    verb, _, rest = how.partition(" ")
    if rest not in ("more", "less", "louder", "quieter"):
        return how
    far = db > _FAR_DB and db - half > _FAR_AT_LEAST_DB
    word = "a little " if db < _LITTLE_DB else "far " if far else ""
    return f"{verb} {word}{rest}"


def comparison_summary(
    differences: Sequence[Difference], verdict: str, names: Sequence[str]
) -> str:
    """The answer in one sentence."""
    if verdict == "cannot_tell":
        return (
            "Can't tell: too little of the cutting could be compared; the reasons stand beside "
            "the recordings."
        )
    shown = sorted((one for one in differences if one.said == "shown"), key=_weight, reverse=True)
    chatter = _chatter(differences)
    if not shown:
        said = "No difference shown"
        wide = [
            max(abs(one.low_db), abs(one.high_db))
            for one in differences
            if one.family == "rubbing" and one.low_db is not None and one.high_db is not None
        ]
        if wide and len(names) == 2:
            said += f": a change of rubbing by more than {wide[0]:.0f} dB would have been"
        return f"{said}; {chatter}." if chatter else f"{said}."
    words = "; ".join(_told(shown[:3]))
    if chatter and not any(one.family == "chatter" for one in shown):
        words += f"; {chatter}"
    return f"{words[0].upper()}{words[1:]}."


def _told(shown: Sequence[Difference]) -> list[str]:
    """Sentences without their full stops; a cutter that was just named is "it"."""
    sentences, before = [], None
    for difference in shown:
        first, second = pair = difference.first, difference.second
        text = difference.sentence.partition(". ")[0].rstrip(".")
        if before == pair and text.startswith(f"{second} "):
            text = f"it {text.removeprefix(f'{second} ')}".replace(f" than {first}", "")
            text = text.replace(f" of {first}", "")
        before = pair
        sentences.append(text)
    return sentences


def _weight(difference: Difference) -> float:
    """Rubbing and chatter are asked for first, loudness last."""
    rank = {"chatter": 300.0, "rubbing": 200.0, "squeal": 100.0, "level": -100.0}
    return rank.get(difference.family, 0.0) + abs(difference.difference_db or 0.0)


def _chatter(differences: Sequence[Difference]) -> str:
    mine = [difference for difference in differences if difference.family == "chatter"]
    if mine and all("none heard" in difference.sentence for difference in mine):
        return "chatter: none shown in either" if len(mine) == 1 else "chatter: none shown in any"
    return ""
