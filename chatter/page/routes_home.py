"""First page, uploads, list of recordings, units."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

from chatter.page import forms, shelf
from chatter.page.desk import Plain, check_token, desk_of, posted, see
from chatter.page.field_words import WORDS
from chatter.page.keys import KEY_COOKIE
from chatter.page.queue import Full, Many
from chatter.page.render import browser_of, page, remember_units, units_of
from chatter.page.routes_label import is_blind
from chatter.page.spool import DONE, RUNNING, WAITING, Kept, shown_name
from chatter.page.uploads import EMPTY, Refused, drain, read_form

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable

    from starlette.requests import Request
    from starlette.responses import Response

    from chatter.logbook import Book
    from chatter.page.desk import Desk
    from chatter.page.uploads import Form

FILE_FIELDS = ("file", "film")
STATED = (*forms.NEEDED, *forms.SHARPER)


#: Keeps the files of a form and puts them in the line.
Adopt: TypeAlias = "Callable[[Desk, Form], Awaitable[list[Kept]]]"


async def home(request: Request) -> Response:
    """The first page: set-up and recording."""
    desk = desk_of(request)
    # Of this browser only: the numbers of another person's cut are wrong ones.
    kept = own(request)
    last = next((one for one in kept if one.stated and not _made_up(one)), None)
    again = last if last and request.query_params.get("again") == last.id else None
    stated = again.stated if again else {}
    units = units_of(request)
    return page(
        request,
        "home.html",
        **await desk.shelf.ask(shelf.both),
        machine=again.machine if again else "",
        cutter=again.cutter if again else "",
        offer=last if last and not again else None,
        offered=await desk.shelf.ask(_in_words, last) if last else "",
        needed=forms.views(forms.NEEDED, stated, units),
        sharper=forms.views(forms.SHARPER, _kept_only(stated), units),
        last=kept[:4],
        care=_care(),
        wrong=request.query_params.get("wrong", "")[:300] and NO_FILE,
    )


NO_FILE = "No recording was attached: choose a file or film the cut, then press Listen."


def own(request: Request) -> list[Kept]:
    """The cuts that this browser sent, the newest first."""
    browser = browser_of(request)
    cuts = desk_of(request).spool.all("cut") if browser else []
    return [one for one in cuts if one.browser == browser]


def _made_up(kept: Kept) -> bool:
    """Whether it is of no real machine, as our own example is."""
    return kept.stated.get("take.simulated", "") in ("yes", "true")


def _in_words(book: Book, kept: Kept) -> str:
    """A set-up in a few words: "57 rev/min, 48 teeth, Relieved saw"."""
    texts = {**shelf.card_texts(book, kept.machine, kept.cutter), **kept.stated}
    speed, teeth = texts.get("cut.speed", ""), texts.get("cutter.teeth", "")
    cutter = texts.get("cutter.name") or WORDS.get(texts.get("cutter.form", ""), "")
    words = (
        f"{speed} rev/min" if speed[-1:].isdigit() else speed,
        f"{teeth} teeth" if teeth else "",
        cutter,
    )
    return ", ".join(word for word in words if word)


def _kept_only(stated: dict[str, str]) -> dict[str, str]:
    """What stays from one recording to the next; depth and feed are looked at anew."""
    anew = ("cut.depth", "cut.feed", "cut.observed", "take.simulated")
    return {name: text for name, text in stated.items() if name not in anew}


def _care() -> tuple[str, ...]:
    from chatter.trade.cautions import cautions

    return cautions(None, "listen")


async def upload_recordings(request: Request) -> Response:
    """One or several recordings with their set-up, streamed to disk."""
    browser = browser_of(request)

    async def adopt(desk: Desk, form: Form) -> list[Kept]:
        kept = []
        for part in form.files:
            if part.path is None or part.field not in FILE_FIELDS:
                continue
            kept.append(await keep_cut(desk, part.path, part.name, form.fields, browser))
            part.path = None
        return kept

    return await receive(request, adopt, "/recordings", "/?wrong=none")


async def receive(request: Request, adopt: Adopt, many: str, none: str) -> Response:
    """Take in a form with files.

    Parameters
    ----------
    request : starlette.requests.Request
    adopt : coroutine function
        Gets desk and form, keeps the files and puts them in the line.
    many, none : str
        Where to send a browser that sent several files, or none.
    """
    from starlette.requests import ClientDisconnect

    desk = desk_of(request)
    limits = desk.settings.limits
    asks_json = "application/json" in request.headers.get("accept", "")
    try:
        with contextlib.ExitStack() as places:
            if desk.spool.bytes_kept() > limits.spool_bytes:
                raise Refused(507, "The page holds as much as it may: remove old recordings first.")
            if not desk.queue.room():
                raise Full

            def check(fields: dict[str, str]) -> None:
                # A place in the line is only for a form of this page: before it has shown its
                # token an upload may be anybody's.
                check_token(request, fields.get("csrf"))
                places.enter_context(desk.queue.reserve(_device(request)))

            form = await read_form(request, limits, desk.spool.new_upload, check)
            try:
                kept = await adopt(desk, form)
            finally:
                form.drop()
    except Many:
        await drain(request, limits)
        return _refusal(
            503,
            f"{limits.uploads_of_one} recordings are coming in from this device already: wait "
            "until they are here, and send this one again.",
            asks_json,
            {"Retry-After": "15"},
        )
    except Full:
        await drain(request, limits)
        wait = desk.queue.wait_s()
        return _refusal(
            503,
            f"Busy: {limits.waiting} recordings already wait here. Nothing is lost; try again in "
            f"{wait} seconds.",
            asks_json,
            {"Retry-After": str(wait)},
        )
    except (Refused, Plain) as refused:
        if refused.status != 408:
            await drain(request, limits)
        return _refusal(refused.status, refused.sentence, asks_json)
    except ClientDisconnect:  # nobody is left to answer; nothing of it is kept
        return _refusal(400, "The upload broke off before its end: send it again.", asks_json)
    return _sent_on(kept, form, asks_json, many, none)


def _device(request: Request) -> str:
    """Who sends: the device that was let in, or its address."""
    return request.cookies.get(KEY_COOKIE) or (request.client.host if request.client else "")


async def keep_cut(
    desk: Desk, path: Path, name: str, fields: Mapping[str, str], browser: str
) -> Kept:
    """Keep a recording of a cut that came in whole, and put it in the line.

    Parameters
    ----------
    desk : Desk
    path : Path
        Moved to its place.
    name : str
        As the client calls it.
    fields : mapping
        Of the form that came with it.
    browser : str
        The one that sent it.
    """
    units = "inch" if fields.get("units") == "inch" else "metric"
    entered = forms.read(fields, STATED, units)
    named = {kind: fields.get(kind, "")[:64] for kind in ("machine", "cutter")}
    kept = await asyncio.to_thread(
        desk.spool.adopt, path, name, entered.stated, units=units, browser=browser, **named
    )
    return await start_listen(desk, kept, entered)


async def start_listen(desk: Desk, kept: Kept, entered: forms.Read, span: str = "") -> Kept:
    """Put a recording in the line, if what is stated of it can be; else its page asks."""
    texts = await desk.shelf.ask(shelf.card_texts, kept.machine, kept.cutter)
    whole = forms.check_job(forms.with_cards(texts, entered))
    if not whole.ok:
        return kept
    stated = {**whole.stated, **({"take.span": span} if span else {})}
    stated |= companion_files(desk, kept)
    kept = desk.spool.add_take(kept, stated, kept.units)
    desk.queue.put(kept, len(kept.takes))
    return kept


def companion_files(desk: Desk, kept: Kept) -> dict[str, str]:
    """Files that a listen also reads, by the ids chosen in the form: an idle take, a tap test."""
    companions = {}
    idle, taps = desk.spool.get(kept.idle), desk.spool.get(kept.taps)
    if idle is not None and idle.kind == "cut" and idle.id != kept.id:
        companions["take.idle"] = str(desk.spool.folder(idle) / "recording")
    if taps is not None and taps.kind == "tap" and taps.last and taps.last.state == DONE:
        companions["take.taps"] = str(desk.spool.take_folder(taps, taps.last.number) / "taps.json")
    return companions


def _sent_on(kept: list[Kept], form: Form, asks_json: bool, many: str, none: str) -> Response:
    from starlette.responses import JSONResponse

    refused = [f"{shown_name(one.name)}: {one.why}" for one in form.files if one.why]
    where = [f"/recordings/{one.id}" for one in kept]  # each leads on to its own page
    if asks_json:
        if kept or refused:
            return JSONResponse({"kept": where, "refused": refused})
        return JSONResponse({"kept": [], "refused": [NO_FILE]}, status_code=400)
    if refused:
        sentence = " ".join(refused)
        if kept:
            others = "other one is" if len(kept) == 1 else f"other {len(kept)} are"
            sentence += f" The {others} kept, and listed on the page."
        empty = all(one.why == EMPTY for one in form.files if one.why)
        return _refusal(400 if empty else 413, sentence, False)
    if not kept:
        return see(none)
    return see(where[0] if len(kept) == 1 else many)


def _refusal(
    status: int, sentence: str, asks_json: bool, headers: dict[str, str] | None = None
) -> Response:
    from starlette.responses import JSONResponse

    from chatter.page.plain_pages import plain_page

    if asks_json:
        return JSONResponse(
            {"kept": [], "refused": [sentence]}, status_code=status, headers=headers
        )
    return plain_page(status, sentence, headers=headers)


async def list_recordings(request: Request) -> Response:
    """The list of recordings."""
    desk = desk_of(request)
    kept = desk.spool.all("cut")
    labels = await desk.shelf.ask(shelf.labels)
    by_id = {
        one.id: labels[take.entry]
        for one in kept
        for take in one.takes
        if take.entry and take.entry in labels
    }
    busy = any(t.state in (WAITING, RUNNING) for one in kept for t in one.takes)
    here = frozenset(take.entry for one in kept for take in one.takes if take.entry)
    logged = await desk.shelf.ask(shelf.logged, here)
    return page(
        request,
        "recordings.html",
        kept=kept,
        labels=by_id,
        busy=busy,
        logged=logged,
        blind=is_blind(request),
    )


async def units(request: Request) -> Response:
    """Remember inch or metric, and go back to where one was."""
    form = await posted(request)
    back = str(form.get("back", "/"))
    inside = back.startswith("/") and not back.startswith(("//", "/\\")) and back.isprintable()
    answer = see(back if inside else "/")
    remember_units(answer, "inch" if form.get("units") == "inch" else "metric")
    return answer
