"""Words with a fixed choice: forms, materials, directions; with nearest-spelling hints."""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Iterable, Mapping
from functools import cache
from importlib.resources import files
from itertools import zip_longest

from chatter.errors import JobError
from chatter.job.units import echo


def plain_key(text: str) -> str:
    """How a word is compared: lower case, with spaces and hyphens as underscores."""
    return "_".join(text.lower().replace("-", " ").replace("_", " ").split())


def hint(word: str, known: Mapping[str, str], *, cutoff: float = 0.7, across: bool = True) -> str:
    """A clause that offers the nearest spelling, or else all choices.

    ``known`` maps every understood word to the word to offer for it; ``cutoff`` is the
    likeness from which a spelling counts as near (0..1, as in difflib).  Without ``across``
    only a slip of spelling is near: as many words, each alike, and no figure differs.
    """
    near = difflib.get_close_matches(word, known, n=1, cutoff=cutoff)
    if near and (across or _slip(word, near[0])):
        return f"did you mean '{known[near[0]]}'?"
    return f"choose one of {', '.join(dict.fromkeys(known.values()))}."


def _slip(word: str, other: str) -> bool:
    """Whether one is the other misspelt: another metal's name or number is no misspelling."""
    pairs = list(zip_longest(word.split("_"), other.split("_")))
    if any(a is None or b is None for a, b in pairs):
        return False
    return all(
        a == b
        or (
            not (_FIGURE.search(a) or _FIGURE.search(b))
            and difflib.SequenceMatcher(None, a, b).ratio() >= 0.75
        )
        for a, b in pairs
    )


_FIGURE = re.compile(r"\d")


def choose_word(
    text: object,
    what: str,
    choices: Iterable[str],
    also: Mapping[str, str] | None = None,
    *,
    across: bool = True,
) -> str:
    """The one of ``choices`` that ``text`` names.

    Parameters
    ----------
    text : object
        What was stated.
    what : str
        For the complaint, e.g. "cutter form".
    choices : iterable of str
        The keys, in ``plain_key`` form.
    also : mapping, optional
        Other words (in ``plain_key`` form) and the key each stands for.
    across : bool
        False: the hint never offers another word, only another spelling (see ``hint``).

    Raises
    ------
    JobError
        With the nearest spelling.
    """
    known = {**{key: key for key in choices}, **(also or {})}
    word = plain_key(text) if isinstance(text, str) else ""
    if word in known:
        return known[word]
    raise JobError(f"The {what} '{echo(text)}' is not known: {hint(word, known, across=across)}")


FORM_WORDS = {
    "saw": "slitting_saw",
    "slotting_saw": "slitting_saw",
    "plain_saw": "slitting_saw",
    "side_mill": "side_and_face",
    "side_milling_cutter": "side_and_face",
    "staggered": "staggered_tooth",
    "staggered_tooth_cutter": "staggered_tooth",
    "plain": "slab",
    "plain_mill": "slab",
    "slab_mill": "slab",
    "cylindrical": "slab",
    "endmill": "end_mill",
    "slot_drill": "end_mill",
    "facemill": "face_mill",
    "shell_mill": "face_mill",
    "turning_tool": "single_point",
    "lathe_tool": "single_point",
    "boring_tool": "boring_bar",
    "boring_head": "boring_bar",
    "parting_off_tool": "parting_tool",
    "parting_blade": "parting_tool",
    "cut_off_tool": "parting_tool",
    "flycutter": "fly_cutter",
    "twist_drill": "drill",
    "bandsaw": "band_saw",
    "band_saw_blade": "band_saw",
}
_GANG = (
    "A gang of cutters cannot be planned or listened to as one yet: take the speed from its "
    "largest cutter, the table feed from the cutter with the fewest teeth, and add up the powers."
)
#: Cutters that are understood, but that nothing here can deal with.
FORMS_NOT_YET = {
    **dict.fromkeys(("gang", "gang_mill", "gang_milling", "gang_of_cutters"), _GANG),
    **dict.fromkeys(("straddle", "straddle_mill", "straddle_milling"), _GANG),
}
TOOL_MATERIALS = ("hss", "carbide", "carbon_steel")
TOOL_WORDS = {
    "high_speed_steel": "hss",
    "cobalt": "hss",
    "tungsten_carbide": "carbide",
    "cemented_carbide": "carbide",
    "hardmetal": "carbide",
    "tool_steel": "carbon_steel",
}
DIRECTION_WORDS = {"up": "conventional", "down": "climb"}
PURPOSE_WORDS = {"rough": "roughing", "finish": "finishing"}


@cache
def materials() -> dict[str, str]:
    """Work-material keys and the names people read."""
    return {key: row["name"] for key, row in _material_table().items()}


@cache
def material_words() -> dict[str, str]:
    """Every other word for a material, in ``plain_key`` form, and its key."""
    return {
        plain_key(word): key
        for key, row in _material_table().items()
        for word in (row["name"].replace(",", ""), *row["also"])
    }


def material_name(key: str | None) -> str:
    """The name people read for a material key."""
    return materials().get(key or "", key or "material not stated")


@cache
def materials_not_told() -> dict[str, str]:
    """Metals that no table here holds, each with what to say."""
    return {
        plain_key(word): sentence
        for row in _material_document()["not_told"]
        for sentence in (row["say"],)
        for word in row["words"]
    }


@cache
def _material_table() -> dict[str, dict]:
    return {key: row for key, row in _material_document().items() if key != "not_told"}


@cache
def _material_document() -> dict:
    return tomllib.loads(files("chatter.job").joinpath("materials.toml").read_text("utf-8"))
