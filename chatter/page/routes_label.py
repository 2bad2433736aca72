"""What cuts really were: a tap for each pass, blind or not, and the record of the answers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from chatter.page import shelf
from chatter.page.desk import Plain, desk_of, kept_of, posted, see
from chatter.page.render import page

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

    from chatter.findings import Findings
    from chatter.logbook import Book

#: Cookies: the initials last used, and whether answers wait until something was said.
BY_COOKIE, BLIND_COOKIE = "chatter_by", "chatter_blind"
_YEAR_S = 365 * 24 * 3600


@dataclass(frozen=True)
class Sayings:
    """What the page shows of one pass: its place, and what was said of it."""

    index: int  # 0: the whole recording
    where: str
    labels: tuple


async def label(request: Request) -> Response:
    """Keep in the logbook what a recording, or one pass of it, really was."""
    from chatter.logbook.collection import HOW_KNOWN
    from chatter.logbook.labels import SAYABLE

    form = await posted(request)
    desk, kept = desk_of(request), kept_of(request)
    done = [take for take in kept.takes if take.entry]
    if not done:
        raise Plain(409, "There is no answer in the logbook to say this of yet: listen first.")
    of, _, verdict = str(form.get("say", "")).partition(":")
    if verdict not in SAYABLE or not (of.isascii() and of.isdecimal() and len(of) < 6):
        raise Plain(422, "Nothing was chosen: go back and choose what it really was.")
    how = str(form.get("how_known", ""))
    if how and how not in HOW_KNOWN:
        raise Plain(422, "How it is known was not one of the choices: go back and choose again.")
    texts = {
        name: " ".join(str(form.get(name, "")).split())[:most]
        for name, most in (("cure", 300), ("note", 300), ("by", 12))
    }
    await desk.shelf.put(
        shelf.put_label,
        done[-1].entry,
        verdict,
        pass_index=int(of) or None,
        how_known=how,
        blind=form.get("blind") == "1",
        **texts,
    )
    answer = see(f"/recordings/{kept.id}#really")
    _remember(answer, BY_COOKIE, texts["by"])
    return answer


async def blind(request: Request) -> Response:
    """Hide answers until something was said of the recording, or show them again."""
    form = await posted(request)
    answer = see("/recordings")
    _remember(answer, BLIND_COOKIE, "1" if form.get("blind") == "1" else "")
    return answer


async def show_record(request: Request) -> Response:
    """How often the program was right, on all machines or on one."""
    desk = desk_of(request)
    uid = request.query_params.get("machine", "")
    record = await desk.shelf.ask(shelf.record_of_machine, uid)
    if record is None:
        raise Plain(404, "There is no such machine in the logbook: look under Shop.")
    machines = await desk.shelf.ask(shelf.machines)
    return page(request, "record.html", r=record, machines=machines, machine=uid)


def is_blind(request: Request) -> bool:
    """Whether this browser wants to label before it sees answers."""
    return request.cookies.get(BLIND_COOKIE) == "1"


def initials(request: Request) -> str:
    """The initials last used in this browser."""
    kept = request.cookies.get(BY_COOKIE, "")[:12]
    return kept if kept.isprintable() else ""


def _remember(answer: Response, name: str, value: str) -> None:
    safe = "".join(letter for letter in value if letter.isascii() and letter.isalnum())
    answer.set_cookie(name, safe, max_age=_YEAR_S, httponly=True, samesite="strict", path="/")


def sayings(book: Book, entry: str | None, findings: Findings | None) -> tuple[Sayings, ...]:
    """The passes of the newest answer and what was said of each; then the whole recording."""
    from chatter.logbook import LabelRow
    from chatter.logbook.labels import by_pass, counting, label_words, lost

    labels = book.list(LabelRow, recording=entry) if entry else ()
    passes = findings.passes if findings else ()
    of_passes, left = by_pass(labels, findings)
    said = {said_of.one_pass.index: said_of.labels for said_of in of_passes}
    by_pass_now = [
        Sayings(
            one.index,
            f"Pass {one.index}, {one.start_s:.1f} to {one.end_s:.1f} s",
            tuple(label_words(each) for each in said.get(one.index, ())),
        )
        for one in passes
    ]
    whole = [label_words(each) for each in counting(x for x in left if x.pass_index is None)]
    gone = [lost(each) for each in left if each.pass_index is not None]
    if len(passes) != 1 or whole or gone:
        by_pass_now.append(Sayings(0, "The whole recording", (*whole, *gone)))
    return tuple(by_pass_now)
