"""Numbers that fit the sound better than those stated, as one press of a button each."""

from __future__ import annotations

from dataclasses import dataclass

from chatter.findings import Findings
from chatter.logbook import Book
from chatter.page import shelf
from chatter.page.spool import Kept, PageListen


@dataclass(frozen=True)
class Offer:
    """A button: its words, and the fields of the form that listens again."""

    words: str  # "at 106 rev/min"
    fields: dict[str, str]


def offers(
    book: Book | None, kept: Kept, take: PageListen | None, findings: Findings
) -> tuple[Offer, ...]:
    """What may be pressed below an answer whose numbers do not fit; all else stays as it was.

    Parameters
    ----------
    book : Book or None
    kept : Kept
    take : PageListen or None
        The listen that is shown.
    findings : Findings
        What it found.
    """
    heard = findings.numbers
    if heard is None:
        return ()
    as_it_was = _as_it_was(kept, take)
    offered = []
    if heard.rev_min is not None:
        fields = {**as_it_was, "cut.speed": f"{heard.rev_min:g}"}
        offered.append(Offer(f"at {heard.rev_min:g} rev/min", fields))
    if heard.count is not None:
        fields = {**as_it_was, "cutter.teeth": str(heard.count)}
        if kept.cutter and book is not None:
            # its card says the other count: what else it says is stated instead
            card = shelf.card_texts(book, "", kept.cutter)
            fields = {**card, **fields, "cutter": ""}
        offered.append(Offer(f"with {heard.count} teeth", fields))
    return tuple(offered)


def _as_it_was(kept: Kept, take: PageListen | None) -> dict[str, str]:
    """The fields of the form as they stood when this listen was asked for."""
    start, end = span_texts(take)
    return {
        **kept.stated,
        **{"units": kept.units, "machine": kept.machine, "cutter": kept.cutter},
        **{"idle": kept.idle, "taps": kept.taps, "from": start, "to": end},
    }


def span_texts(take: PageListen | None) -> tuple[str, str]:
    """Start and end of the stretch that a listen was asked for, as its form shows them."""
    from chatter.job.times import parse_span

    text = take.stated.get("take.span", "") if take else ""
    if not text:
        return "", ""
    start, end = parse_span(text)
    return f"{start:g}", f"{end:g}"
