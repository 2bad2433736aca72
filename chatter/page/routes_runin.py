"""Run in a machine: the guided list, idle recordings, surface notes, the report."""

from __future__ import annotations

import asyncio
import json
from datetime import date
from typing import TYPE_CHECKING

from chatter.errors import ChatterError
from chatter.page import shelf
from chatter.page.desk import Plain, desk_of, kept_of, posted, see
from chatter.page.made_here import put_in_line
from chatter.page.render import page
from chatter.page.routes_home import receive
from chatter.page.spool import DONE

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

    from chatter.logbook import Book, MachineRow
    from chatter.page.desk import Desk
    from chatter.page.spool import Kept
    from chatter.page.uploads import Form
    from chatter.runin.plan import PlanStep

_FIELDS = ("speed", "date", "hours", "phone", "place")


async def machine(request: Request, *, wrong: str = "", status: int = 200) -> Response:
    """The run-in page of a machine."""
    from chatter.trade.surface import signs

    desk = desk_of(request)
    row = await _row(request)
    steps, ahead, count = await desk.shelf.ask(_guided, row)
    mine = [one for one in desk.spool.all() if one.machine == row.uid]
    idle = [(one, take) for one in mine if one.kind == "idle" and (take := one.last) is not None]
    last = idle[0][1].stated if idle else {}
    return page(
        request,
        "runin.html",
        status=status,
        row=row,
        steps=steps,
        ahead=ahead,
        count=count,
        signs=signs(),
        busy=[one for one, take in idle if take.state not in (DONE, "failed")],
        failed=[one for one, take in idle if take.state == "failed"][:5],
        reports=[one for one in mine if one.kind == "runin"][:5],
        today=date.today().isoformat(),
        last=last,
        wrong=wrong or (request.query_params.get("wrong") is not None and _NO_FILE) or "",
        care=_care(),
    )


_NO_FILE = "No recording was attached: choose a file or film it, then press Add."


async def upload_idle(request: Request) -> Response:
    """An idle recording for the log."""

    async def adopt(desk: Desk, form: Form) -> list[Kept]:
        row = await _row(request)
        stated = {name: form.fields.get(name, "").strip()[:80] for name in _FIELDS}
        stated["date"] = stated["date"] or date.today().isoformat()
        _check(stated)
        kept = []
        for part in form.files:
            if part.path is None:
                continue
            idle = await asyncio.to_thread(
                desk.spool.adopt, part.path, part.name, stated, kind="idle", machine=row.uid
            )
            part.path = None
            idle = desk.spool.add_take(idle, stated, idle.units)
            desk.queue.put(idle, len(idle.takes))
            kept.append(idle)
        return kept

    here = request.url.path.removesuffix("idle") + "runin"
    return await receive(request, adopt, here, f"{here}?wrong=none")


def _check(stated: dict[str, str]) -> None:
    """Refuse what the log would refuse, while the file can still be sent again.  Raises Plain."""
    from pathlib import Path

    from chatter.runin.folder import entry_of

    try:
        entry_of({**stated, "kind": "idle", "file": "recording"}, Path())
    except ChatterError as error:
        sentence = str(error).replace("The idle recording 'recording' needs", "It needs")
        raise Plain(422, f"Nothing was kept. {sentence}") from None


async def surface(request: Request) -> Response:
    """What the cut faces show."""
    from chatter.logbook import add_surface

    form = await posted(request)
    row = await _row(request)
    fields = {name: str(form.get(name, "")).strip()[:300] for name in ("sign", "face", "note")}
    try:
        await desk_of(request).shelf.put(
            add_surface,
            fields["sign"],
            face=fields["face"],
            note=fields["note"],
            seen_on=date.today().isoformat(),
            machine=row,
        )
    except ChatterError as error:
        return await machine(request, wrong=str(error), status=422)
    return see(f"/shop/machine/{row.uid}/runin")


async def start_runin(request: Request) -> Response:
    """Have the report made."""
    await posted(request)
    row = await _row(request)
    kept = await put_in_line(
        request, {"machine": row.uid}, f"Run-in of {row.name}", kind="runin", machine=row.uid
    )
    return see(f"/runin/{kept.id}")


async def show_runin(request: Request) -> Response:
    """A run-in report, or how far it is."""
    desk, kept = desk_of(request), kept_of(request)
    if kept.kind != "runin" or kept.last is None:
        raise Plain(404, "There is no such report: look at the machine under Shop.")
    answer = None
    if kept.last.state == DONE:
        path = desk.spool.take_folder(kept, kept.last.number) / "runin.json"
        answer = json.loads(path.read_text(encoding="utf-8"))
    return page(
        request,
        "runin_report.html",
        one=kept,
        take=kept.last,
        told=answer,
        before=desk.queue.before(kept.id, kept.last.number),
        care=_care(),
    )


async def _row(request: Request) -> MachineRow:
    from chatter.logbook import MachineRow

    uid = request.path_params["uid"]
    row = await desk_of(request).shelf.ask(shelf.by_uid, MachineRow, uid)
    if row is None:
        raise Plain(404, "There is no such machine: look under Shop.")
    return row


def _guided(book: Book, row: MachineRow) -> tuple[tuple[PlanStep, ...], PlanStep | None, int]:
    """(steps, the next one or None, number of entries in the log)."""
    from chatter.runin.book import load_book
    from chatter.runin.plan import guided_list, next_step

    log, _ = load_book(book, row.uid)
    steps = guided_list(log.machine, log.entries)
    return steps, next_step(steps), len(log.entries)


def _care() -> tuple[str, ...]:
    from chatter.trade.cautions import cautions

    return cautions(None, "report")
