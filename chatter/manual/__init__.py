"""The manual: one Markdown file a topic, for the page's Help, ``chatter help`` and the README."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from chatter.errors import JobError

FOLDER = Path(__file__).parent
#: Recordings and cards that the manual's commands run on; the recordings are simulated.
EXAMPLES = FOLDER / "examples"
#: The topics in the order they are listed.
TOPICS = (
    *("record", "listen", "cards", "plan", "tap", "compare", "runin", "batch", "logbook"),
    "teach",
    *("page", "programs", "words", "cautions"),
)
#: Where the topic ``cautions`` gets the reviewed table.
_CAUTIONS = "<!-- cautions -->"


@dataclass(frozen=True)
class Topic:
    """One page of the manual."""

    name: str
    title: str
    about: str  # its first paragraph, in one line
    text: str  # Markdown


def topic(name: str) -> Topic:
    """A page of the manual by its name.

    Raises
    ------
    JobError
        There is no such topic; the nearest is named.
    """
    wanted = name.strip().lower().replace("-", "").replace("_", "")
    if wanted not in TOPICS:
        from difflib import get_close_matches

        near = get_close_matches(wanted, TOPICS, 1)
        hint = f" Did you mean '{near[0]}'?" if near else ""
        raise JobError(f"There is no help on '{name}'.{hint} Topics: {', '.join(TOPICS)}.")
    text = (FOLDER / f"{wanted}.md").read_text(encoding="utf-8")
    if _CAUTIONS in text:
        text = text.replace(_CAUTIONS, _cautions())
    title, _, rest = text.partition("\n")
    about = " ".join(rest.strip().partition("\n\n")[0].split())
    return Topic(wanted, title.removeprefix("# ").strip(), about, text)


def topics() -> tuple[Topic, ...]:
    """All pages of the manual, in their order."""
    return tuple(topic(name) for name in TOPICS)


def as_html(name: str) -> str:
    """A page of the manual as HTML; nothing in it comes from outside the package."""
    from markdown_it import MarkdownIt

    return MarkdownIt("commonmark").enable("table").render(topic(name).text)


def _cautions() -> str:
    from chatter.trade.cautions import caution_table

    return "\n".join(
        f"- {row['text'].replace('{marked_speed}', 'as marked')}" for row in caution_table()
    )
