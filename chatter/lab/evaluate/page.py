"""The dated HTML and JSON of an evaluation."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from chatter.errors import OutputError
from chatter.findings import CAUSES
from chatter.lab.evaluate import text
from chatter.lab.evaluate.figures import FIGURES
from chatter.lab.evaluate.pictures import ANSWERS, confusion_svg, reliability_svg, words
from chatter.lab.evaluate.score import RunScore
from chatter.lab.evaluate.splits import SPLIT_ERRORS, SPLIT_FIGURES
from chatter.plain import to_json


@dataclass(frozen=True)
class Section:
    """A further section of the page: pictures and lines from another check."""

    title: str
    told: tuple[str, ...]  # paragraphs
    picture: str = ""  # SVG
    lines: str = ""  # preformatted table


def evaluation_page(
    title: str, made: str, score: RunScore | None, sections: tuple[Section, ...]
) -> str:
    """The page as HTML text.

    Parameters
    ----------
    title : str
    made : str
        Command, corpus and time, in one line.
    score : RunScore or None
    sections : tuple of Section
    """
    from markupsafe import Markup

    return _environment().get_template("evaluation.html").render(
        title=title,
        made=made,
        score=score,
        sections=[
            (s.title, s.told, Markup(s.picture), s.lines) for s in sections
        ],
        confusion=Markup(confusion_svg(score.confusion)) if score else "",
        reliability=Markup(reliability_svg(score.reliability)) if score else "",
        figure_words={name: told for name, (told, _) in FIGURES.items()},
        split_names=SPLIT_FIGURES,
            split_errors=SPLIT_ERRORS,
        causes=CAUSES,
        answers=ANSWERS,
    )  # fmt: skip


def write(
    folder: Path, name: str, title: str, made: str, score: RunScore | None,
    sections: tuple[Section, ...], data: dict[str, Any],
) -> tuple[Path, Path]:  # fmt: skip
    """Write ``NAME-DATE.html`` and ``.json`` into ``folder`` and return their paths.

    Raises
    ------
    OutputError
    """
    stamp = datetime.now().strftime("%Y-%m-%d-%H%M%S")
    page, plain = folder / f"{name}-{stamp}.html", folder / f"{name}-{stamp}.json"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        page.write_text(evaluation_page(title, made, score, sections), encoding="utf-8")
        whole = {"title": title, "made_by": made, **data}
        if score is not None:
            whole["score"] = score
        plain.write_text(to_json(whole, indent=1), encoding="utf-8")
    except OSError as error:
        raise OutputError(
            f"{folder} cannot be written ({error.strerror}): name another folder with --out."
        ) from None
    return page, plain


@cache
def _environment():
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    made = Environment(
        loader=FileSystemLoader(str(files("chatter.lab.evaluate").joinpath("templates"))),
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    made.filters.update(
        share=text.share_text, percent=text.per_cent, words=words,
        figure=text.three_digits,
    )  # fmt: skip
    made.globals.update(met=text.met)
    return made
