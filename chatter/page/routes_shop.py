"""Machines and cutters of the logbook: list and cards."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

from chatter.errors import ChatterError, JobError
from chatter.job.build import check_together, part_of, read_statement
from chatter.job.cards import read_card
from chatter.page import forms, shelf
from chatter.page.desk import Plain, desk_of, posted, see
from chatter.page.render import page, units_in, units_of

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

    from chatter.job.cutter import Cutter
    from chatter.job.machine import Machine
    from chatter.logbook import Book, CutterRow, MachineRow, RegrindRow


@dataclass(frozen=True)
class Kind:
    """A kind of card."""

    section: str
    fields: tuple[str, ...]
    needed: tuple[str, ...]


KINDS = {
    "machine": Kind("machine", forms.MACHINE, ("machine.name",)),
    "cutter": Kind("cutter", forms.CUTTER, ("cutter.name", "cutter.teeth")),
}


Carded: TypeAlias = "MachineRow | CutterRow"


async def shop(request: Request) -> Response:
    """What the shop has."""
    desk = desk_of(request)
    return page(request, "shop.html", **await desk.shelf.ask(shelf.both))


async def card(request: Request) -> Response:
    """The form of a card."""
    kind, row = await _asked(request)
    stated = {} if row is None else _stated(kind, row)
    return await _form(request, kind, row, forms.Read(stated, {}))


async def save_card(request: Request) -> Response:
    """Keep a card; what is wrong is said beside its field."""
    form = await posted(request)
    kind, row = await _asked(request)
    fields = {name: str(form.get(name, "")) for name in kind.fields}
    units = units_in(request, form)
    entered = forms.read(fields, kind.fields, units, needed=kind.needed)
    if entered.ok:
        try:
            values = read_statement(forms.options(entered.stated))
            check_together(values)
            part = part_of(values, kind.section)
            await desk_of(request).shelf.put(_keep, kind.section, row, part)
            return see("/shop")
        except ChatterError as error:
            entered = forms.Read(entered.stated, entered.errors, str(error))
    return await _form(request, kind, row, entered, status=422, units=units)


async def regrind(request: Request) -> Response:
    """Note that a cutter came back from the grinder."""
    from chatter.logbook import CutterRow, add_regrind

    form = await posted(request)
    _, row = await _asked(request)
    if not isinstance(row, CutterRow):
        raise Plain(404, "There is no such cutter: look under Shop.")
    day, note = str(form.get("day", ""))[:20], str(form.get("note", ""))[:300]
    await desk_of(request).shelf.put(add_regrind, row, day, note=note)
    return see(f"/shop/cutter/{row.uid}")


async def _asked(request: Request) -> tuple[Kind, Carded | None]:
    """(kind, row) that the path names; the row is None for a new card."""
    from chatter.logbook import CutterRow, MachineRow

    kind = KINDS.get(request.path_params["kind"])
    uid = request.path_params["uid"]
    if kind is None:
        raise Plain(404, "There is no such card: look under Shop.")
    if uid == "new":
        return kind, None
    row: Carded | None
    if kind.section == "machine":
        row = await desk_of(request).shelf.ask(shelf.by_uid, MachineRow, uid)
    else:
        row = await desk_of(request).shelf.ask(shelf.by_uid, CutterRow, uid)
    if row is None:
        raise Plain(404, "There is no such card: look under Shop.")
    return kind, row


async def _form(
    request: Request,
    kind: Kind,
    row: Carded | None,
    entered: forms.Read,
    *,
    status: int = 200,
    units: str | None = None,
) -> Response:
    units = units or units_of(request)
    grounds: tuple[RegrindRow, ...] = ()
    if row is not None and kind.section == "cutter":
        grounds = await desk_of(request).shelf.ask(_regrinds, row)
    return page(
        request,
        "card.html",
        status=status,
        units=units,
        kind=kind.section,
        row=row,
        fields=forms.views(kind.fields, entered.stated, units, entered.errors, kind.needed),
        wrong=entered.wrong,
        grounds=grounds,
    )


def _stated(kind: Kind, row: Carded) -> dict[str, str]:
    values = read_card(row.card, kind.section, row.name)
    texts = {name: forms.form_text(name, value) for name, value in values.items()}
    return {**texts, f"{kind.section}.name": row.name}


def _keep(book: Book, section: str, row: Carded | None, part: Machine | Cutter) -> None:
    from chatter.job.machine import Machine
    from chatter.logbook import add_cutter, add_machine, change_card

    with book.writing():
        if row is None:
            if isinstance(part, Machine):
                add_machine(book, part)
            else:
                add_cutter(book, part)
            return
        named = " ".join(part.name.split())
        if named.lower() != row.name.lower():
            taken = {other.name.lower() for other in book.list(type(row))}
            if named.lower() in taken:
                raise JobError(f"There is a {section} '{named}' already: choose another name.")
        change_card(book, row, part)
        if named != row.name:
            book.update(row, name=named)


def _regrinds(book: Book, row: Carded) -> tuple[RegrindRow, ...]:
    from chatter.logbook import RegrindRow

    return book.list(RegrindRow, cutter=row)
