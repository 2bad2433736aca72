"""Findings and exhibits as one self-contained HTML page."""

from __future__ import annotations

import base64
import functools
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from chatter.findings import CAUSES, Evidence, Findings, Line, Pass
from chatter.job.system import system_of_plain
from chatter.report import words
from chatter.report.care import two_that_fit
from chatter.report.definition import listed_oddly, speaks
from chatter.report.drawing import Drawing
from chatter.report.glance import TABLE_ON_PAGE_ONE, glance, telling
from chatter.report.names import safe_stem
from chatter.report.stated import stated_lines

if TYPE_CHECKING:
    from jinja2 import Environment, Template

    from chatter.listening.exhibits import Exhibits, PassExhibit

TEMPLATES = Path(__file__).with_name("templates")

#: Pieces of evidence, and suggestions, shown before the rest is folded.
EVIDENCE_OPEN = 4
SUGGESTIONS_OPEN = 3
#: Up to this many passes are all shown unfolded.
PASSES_OPEN = 3


@dataclass(frozen=True)
class PassView:
    """One pass as the template shows it."""

    one_pass: Pass
    timeline: Any
    odds: tuple[tuple[str, str, float], ...]
    spectra: tuple[tuple[Any, Any, str], ...]  # (wide, narrow or None, alt text)
    families: tuple
    modulation: Any
    dial: Any
    evidence: tuple[Evidence, ...]
    more_evidence: tuple[Evidence, ...]
    tones: tuple[Line, ...]


def listen_page(
    findings: Findings,
    exhibits: Exhibits,
    *,
    sound: Any = None,
    sound_note: str = "",
    units: str = "metric",
    made_at: datetime | None = None,
) -> str:
    """The report as HTML text.

    Parameters
    ----------
    findings : Findings
    exhibits : Exhibits
        The arrays behind the pictures; passes without one get no pictures.
    sound : Playable, optional
        What the player plays (``mime``, ``data``, ``offset_s``); no player without.
    sound_note : str
        Said in place of the player, or below it.
    units : str
        "metric" or "inch", where the job's cards do not tell.
    made_at : datetime, optional
        Printed at the end; the present time if left out.
    """
    from markupsafe import Markup

    from chatter.report.card import card_png
    from chatter.report.figure_strips import overview_strip

    units = system_of_plain(findings.job, units)
    made_at = made_at or datetime.now()
    card = card_png(findings, exhibits.overview, units=units, made_at=made_at)
    picture = "data:image/png;base64," + base64.b64encode(card).decode()
    shown = {one.index: one for one in exhibits.passes}
    many = len(findings.passes) > PASSES_OPEN
    long = words.is_long(findings.source.duration_s)
    draw = Drawing()
    views = tuple(pass_view(p, shown.get(p.index), many, draw, long) for p in findings.passes)
    uri = ""
    if sound is not None:
        uri = f"data:{sound.mime};base64," + base64.b64encode(sound.data).decode()
    return template("report.html").render(
        f=findings,
        views=views,
        many=many,
        long=long,
        plate=_plate(findings, long),
        also=words.also(findings),
        possible=words.possible(findings),
        told=telling(findings),
        numbers=glance(findings, units),
        care=two_that_fit(findings.cautions),
        table_on_page_one=TABLE_ON_PAGE_ONE,
        shown_open=SUGGESTIONS_OPEN,
        card_uri=Markup(picture),
        card_name=safe_stem(findings.source.name) + ".png",
        overview=draw.of("the spectrogram", overview_strip, findings, exhibits.overview),
        palette=_palette_css(),
        step=words.first_step(findings),
        lobes=draw.of("the stability chart", _lobes, findings, units),
        lacking=draw.note,
        suggestions=sorted(findings.suggestions, key=lambda one: one.rank),
        stated=stated_lines(findings.job, units),
        sound_uri=Markup(uri),  # base64 and a checked type: nothing to escape
        sound_offset=sound.offset_s if sound is not None else 0.0,
        sound_note=sound_note,
        made_at=made_at.strftime("%Y-%m-%d %H:%M"),
    )


def pass_view(
    one_pass: Pass, exhibit: PassExhibit | None, many: bool, draw: Drawing, long: bool = False
) -> PassView:
    """Everything the page shows of one pass; drawn once and small when there are many."""
    from chatter.report import figure_modulation, figure_spectrum, figure_teeth
    from chatter.report.figure_strips import timeline_strip

    of, modulation = f"of pass {one_pass.index}", None
    if exhibit is not None:
        modulation = exhibit.modulation
    teeth = max(1, round(60 * one_pass.tooth_passing_hz / one_pass.spindle.rev_min))
    ranked = sorted(one_pass.lines, key=lambda line: -line.level_db)
    evidence = sorted(one_pass.evidence, key=lambda e: (listed_oddly(e), -abs(e.weight)))
    return PassView(
        one_pass,
        draw.of(f"the timeline {of}", timeline_strip, one_pass, long=long),
        tuple((c, words.verdict_name(c), one_pass.probabilities.get(c, 0.0)) for c in CAUSES),
        draw.of(f"the spectrum {of}", _spectra, one_pass, exhibit, many) or (),
        figure_spectrum.families(one_pass),
        modulation
        and draw.of(f"the swells {of}", figure_modulation.draw_modulation, modulation, teeth),
        draw.of(f"the teeth {of}", figure_teeth.draw_dial, one_pass.teeth),
        tuple(evidence[:EVIDENCE_OPEN]),
        tuple(evidence[EVIDENCE_OPEN:]),
        tuple(ranked),
    )


def _spectra(one_pass: Pass, exhibit: PassExhibit | None, many: bool) -> tuple:
    from chatter.report import figure_spectrum

    spectra = []
    if exhibit is not None and exhibit.spectrum.order.size:
        for at, span in enumerate(figure_spectrum.ranges(one_pass, exhibit.spectrum)):
            height = 1.0 if at == 0 else 0.72
            narrow = figure_spectrum.draw_spectrum(
                one_pass, exhibit.spectrum, span, width=400, height=300 * height, size=13
            )
            wide = figure_spectrum.draw_spectrum(
                one_pass,
                exhibit.spectrum,
                span,
                width=720 if many else 900,
                height=240 * height,
                size=14,
            )
            spectra.append((wide, None if many else narrow, _spectrum_alt(one_pass, span)))
    return tuple(spectra)


@dataclass(frozen=True)
class LobesView:
    """The stability chart as the template shows it."""

    wide: Any
    narrow: Any
    caption: tuple[str, ...]


def _lobes(findings: Findings, units: str) -> LobesView | None:
    """The stability chart of the pass that chatters worst; None when none does."""
    from markupsafe import Markup

    from chatter.errors import JobError
    from chatter.job.build import job_from_plain
    from chatter.trade.stability import chart, worst_chatter
    from chatter.trade.tapped import mode_of

    worst = worst_chatter(findings.passes)
    if worst is None:
        return None
    from chatter.report.stability_figure import NARROW, WIDE, caption, stability_svg

    try:
        job = job_from_plain(findings.job)
    except JobError:  # findings kept by another version may state what this one cannot read
        return None
    lobes = chart(worst, job, mode_of(worst.chatter), system=units)
    if lobes is None:
        return None
    # Drawn here from numbers and escaped words: nothing in it comes from outside.
    wide, narrow = (
        Markup(stability_svg(lobes, units, size, prefix=name))
        for size, name in ((WIDE, "lobes-wide-"), (NARROW, "lobes-narrow-"))
    )
    return LobesView(wide, narrow, caption(lobes))


def _plate(findings: Findings, long: bool) -> str:
    """What is engraved above the answer: length, stated speed, teeth."""
    parts = [f"{words.show_clock(findings.source.duration_s, long=long)} of sound"]
    speed = (findings.job.get("cut") or {}).get("speed_rev_min")
    teeth = (findings.job.get("cutter") or {}).get("teeth")
    if speed is not None:
        parts.append(f"{words.show_number(speed, 4)} rev/min stated")
    if teeth is not None:
        parts.append("1 tooth" if teeth == 1 else f"{teeth} teeth")
    return " · ".join(parts)


def _spectrum_alt(one_pass: Pass, span_hz: tuple[float, float]) -> str:
    inside = [ln for ln in one_pass.lines if span_hz[0] < ln.frequency_hz <= span_hz[1]]
    loud = sorted(inside, key=lambda ln: -ln.level_db)[:3]
    named = "; ".join(
        f"{words.tone_label(ln.label)} at {words.hertz(ln.frequency_hz)}, {ln.level_db:.0f} dB"
        for ln in loud
    )
    return (
        f"Spectrum of pass {one_pass.index} from {span_hz[0]:.0f} to {span_hz[1]:.0f} Hz, level "
        f"above the noise floor. {len(inside)} named lines; the loudest: {named or 'none'}."
    )


@functools.cache
def _palette_css() -> str:
    from chatter.report.palette import as_hex, palette

    return ", ".join(as_hex(palette(17)))


def environment(folder: Path) -> Environment:
    """Templates of a folder, with the words that verdicts, times and numbers are told in."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    templates = Environment(
        loader=FileSystemLoader(folder),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    templates.filters.update(
        number=words.show_number,
        hertz=words.hertz,
        clock=words.show_clock,
        percent=words.show_share,
        tone=words.tone_label,
        verdict=words.verdict_name,
        state=words.state_name,
    )
    templates.globals.update(
        verdict_words=words.VERDICT_WORDS,
        family_words=words.FAMILY_WORDS,
        glossary=words.GLOSSARY,
        speaks=speaks,
        confidence_words=words.confidence_words,
        spindle_words=words.spindle_words,
        chatter_words=words.chatter_words,
        possible_words=words.possible_words,
        candidates_words=words.candidates_words,
    )
    return templates


@functools.cache
def _environment() -> Environment:
    return environment(TEMPLATES)


def template(name: str) -> Template:
    """A template of this room by its file name."""
    return _environment().get_template(name)
