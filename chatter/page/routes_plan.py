"""Plan a cut."""

from __future__ import annotations

import asyncio
from dataclasses import replace
from typing import TYPE_CHECKING

from chatter.errors import ChatterError
from chatter.job.build import read_statement
from chatter.job.cutter import ONE_EDGE
from chatter.job.system import system_stated
from chatter.page import forms, shelf
from chatter.page.desk import desk_of
from chatter.page.field_words import missing_words
from chatter.page.plan_view import PlanView, plan_view
from chatter.page.render import page, units_in
from chatter.page.routes_home import own

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

    from chatter.page.desk import Desk


async def show_plan(request: Request) -> Response:
    """The form and, once it is filled in, the plan; nothing is stored."""
    desk, asked = desk_of(request), dict(request.query_params)
    units = units_in(request, asked)
    newest = next(iter(own(request)), None)
    machine = asked.get("machine", newest.machine if newest and not asked else "")[:64]
    cutter = asked.get("cutter", newest.cutter if newest and not asked else "")[:64]
    entered, view = forms.Read({}, {}), None
    if asked:
        entered = forms.read(asked, forms.PLAN, units)
        entered, view = await _planned(desk, entered, machine, cutter, units)
    basic = forms.PLAN[:9]
    return page(
        request,
        "plan.html",
        status=200 if entered.ok else 422,
        units=units,
        machine=machine,
        cutter=cutter,
        needed=forms.views(basic, entered.stated, units, entered.errors),
        sharper=forms.views(forms.PLAN[9:], entered.stated, units, entered.errors),
        open=any(name in entered.errors for name in forms.PLAN[9:]),
        wrong=entered.wrong,
        view=view,
        care=_care(),
        **await desk.shelf.ask(shelf.both),
    )


async def _planned(
    desk: Desk, entered: forms.Read, machine: str, cutter: str, units: str
) -> tuple[forms.Read, PlanView | None]:
    from chatter.planning.front import plan_stated

    texts = await desk.shelf.ask(shelf.card_texts, machine, cutter)
    entered = replace(forms.with_cards(texts, entered), stated=entered.stated)
    whole = {**texts, **entered.stated}
    needs = whole.get("cutter.form") not in (*ONE_EDGE, "band_saw")
    if needs and "cutter.teeth" not in whole and "cutter.teeth" not in entered.errors:
        errors = {**entered.errors, "cutter.teeth": missing_words("cutter.teeth")}
        return forms.Read(entered.stated, errors), None
    if not entered.ok:
        return entered, None
    try:
        values = read_statement(forms.options(whole))
        units = system_stated(values) or units  # the cards' own, whatever the form is shown in
        plan = await asyncio.to_thread(plan_stated, values, units)
    except ChatterError as error:
        return forms.Read(entered.stated, entered.errors, str(error)), None
    return entered, plan_view(plan, units)


def _care() -> tuple[str, ...]:
    from chatter.trade.cautions import cautions

    return cautions(None, "plan")
