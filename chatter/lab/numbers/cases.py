"""Recordings of known speed and tooth count, each with an invented machine card and wrong numbers.

The lever of the invented machine stands one or two steps off, the teeth are miscounted, or a
number is left out; what was truly the case stays known.
"""

from __future__ import annotations

import hashlib
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from chatter.errors import BookError
from chatter.lab.evaluate.labelled.converters import convert
from chatter.lab.evaluate.labelled.reading import read_folder
from chatter.listening.spindle import SLIP
from chatter.logbook.collection import read_collection

#: Steps of the invented machines, and how many speeds they have.
STEPS, SPEEDS = (1.26, 1.6), 8
#: What the true speed differs from the dial by, where the dial was wrong: standard deviation.
_DIAL = 0.025
#: The table that a corpus written by ``chatter.lab.evaluate.folder`` has.
_INDEX = "index.json"


@dataclass(frozen=True)
class NumbersCase:
    """One recording with the right numbers.

    Attributes
    ----------
    maker : str
        Who made it.
    path : Path
    true_rev_min : float
    teeth : int
        The true count.
    dial_rev_min : float
        What the right notch of the lever says.
    card : tuple of float
        All speeds of the invented machine [rev/min], rising.
    accept : frozenset of str
        Verdicts that are not wrong.
    label : str
    """

    maker: str
    path: Path
    true_rev_min: float
    teeth: int
    dial_rev_min: float
    card: tuple[float, ...]
    accept: frozenset[str]
    label: str

    @property
    def notch(self) -> int:
        """Place of the right speed on the card."""
        return self.card.index(self.dial_rev_min)


@dataclass(frozen=True)
class Statement:
    """What is stated of a case: None is left out."""

    name: str
    rev_min: float | None
    teeth: int | None
    listed: bool = True  # whether the machine's speeds are stated too


def read_cases(maker: str, place: Path) -> tuple[NumbersCase, ...]:
    """The recordings of a labelled folder in which something is cut at a known speed.

    Raises
    ------
    BookError
        As :func:`chatter.lab.evaluate.labelled.reading.read_folder`.
    """
    table = place / _INDEX if (place / _INDEX).is_file() else place
    teeth = _true_teeth(table)
    made = []
    for one in read_folder(table):
        true = one.said.true_rev_min
        if not one.cutting or not true:
            continue
        rng = _rng(one.path.name)
        off = float(np.clip(rng.normal(0.0, _DIAL), -0.07, 0.07))
        right = abs(np.log(one.rev_min / true)) < SLIP
        dial = one.rev_min if right else float(f"{true * np.exp(off):.3g}")
        made.append(
            NumbersCase(
                maker=maker,
                path=one.path,
                true_rev_min=true,
                teeth=teeth.get(one.path.name) or one.teeth,
                dial_rev_min=dial,
                card=invented_card(rng, dial),
                accept=one.said.accept,
                label=one.said.label,
            )
        )
    return tuple(made)


def _true_teeth(place: Path) -> dict[str, int]:
    from chatter.lab.evaluate.labelled.converters import CONVERTERS
    from chatter.lab.evaluate.labelled.reading import FILE

    names = [place] if place.is_file() else [place / name for name in (FILE, *CONVERTERS)]
    table = next((one for one in names if one.is_file()), None)
    if table is None:
        raise BookError(f"'{place}' holds no table of labels: name a labelled folder.")
    rows = read_collection(table) if table.suffix == ".csv" else convert(table)
    return {row.file: row.true_teeth for row in rows if row.true_teeth}


def _rng(name: str) -> np.random.Generator:
    """Drawn by the recording's name: the same card every time."""
    return np.random.default_rng(int(hashlib.sha256(name.encode()).hexdigest()[:8], 16))


def invented_card(rng: np.random.Generator, dial: float) -> tuple[float, ...]:
    """The speeds of a machine whose lever stands right at ``dial``, with two steps to each side."""
    step = float(rng.uniform(*STEPS))
    notch = int(rng.integers(2, SPEEDS - 2))
    return tuple(dial if i == notch else float(f"{dial * step ** (i - notch):.3g}")
                 for i in range(SPEEDS))  # fmt: skip


def first_of_each(cases: Sequence[NumbersCase], most: int) -> list[int]:
    """Places of the first cases of every maker."""
    taken: dict[str, int] = {}
    places = []
    for i, case in enumerate(cases):
        taken[case.maker] = taken.get(case.maker, 0) + 1
        if taken[case.maker] <= most:
            places.append(i)
    return places


def statements(case: NumbersCase) -> Iterator[Statement]:
    """Everything that is stated of a case: right, wrong and left out."""
    dial, teeth = case.dial_rev_min, case.teeth
    yield Statement("right", dial, teeth)
    yield Statement("right, no list", dial, teeth, listed=False)
    for steps in (-2, -1, 1, 2):
        notch = case.notch + steps
        yield Statement(f"lever {abs(steps)} off", case.card[notch], teeth)
        if abs(steps) == 1:
            yield Statement("lever 1 off, no list", case.card[notch], teeth, listed=False)
    for off in (-2, -1, 1, 2):
        if teeth + off >= 1:
            yield Statement(f"teeth {abs(off)} off", dial, teeth + off)
    if teeth % 2 == 0:
        yield Statement("half the teeth", dial, teeth // 2)
    yield Statement("twice the teeth", dial, 2 * teeth)
    yield Statement("no speed", None, teeth)
    yield Statement("no teeth", dial, None)
    yield Statement("no number", None, None)


def one_of_each(case: NumbersCase) -> Iterator[Statement]:
    """One statement of each sort: one lever up or down, by the recording's name."""
    by: dict[str, list[Statement]] = {}
    for said in statements(case):
        by.setdefault(said.name, []).append(said)
    at = zlib.crc32(case.path.name.encode())
    for those in by.values():
        yield those[at % len(those)]
