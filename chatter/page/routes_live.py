"""Recording in the page: its start, its pieces, its end."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from chatter.page import live
from chatter.page.desk import Plain, check_token, desk_of, posted
from chatter.page.render import browser_of
from chatter.page.routes_home import STATED, keep_cut

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from starlette.requests import Request
    from starlette.responses import Response

    from chatter.page.desk import Desk

_FORM = ("units", "machine", "cutter", *STATED)
_BUSY = "Busy: as many record or wait here as the page allows. Try again soon."
_NO_ROOM = "The disk has no room for a recording: make some, and record again."
_GONE = "This recording has ended already: look under Recordings."


async def begin(request: Request) -> Response:
    """Open a recording; the script then sends its pieces."""
    from starlette.responses import JSONResponse

    form = await posted(request)
    desk = desk_of(request)
    rate = str(form.get("rate", ""))
    if not re.fullmatch(r"\d{4,6}", rate, re.ASCII) or not (
        live.RATES_HZ[0] <= int(rate) <= live.RATES_HZ[1]
    ):
        raise Plain(422, "The browser's sound has an odd rate: use the phone's recorder instead.")
    if desk.live.full() or not desk.queue.room():
        raise Plain(503, _BUSY)
    if desk.spool.bytes_kept() > desk.settings.limits.spool_bytes:
        raise Plain(507, "The page holds as much as it may: remove old recordings first.")
    try:
        running = desk.live.begin(int(rate), _fields(form, browser_of(request)))
    except OSError:
        raise Plain(507, _NO_ROOM) from None
    return JSONResponse({"id": running.id})


async def piece(request: Request) -> Response:
    """Keep a piece: samples of 16 bit, little-endian.  The token comes in a header."""
    from starlette.responses import JSONResponse

    check_token(request, request.headers.get("x-form-token"))
    running, number = _one(request), request.path_params["at"]
    if not re.fullmatch(r"\d{1,6}", number, re.ASCII):
        raise Plain(404, _GONE)
    try:
        more = await desk_of(request).live.add(running, int(number), await request.body())
    except live.Gap as gap:
        return JSONResponse({"wanted": gap.wanted}, status_code=409)
    except OSError:
        raise Plain(507, _NO_ROOM) from None
    return JSONResponse({"more": more})


async def end(request: Request) -> Response:
    """The recording is over: keep it, put it in the line, say where its page is."""
    from starlette.responses import JSONResponse

    form = await posted(request)
    running = _one(request)
    where = await desk_of(request).live.end(running, _fields(form, browser_of(request)))
    if not where:
        raise Plain(422, "Nothing was recorded: see that the microphone is on, and try again.")
    return JSONResponse({"kept": [where]})


async def drop(request: Request) -> Response:
    """Throw it away."""
    from starlette.responses import JSONResponse

    await posted(request)
    desk_of(request).live.drop(_one(request))
    return JSONResponse({})


def keeper(desk: Desk) -> live.Kept:
    """What keeps a recording that ended: ``Live`` calls it."""

    async def kept(path: Path, name: str, fields: dict[str, str]) -> str:
        # Without a place reserved: it is here already, and waits even where the line is full.
        recording = await keep_cut(desk, path, name, fields, fields.get("browser", ""))
        return f"/recordings/{recording.id}"

    return kept


def _one(request: Request) -> live.Running:
    running = desk_of(request).live.get(request.path_params["id"])
    if running is None:
        raise Plain(404, _GONE)
    return running


def _fields(form: Mapping[str, str], browser: str) -> dict[str, str]:
    stated = {name: str(form.get(name, ""))[:2000] for name in _FORM if form.get(name)}
    return {**stated, "browser": browser}
