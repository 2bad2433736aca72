"""Tap tests: upload, modes, drawing."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING

from chatter.page import shelf
from chatter.page.desk import Plain, desk_of, kept_of
from chatter.page.render import page
from chatter.page.routes_home import receive
from chatter.page.routes_recording import take_of
from chatter.page.spool import DONE

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

    from chatter.page.desk import Desk
    from chatter.page.spool import Kept, PageListen
    from chatter.page.uploads import Form

PLACES = ("cutter", "arbor", "work", "table")
#: The drawing's colours follow the page's theme; as a picture it brings its own.
_DARK = (
    "<style>@media (prefers-color-scheme:dark){svg{--ink:#f1efe8;--dim:#b3b6b2;--rule:#565c5e;"
    "--faint:#2a2f31;--sheet:#111415;--chatter:#ff8b75;--normal:#82d39a;--machine_only:#9ac4e8}}"
    "</style>"
)
_DRAWING_CSP = "default-src 'none'; style-src 'unsafe-inline'; sandbox"


async def taps(request: Request) -> Response:
    """The form, how to tap, and the tests so far."""
    desk = desk_of(request)
    return page(
        request,
        "taps.html",
        places=PLACES,
        kept=desk.spool.all("tap"),
        wrong=request.query_params.get("wrong") is not None,
        care=_care(),
        **await desk.shelf.ask(shelf.both),
    )


async def upload_taps(request: Request) -> Response:
    """A recording of taps, or one for each tap: those that come together are one test."""
    return await receive(request, _adopt, "/tap", "/tap?wrong=none")


async def _adopt(desk: Desk, form: Form) -> list[Kept]:
    what = form.fields.get("what", "")
    stated = {"what": what} if what in PLACES else {}
    chosen = {name: form.fields.get(name, "")[:64] for name in ("machine", "cutter")}
    came = [part for part in form.files if part.path is not None]
    if not came:
        return []
    (path, name), *more = [(part.path, part.name) for part in came if part.path is not None]
    kept = await asyncio.to_thread(desk.spool.adopt, path, name, stated, kind="tap", **chosen)
    if more:
        kept = await asyncio.to_thread(desk.spool.adopt_more, kept, more)
    for part in came:
        part.path = None
    kept = desk.spool.add_take(kept, stated, kept.units)
    desk.queue.put(kept, len(kept.takes))
    return [kept]


async def show_taps(request: Request) -> Response:
    """What one tap test found."""
    from chatter.tapping.findings import load_taps

    kept, take = _tap_of(request)
    desk, findings = desk_of(request), None
    if take.state == DONE:
        findings = load_taps(desk.spool.take_folder(kept, take.number) / "taps.json")
    return page(
        request,
        "tap.html",
        one=kept,
        take=take,
        found=findings,
        before=desk.queue.before(kept.id, take.number),
        care=_care(),
    )


async def modes_drawing(request: Request) -> Response:
    """The modes as a drawing."""
    from starlette.responses import Response

    kept, _ = _tap_of(request)
    take = take_of(request, kept)
    folder = None if take is None else desk_of(request).spool.take_folder(kept, take.number)
    path = None if folder is None else folder / "modes.svg"
    if path is None or not path.is_file():
        raise Plain(404, "There is no drawing of this tap test: look at its own page.")
    text = path.read_text(encoding="utf-8")
    text = (
        text.replace("<svg", '<svg xmlns="http://www.w3.org/2000/svg"', 1)
        if ('xmlns="http://www.w3.org/2000/svg"' not in text)
        else text
    )
    text = text.replace("<title>", f"{_DARK}<title>", 1)
    headers = {"Content-Security-Policy": _DRAWING_CSP}
    return Response(text, media_type="image/svg+xml", headers=headers)


def _tap_of(request: Request) -> tuple[Kept, PageListen]:
    kept = kept_of(request)
    if kept.kind != "tap" or kept.last is None:
        raise Plain(404, "There is no such tap test: look under Tap.")
    return kept, kept.last


def _care() -> tuple[str, ...]:
    from chatter.trade.cautions import cautions

    return cautions(None, "tap")
