"""The page of one recording: answer, picture, corrections, label."""

from __future__ import annotations

import asyncio
import json
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from chatter.errors import ChatterError, JobError
from chatter.findings_json import read_findings
from chatter.page import forms, shelf
from chatter.page.again import offers, span_texts
from chatter.page.desk import Plain, desk_of, kept_of, posted, see
from chatter.page.queue import Full
from chatter.page.render import page, units_in, units_of
from chatter.page.routes_home import STATED, start_listen
from chatter.page.routes_label import initials, is_blind, sayings
from chatter.page.routes_surface import seen
from chatter.page.spool import DONE, FAILED, RUNNING, WAITING, Kept, PageListen

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

    from chatter.findings import Findings
    from chatter.page.desk import Desk

STOPPED = "You stopped this listen; the recording is kept."
_MAY_WAIT = "Busy: as many recordings wait as the page allows. Nothing is lost; try again soon."


async def show_recording(request: Request) -> Response:
    """The page of a recording, with its newest listen or the one asked for."""
    kept = kept_of(request)
    if kept.kind != "cut":
        return see(other_page(kept))
    return await _page(request, kept, take_of(request, kept))


async def _page(
    request: Request,
    kept: Kept,
    take: PageListen | None,
    *,
    entered: forms.Read | None = None,
    span: tuple[str, str] | None = None,
    span_error: str = "",
    status: int = 200,
    units: str | None = None,
) -> Response:
    from chatter.logbook.labels import HOW_SAID, SAYABLE
    from chatter.report import words
    from chatter.trade.surface import signs

    desk = desk_of(request)
    units = units or units_of(request)
    if entered is None:
        texts = await desk.shelf.ask(shelf.card_texts, kept.machine, kept.cutter)
        entered = forms.read(kept.stated, STATED, units)
        if not take:
            entered = forms.check_job(forms.with_cards(texts, entered))
            entered = forms.Read(kept.stated, entered.errors, entered.wrong)
    findings = await asyncio.to_thread(_findings, desk, kept, take)
    view = _view(desk, kept)
    entry = take.entry if take else ""
    said = await desk.shelf.ask(sayings, entry, findings)
    return page(
        request,
        "recording.html",
        status=status,
        units=units,
        one=kept,
        take=take,
        f=findings,
        also=words.also(findings) if findings else (),
        by_ear=words.counted_words(findings) if findings else "",
        others=await desk.shelf.ask(offers, kept, take, findings) if findings else (),
        steps=sorted(findings.suggestions, key=lambda s: s.rank) if findings else [],
        view=view,
        passes=_passes(findings),
        tooth_hz=findings.passes[0].tooth_passing_hz if findings and findings.passes else 0,
        before=desk.queue.before(kept.id, take.number) if take else 0,
        said=said,
        concealed=is_blind(request) and not any(each.labels for each in said),
        by=initials(request),
        seen=await desk.shelf.ask(seen, entry),
        signs=signs(),
        sayable=SAYABLE,
        how_said=HOW_SAID,
        needed=forms.views(forms.NEEDED, entered.stated, units, entered.errors),
        sharper=forms.views(forms.SHARPER, entered.stated, units, entered.errors),
        open=any(name in entered.errors for name in forms.SHARPER),
        wrong=entered.wrong,
        span=span or span_texts(take),
        span_error=span_error,
        care=_care(),
        idles=[each for each in desk.spool.all("cut") if each.id != kept.id][:40],
        taps=[each for each in desk.spool.all("tap") if each.last and each.last.state == DONE],
        **_colours(),
        **await desk.shelf.ask(shelf.both),
    )


async def state(request: Request) -> Response:
    """How far a listen is, for the script."""
    from starlette.responses import JSONResponse

    kept = kept_of(request)
    take = take_of(request, kept)
    if take is None:
        raise Plain(404, "This recording was not listened to yet.")
    desk = desk_of(request)
    return JSONResponse(
        {
            "state": take.state,
            "share": round(take.share, 3),
            "what": take.what,
            "before": desk.queue.before(kept.id, take.number),
            "view": _view(desk, kept) is not None,
        }
    )


async def listen_again(request: Request) -> Response:
    """Listen again with other values, or to a stretch only; the file is here already."""
    form = await posted(request)
    desk, kept = desk_of(request), kept_of(request)
    fields = {name: str(form.get(name, "")) for name in STATED}
    units = units_in(request, form)
    entered = forms.read(fields, STATED, units)
    machine, cutter = str(form.get("machine", ""))[:64], str(form.get("cutter", ""))[:64]
    idle, taps = str(form.get("idle", ""))[:64], str(form.get("taps", ""))[:64]
    hidden = _hidden(kept, machine, cutter)
    entered = replace(entered, stated={**hidden, **entered.stated})
    kept = desk.spool.restate(
        kept, entered.stated, units=units, machine=machine, cutter=cutter, idle=idle, taps=taps
    )
    ends = (str(form.get("from", "")).strip()[:20], str(form.get("to", "")).strip()[:20])
    span, span_error = _span(ends, _view(desk, kept))
    texts = await desk.shelf.ask(shelf.card_texts, machine, cutter)
    whole = forms.check_job(forms.with_cards(texts, entered))
    if not whole.ok or span_error:
        shown = forms.Read(entered.stated, whole.errors, whole.wrong)
        return await _page(
            request,
            kept,
            kept.last,
            entered=shown,
            span=ends,
            span_error=span_error,
            status=422,
            units=units,
        )
    try:
        with desk.queue.reserve():
            kept = await start_listen(desk, kept, entered, span)
    except Full:
        raise Plain(503, _MAY_WAIT) from None
    return see(f"/recordings/{kept.id}")


async def stop(request: Request) -> Response:
    """End a listen that waits or is being done; the recording stays."""
    await posted(request)
    desk, kept = desk_of(request), kept_of(request)
    await desk.queue.drop(kept.id)
    now = desk.spool.get(kept.id)
    for take in now.takes if now is not None else ():
        if take.state in (WAITING, RUNNING):
            desk.spool.change(kept.id, take.number, state=FAILED, sentence=STOPPED)
    return see(f"/recordings/{kept.id}")


async def remove(request: Request) -> Response:
    """Take a recording off the page."""
    await posted(request)
    desk, kept = desk_of(request), kept_of(request)
    await desk.queue.drop(kept.id)
    desk.spool.remove(kept)
    back = {"tap": "/tap", "idle": other_page(kept), "runin": f"/shop/machine/{kept.machine}/runin"}
    return see(back.get(kept.kind, "/recordings"))


def other_page(kept: Kept) -> str:
    """Where the page of something that is no recording of a cut is."""
    if kept.kind == "idle":
        return f"/shop/machine/{kept.machine}/runin"
    return f"/{kept.kind}/{kept.id}"


def _hidden(kept: Kept, machine: str, cutter: str) -> dict[str, str]:
    """What is stated of a recording and its form does not show; a chosen card takes its place."""
    carded = {"machine": machine, "cutter": cutter}
    return {
        name: text
        for name, text in kept.stated.items()
        if name not in STATED and not carded.get(name.partition(".")[0])
    }


def take_of(request: Request, kept: Kept) -> PageListen | None:
    """The listen that the query names, else the newest.  Raises Plain (404)."""
    asked = request.query_params.get("take")
    if asked is None:
        return kept.last
    if not asked.isascii() or not asked.isdigit() or not 1 <= int(asked[:6]) <= len(kept.takes):
        raise Plain(404, "There is no such listen: look at the recording's own page.")
    return kept.takes[int(asked) - 1]


def _findings(desk: Desk, kept: Kept, take: PageListen | None) -> Findings | None:
    if take is None or take.state != DONE:
        return None
    try:
        path = desk.spool.take_folder(kept, take.number) / "findings.json"
        return read_findings(path.read_text(encoding="utf-8"))
    except (OSError, ChatterError):  # kept by another version, or removed by hand
        return None


def _view(desk: Desk, kept: Kept) -> dict | None:
    """Facts of the picture and the player, once they are made."""
    from chatter.page.view import FACTS

    try:
        return json.loads((desk.spool.folder(kept) / FACTS).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None


def _passes(findings: Findings | None) -> list[dict[str, Any]]:
    """What the picture shows of the passes."""
    from chatter.report import words

    return [
        {
            "n": one.index,
            "from": round(one.start_s, 3),
            "to": round(one.end_s, 3),
            "verdict": one.verdict,
            "name": words.verdict_name(one.verdict),
        }
        for one in (findings.passes if findings else ())
    ]


def _colours() -> dict:
    from chatter.page.tiles import LOWEST_DB, STEP_DB
    from chatter.report.palette import as_hex, palette

    return {
        "palette": "".join(colour[1:] for colour in as_hex(palette(64))),
        "lowest_db": LOWEST_DB,
        "step_db": STEP_DB,
    }


def _care() -> tuple[str, ...]:
    from chatter.trade.cautions import cautions

    return cautions(None, "listen")


def _span(ends: tuple[str, str], view: dict | None) -> tuple[str, str]:
    """(span as an option text, what is wrong with it)."""
    from chatter.job.times import exact_span, parse_time

    if not any(ends):
        return "", ""
    length = view["duration_s"] if view else None
    try:
        start = parse_time(ends[0], "start of the stretch") if ends[0] else 0.0
        stop = parse_time(ends[1], "end of the stretch") if ends[1] else length
    except JobError as error:
        return "", str(error)
    if stop is None:
        return "", "The end of the stretch is missing: fill it in."
    if length is not None:
        stop = min(stop, length)
        if start > length:
            return "", (
                f"The stretch starts at {start:g} s and the recording is {length:.1f} s long: "
                "state a start inside it."
            )
    if stop - start < 0.2:
        return "", f"The stretch from {start:g} to {stop:g} s is too short: state a later end."
    return exact_span((start, stop)), ""
