"""One picture to share: verdict, what to do, the sound, a caution; PNG, 1080 x 1350."""

from __future__ import annotations

import functools
import io
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from chatter.job.system import system_of_plain
from chatter.report import words
from chatter.report.care import two_that_fit
from chatter.report.glance import glance
from chatter.report.pictures import spectrogram_pixels

if TYPE_CHECKING:
    from chatter.findings import Findings
    from chatter.listening.exhibits import Overview

WIDTH, HEIGHT = 1080, 1350
_EDGE = 60
_INK, _DIM, _SHEET, _RULE, _CARE = "#1b1e1f", "#54585a", "#f6f4ee", "#c3beb0", "#8a1c12"
#: The colours of the verdicts, as in report.css on a light ground.
VERDICT_INK = {
    "chatter": "#b0210f",
    "side_rubbing": "#864700",
    "uneven_teeth": "#5a36a6",
    "normal": "#1c6834",
    "machine_only": "#2f5878",
    "cannot_tell": "#54585a",
}
#: Height of the picture of the sound, and the fewest colours that keep its ramp smooth.
_PICTURE, _COLOURS = 300, 96


def card_png(
    findings: Findings,
    overview: Overview,
    *,
    units: str = "metric",
    made_at: datetime | None = None,
) -> bytes:
    """Draw the findings as one picture for a phone's messenger.

    Parameters
    ----------
    findings : Findings
    overview : Overview
        Levels of the whole recording, as in ``Exhibits.overview``.
    units : str
        "metric" or "inch", where the job's cards do not tell.
    made_at : datetime, optional
        Printed on it; the present time if left out.

    Returns
    -------
    bytes
        A PNG of 1080 x 1350.
    """
    from PIL import Image, ImageDraw

    units = system_of_plain(findings.job, units)
    image = Image.new("RGB", (WIDTH, HEIGHT), _SHEET)
    pen = _Pen(ImageDraw.Draw(image))
    ink = VERDICT_INK[findings.verdict]
    y = _plate(pen, findings, made_at or datetime.now())
    y = pen.fitted(words.verdict_name(findings.verdict), y + 26, 124, ink, lines=1)
    others = words.also(findings)
    if others:
        named = ", ".join(words.verdict_name(one).lower() for one in others)
        y = pen.fitted(f"and {named}", y + 4, 44, _DIM, lines=1)
    likely = words.possible(findings)
    if likely:
        named = ", ".join(words.verdict_name(one).lower() for one in likely)
        y = pen.fitted(f"possible: {named}", y + 4, 44, _DIM, lines=1)
    sure = words.confidence_words(findings.verdict, findings.confidence)
    y = pen.fitted(sure[:1].upper() + sure[1:], y + 10, 36, _INK, lines=1)

    low = _foot(pen, findings, units)
    top = low - _PICTURE - 90
    _sound(image, pen, findings, overview, top)
    y = bar = y + 30
    left, foot = _EDGE + 38, top - 34
    y = pen.fitted("Do this first", y - 6, 30, _DIM, left=left, lines=1, bold=False)
    step = words.first_step(findings)
    y = pen.fitted(step, y + 4, 58, _INK, left=left, lines=9, room=foot - y)
    if findings.suggestions and foot - y > 90:
        why = min(findings.suggestions, key=lambda one: one.rank).reason
        room = foot - y - 12
        y = pen.fitted(why, y + 12, 30, _DIM, left=left, lines=9, room=room, bold=False)
    pen.draw.rectangle((_EDGE, bar, _EDGE + 10, y), fill=ink)
    png = io.BytesIO()
    image.quantize(_COLOURS, dither=Image.Dither.NONE).save(png, "PNG", optimize=True)
    return png.getvalue()


class _Pen:
    """Text on a drawing, in one family of type, wrapped to the edges."""

    def __init__(self, draw: Any):
        self.draw = draw

    def fitted(
        self,
        text: str,
        y: float,
        size: int,
        fill: str,
        *,
        left: int = _EDGE,
        right: int = WIDTH - _EDGE,
        lines: int,
        room: float = HEIGHT,
        bold: bool = True,
    ) -> int:
        """Write at the largest size up to ``size`` that fits; returns the foot of the text."""
        while True:
            font = _font(size, bold=bold)
            broken = wrapped(text, font.getlength, right - left)
            step = round(1.22 * size)
            fits = len(broken) <= lines and step * len(broken) <= room
            if fits or size <= 20:
                break
            size -= 2
        most = max(1, min(lines, int(room // step)))
        if len(broken) > most:
            broken = [*broken[: most - 1], broken[most - 1].rstrip(" .,;:") + " …"]
        for line in broken:
            self.draw.text((left, y), line, font=font, fill=fill)
            y += step
        return round(y)


def wrapped(text: str, length: Any, width: float) -> list[str]:
    """Break a text into lines; a word that is too long is broken too.

    Parameters
    ----------
    text : str
    length : callable
        Width of a text.
    width : float
        The most a line may have, in the same unit.
    """
    lines = [""]
    for word in text.split():
        joined = f"{lines[-1]} {word}".strip()
        if length(joined) <= width:
            lines[-1] = joined
            continue
        if lines[-1]:
            lines.append("")
        for letter in word:
            if lines[-1] and length(lines[-1] + letter) > width:
                lines.append("")
            lines[-1] += letter
    return lines


def _plate(pen: _Pen, findings: Findings, made_at: datetime) -> int:
    """File and date, and whether it is simulated; returns the foot."""
    y = _EDGE - 16
    if findings.simulated:
        font = _font(28, bold=True)
        text = "Simulated recording: no real machine made this sound."
        pen.draw.rectangle((0, 0, WIDTH, 58), fill=_INK)
        pen.draw.text((_EDGE, 12), text, font=font, fill=_SHEET)
        y = 78
    date = made_at.strftime("%Y-%m-%d")
    wide = _font(28, bold=False).getlength(date)
    pen.draw.text((WIDTH - _EDGE - wide, y), date, font=_font(28, bold=False), fill=_DIM)
    name = "".join(
        c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in findings.source.name
    )
    y = pen.fitted(name, y, 28, _DIM, right=round(WIDTH - _EDGE - wide - 30), lines=1)
    pen.draw.line((_EDGE, y + 8, WIDTH - _EDGE, y + 8), fill=_INK, width=3)
    return y + 8


def _foot(pen: _Pen, findings: Findings, units: str) -> int:
    """Caution and set-up at the foot of the picture; returns their top."""
    stated = glance(findings, units).stated
    facts = [text for name, text in stated if name in ("Machine", "Cutter", "Work")]
    cut = findings.job.get("cut") or {}
    if cut.get("speed_rev_min") is not None:
        facts.append(f"{words.show_number(cut['speed_rev_min'], 4)} rev/min stated")
    care = (*two_that_fit(findings.cautions), "")[0]
    small = _font(25, bold=False)
    notes = wrapped(" · ".join(facts), small.getlength, WIDTH - 2 * _EDGE)[:2]
    warned = wrapped(care, small.getlength, WIDTH - 2 * _EDGE)[:3]
    y = top = HEIGHT - 34 - 32 * (len(notes) + len(warned) + 1)
    for lines, fill in ((notes, _INK), (warned, _CARE), (_SIGNED, _DIM)):
        for line in lines:
            pen.draw.text((_EDGE, y), line, font=small, fill=fill)
            y += 32
    return top


#: What every picture says of itself.
_SIGNED = ("Heard by chatter from a phone recording; advice, not an inspection.",)


def _sound(image: Any, pen: _Pen, findings: Findings, overview: Overview, top: int) -> None:
    """The spectrogram with its passes and the seconds below it."""
    from PIL import Image

    from chatter.report.axes import time_marks

    wide = WIDTH - 2 * _EDGE
    pixels, _, _ = spectrogram_pixels(overview, columns=wide // 2, rows=_PICTURE // 2)
    drawn = Image.fromarray(pixels).resize((wide, _PICTURE), Image.Resampling.BILINEAR)
    image.paste(drawn, (_EDGE, top + 34))
    length = max(findings.source.duration_s, 1e-9)
    small = _font(22, bold=False)
    free = 0.0  # right end of the last name written
    for one_pass in findings.passes:
        left, right = (_EDGE + wide * at / length for at in (one_pass.start_s, one_pass.end_s))
        ink = VERDICT_INK[one_pass.verdict]
        pen.draw.rectangle((left, top + 26, max(right - 3, left + 3), top + 33), fill=ink)
        name = words.verdict_name(one_pass.verdict)
        if small.getlength(name) > right - left:
            name = name.partition(" ")[0]
        if small.getlength(name) <= right - left and left >= free:
            pen.draw.text((left, top - 2), name, font=small, fill=ink)
            free = left + small.getlength(name)
        for at in (left, right):
            pen.draw.line((at, top + 34, at, top + 34 + _PICTURE), fill="#ffffff", width=1)
    foot = top + 34 + _PICTURE + 6
    for mark in time_marks(findings.source.duration_s, 6):
        text = mark.text if words.is_long(findings.source.duration_s) else f"{mark.text} s"
        x = _EDGE + wide * mark.at - small.getlength(text) / 2
        x = min(max(x, _EDGE), WIDTH - _EDGE - small.getlength(text))
        pen.draw.text((x, foot), text, font=small, fill=_DIM)


@functools.cache
def _font(size: int, *, bold: bool) -> Any:
    """A face with the letters of most languages."""
    from PIL import ImageFont

    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    return ImageFont.truetype(str(Path(__file__).parent / "fonts" / name), size)
