"""A comparison as one self-contained HTML page, with players that switch at one moment."""

from __future__ import annotations

import base64
import hashlib
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from chatter.report import compare_figures, figure_teeth
from chatter.report.files import choose_path, write_text
from chatter.report.html import template

if TYPE_CHECKING:
    from chatter.comparing import Compared, Comparison
    from chatter.comparing.heard import Listened
    from chatter.comparing.results import SideReport
    from chatter.listening.exhibits import OrderSpectrum
from chatter.comparing.words import HOLD

#: All sound in one page together; more takes too long to open.
MAX_BYTES = 16_000_000
#: Words of the page, explained.
GLOSSARY = (
    (
        "± (interval)",
        "The true difference lies inside, and that for all rows together in 19 of 20 comparisons. "
        "It holds what another phone, place or room would change.",
    ),
    (
        "Shown",
        "The interval does not reach zero: the cutters differ. Not shown: they may still differ, "
        "by less than the interval reaches.",
    ),
    (
        "Swelling once a turn",
        "Noise that grows and shrinks once in each turn. In the hiss above about 1 kHz alone: the "
        "sides of the cutter drag (rubbing). In the deep tones as well: runout.",
    ),
    (
        "Teeth against the noise",
        "How much the noise swells with each tooth: a cutter that only hisses has little of it.",
    ),
    (
        "Unevenness from tooth to tooth",
        "How much the strokes of the teeth rise and fall over a turn: runout, a high tooth.",
    ),
    ("Order", "Times per turn of the spindle: a 20-tooth cutter strikes at order 20, 40, 60 ..."),
)


@dataclass(frozen=True)
class Voice:
    """One cutter's player."""

    letter: str
    name: str
    file: str
    uri: Any
    start_s: float  # player's time at which cutting starts
    length_s: float  # of cutting and what follows
    volume: float


@dataclass(frozen=True)
class SideView:
    """One cutter as the template shows it."""

    letter: str
    side: SideReport
    dial: Any


def write_compare(compared: Compared, out_path: str | Path | None, *, sound: bool = True) -> Path:
    """Write the page of a comparison.

    Parameters
    ----------
    compared : Compared
    out_path : path or None
        A file, an existing folder, or None for ``reports/``.
    sound : bool
        Whether the recordings go into the page.

    Returns
    -------
    Path
        The file written.

    Raises
    ------
    RecordingError, OutputError
    """
    comparison = compared.comparison
    name = "-vs-".join(side.name for side in comparison.sides)
    path = choose_path(out_path, f"compare-{name}.x", fingerprint(comparison))
    voices = _voices(compared) if sound else ()
    return write_text(path, comparison_page(compared, voices=voices))


def fingerprint(comparison: Comparison) -> str:
    """Digest of the recordings that are compared."""
    whole = ",".join(take.sha256 for side in comparison.sides for take in side.takes)
    return hashlib.sha256(whole.encode()).hexdigest()


def comparison_page(
    compared: Compared, *, voices: tuple[Voice, ...] = (), made_at: datetime | None = None
) -> str:
    """The page as HTML text.

    Parameters
    ----------
    compared : Compared
    voices : tuple of Voice
        No players without.
    made_at : datetime, optional
        Printed at the end; the present time if left out.
    """
    comparison = compared.comparison
    views = tuple(
        SideView(letter, side, figure_teeth.draw_dial(side.tooth_map))
        for letter, side in zip(compare_figures.LETTERS, comparison.sides, strict=False)
    )
    pairs = dict.fromkeys((one.first, one.second) for one in comparison.differences)
    forests = tuple(
        compare_figures.forest_plot(
            [d for d in comparison.differences if (d.first, d.second) == pair]
        )
        for pair in pairs
    )
    return template("compare.html").render(
        c=comparison,
        hold=HOLD,
        fingerprint=fingerprint(comparison),
        views=views,
        forests=forests,
        overlay=compare_figures.overlay(_spectra(compared)),
        voices=voices,
        headline=_headline(comparison),
        glossary=GLOSSARY,
        made_at=(made_at or datetime.now()).strftime("%Y-%m-%d %H:%M"),
    )


def _headline(comparison: Comparison) -> str:
    return {
        "difference": "They differ",
        "no_difference": "No difference shown",
        "cannot_tell": "Can't tell",
    }[comparison.verdict]


def _spectra(compared: Compared) -> list:
    """Of the longest pass of each cutter that has one."""
    spectra = []
    for side, takes in zip(compared.comparison.sides, compared.listened, strict=True):
        best = _longest(takes)
        if best is not None:
            spectra.append((side.name, side.teeth, best))
    return spectra


def _longest(takes: tuple[Listened, ...]) -> OrderSpectrum | None:
    longest, revolutions = None, -1.0
    for take in takes:
        shown = {exhibit.index: exhibit.spectrum for exhibit in take.exhibits.passes}
        for one_pass in take.passes:
            if one_pass.index in shown and one_pass.revolutions > revolutions:
                longest, revolutions = shown[one_pass.index], one_pass.revolutions
    return longest


def _voices(compared: Compared) -> tuple[Voice, ...]:
    """The first usable take of each cutter, the louder ones turned down to the faintest."""
    from markupsafe import Markup

    from chatter.sound.playable import playable_or_why

    chosen = []
    for side, takes in zip(compared.comparison.sides, compared.listened, strict=True):
        at = next((i for i, take in enumerate(side.takes) if take.used), 0)
        chosen.append((side.takes[at], takes[at].findings.fitness.level_dbfs))
    faintest = min(level for _, level in chosen)
    voices = []
    for letter, side, (take, level) in zip(
        compare_figures.LETTERS, compared.comparison.sides, chosen, strict=False
    ):
        sound, _ = playable_or_why(
            take.path, max_bytes=MAX_BYTES // len(chosen), length_s=take.duration_s
        )
        if sound is None:  # the comparison stands without its player
            return ()
        uri = f"data:{sound.mime};base64," + base64.b64encode(sound.data).decode()
        voices.append(
            Voice(
                letter,
                side.name,
                take.name,
                Markup(uri),  # base64 and a checked type: nothing to escape
                max(0.0, take.cut_start_s - sound.offset_s),
                max(0.1, take.duration_s - take.cut_start_s),
                round(10 ** (max(-40.0, faintest - level) / 20), 3),
            )
        )
    return tuple(voices)
