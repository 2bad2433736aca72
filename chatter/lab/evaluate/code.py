"""Digests of the code, so that nothing made or heard by other code is taken for new."""

from __future__ import annotations

import hashlib
from pathlib import Path

from chatter.lab.evaluate.model_file import MODEL

#: Rooms whose code decides how a recording sounds ...
MAKING = ("lab/simulate", "job")
#: ... and what is heard in it.
HEARING = ("sound", "listening", "findings.py")
#: What was fitted is no code: a digest that holds it could never be written into it.
FITTED = MODEL.name
#: What measures a recording; what only judges, names or draws by it can change without a new fit.
MEASURING = ("sound", "listening")
_AFTER = frozenset(
    (
        *("evidence.py", "evidence.toml", "exhibits.py", "front.py", "hearing.py", "judging.py"),
        *("lines.py", "naming.py", "numbers.py", "pictures.py", "summary.py"),
        *("timeline.py", "trees.py", "playable.py", "fitness.py"),
        *("rates.py", "tooth_curves.py", "hypotheses.py", "hypotheses.toml", "finding.py"),
        *("number_words.py", "stamp.py", "drive.py"),
    )
)

#: What says, draws or decides on a comparison once what takes differ by is known.
_AFTER_COMPARING = frozenset(
    (
        *("__init__.py", "asides.py", "conditions.py", "decide.py", "front.py", "results.py"),
        *("sides.py", "words.py", "between.json"),
    )
)


def comparing_digest() -> str:
    """Digest of what the terms between takes depend on: the code, and the model of the passes."""
    code = measuring_digest() + code_digest(("comparing",), without=_AFTER_COMPARING)
    return hashlib.sha256(code.encode() + MODEL.read_bytes()).hexdigest()[:12]


def measuring_digest() -> str:
    """Digest of the code that the fitted numbers depend on: with another, fit again."""
    return code_digest(MEASURING, without=_AFTER)


def code_digest(
    rooms: tuple[str, ...] = (*MAKING, *HEARING), *, without: frozenset[str] = frozenset()
) -> str:
    """Digest of the code and data of some rooms.

    Parameters
    ----------
    rooms : tuple of str
        Folders or files of the package.
    without : frozenset of str
        Names of files that do not count.
    """
    house = Path(__file__).resolve().parents[2]
    digest = hashlib.sha256()
    for room in rooms:
        place = house / room
        paths = [place] if place.is_file() else sorted(place.rglob("*"))
        for path in paths:
            if path.name in (FITTED, *without):
                continue
            if path.suffix in (".py", ".json", ".toml"):
                digest.update(str(path.relative_to(house)).encode())
                digest.update(path.read_bytes())
    return digest.hexdigest()[:12]
