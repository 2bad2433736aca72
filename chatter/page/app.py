"""The page put together: routes, parts, order of starting and stopping."""

from __future__ import annotations

import contextlib
import re
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeAlias

from chatter.errors import ChatterError
from chatter.page import (
    routes_compare,
    routes_enter,
    routes_example,
    routes_files,
    routes_help,
    routes_home,
    routes_label,
    routes_live,
    routes_logged,
    routes_plan,
    routes_recording,
    routes_runin,
    routes_shop,
    routes_surface,
    routes_tap,
    runner,
    shelf,
    shelving,
)
from chatter.page.desk import Desk, Plain
from chatter.page.guard import FAULT, Guard, TooLarge
from chatter.page.keys import FormTokens, Keyring, load_secret
from chatter.page.live import Live
from chatter.page.plain_pages import plain_page
from chatter.page.queue import Queue
from chatter.page.render import STATIC
from chatter.page.requests import request_of
from chatter.page.settings import Settings
from chatter.page.spool import RecordingStore
from chatter.page.uploads import Refused

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Awaitable, Callable

    from starlette.applications import Starlette
    from starlette.requests import Request
    from starlette.responses import Response
    from starlette.routing import Route

    from chatter.page.spool import Kept, PageListen

_STATIC_NAME = re.compile(r"[a-z]{1,20}\.(css|js|svg)", re.ASCII)
_STATIC_MIMES = {"css": "text/css", "js": "text/javascript", "svg": "image/svg+xml"}


Endpoint: TypeAlias = "Callable[[Request], Awaitable[Response]]"


def make_app(
    settings: Settings, keyring: Keyring | None = None, *, worker: tuple[str, ...] = runner.COMMAND
) -> Guard:
    """The ASGI application.

    Parameters
    ----------
    settings : Settings
    keyring : Keyring, optional
        Needed when the page is open to the network.
    worker : tuple of str
        The program that does one listen.

    Raises
    ------
    OutputError, BookError
        Data folder or logbook cannot be used.
    """
    from starlette.applications import Starlette

    secret = load_secret(settings.data)
    spool = RecordingStore(settings.data)
    book = shelf.Shelf(settings.book)
    try:
        book.open()
    except BaseException:
        spool.close()
        raise

    async def answered(kept: Kept, take: PageListen) -> dict[str, Any]:
        return await book.put(shelving.store_answer, spool, kept, take)

    def asked(kept: Kept, take: PageListen) -> dict[str, Any]:
        return request_of(spool, settings.book, kept, take, untaught=settings.untaught)

    queue = Queue(spool, settings.limits, asked, answered, worker)
    desk = Desk(settings, spool, book, queue, FormTokens(secret), keyring or Keyring())
    desk.live = Live(spool.live, settings.limits, routes_live.keeper(desk))

    @contextlib.asynccontextmanager
    async def life(_app: Starlette) -> AsyncIterator[None]:
        from chatter.page import tiles  # noqa: F401  its libraries load before the first request

        queue.start()
        await desk.live.start()
        try:
            yield
        finally:
            await desk.live.stop()
            await queue.stop()
            book.close()
            spool.close()

    from starlette.exceptions import HTTPException

    inner = Starlette(
        routes=_routes(),
        lifespan=life,
        exception_handlers={
            Plain: _plain,
            Refused: _plain,
            ChatterError: _said,
            TooLarge: _too_large,
            HTTPException: _http,
            Exception: _fault,  # Starlette raises it on, and the guard prints it
        },
    )
    inner.router.redirect_slashes = False
    inner.state.desk = desk
    guarded = Guard(inner, settings, desk.keyring)
    guarded.desk = desk
    return guarded


def _routes() -> list:
    from starlette.routing import Route

    def get(path: str, endpoint: Endpoint) -> Route:
        return Route(path, endpoint, methods=["GET"])

    def post(path: str, endpoint: Endpoint) -> Route:
        return Route(path, endpoint, methods=["POST"])

    at = "/recordings/{id}"
    return [
        get("/", routes_home.home),
        post("/live", routes_live.begin),
        post("/live/{id}/end", routes_live.end),
        post("/live/{id}/drop", routes_live.drop),
        post("/live/{id}/{at}", routes_live.piece),
        get("/recordings", routes_home.list_recordings),
        post("/recordings", routes_home.upload_recordings),
        post("/example", routes_example.example),
        post("/units", routes_home.units),
        post("/blind", routes_label.blind),
        get("/record", routes_label.show_record),
        get(at, routes_recording.show_recording),
        get(f"{at}/state", routes_recording.state),
        post(f"{at}/listen", routes_recording.listen_again),
        post(f"{at}/label", routes_label.label),
        post(f"{at}/stop", routes_recording.stop),
        post(f"{at}/remove", routes_recording.remove),
        post("/logged/{uid}/open", routes_logged.bring),
        post(f"{at}/surface", routes_surface.note),
        get(f"{at}/photo/{{at}}", routes_surface.photo),
        get(f"{at}/tile", routes_files.send_tile),
        get(f"{at}/sound", routes_files.sound),
        get(f"{at}/report", routes_files.send_report),
        get(f"{at}/findings", routes_files.findings),
        get(f"{at}/share", routes_files.send_card),
        get("/compare", routes_compare.choose_cutters),
        post("/compare", routes_compare.start_comparison),
        get("/compare/{id}", routes_compare.show_comparison),
        get("/plan", routes_plan.show_plan),
        get("/help", routes_help.contents),
        get("/help/{topic}", routes_help.show_topic),
        get("/tap", routes_tap.taps),
        post("/tap", routes_tap.upload_taps),
        get("/tap/{id}", routes_tap.show_taps),
        get("/tap/{id}/drawing", routes_tap.modes_drawing),
        get("/shop", routes_shop.shop),
        get("/shop/machine/{uid}/runin", routes_runin.machine),
        post("/shop/machine/{uid}/runin", routes_runin.start_runin),
        post("/shop/machine/{uid}/idle", routes_runin.upload_idle),
        post("/shop/machine/{uid}/surface", routes_runin.surface),
        get("/runin/{id}", routes_runin.show_runin),
        get("/shop/{kind}/{uid}", routes_shop.card),
        post("/shop/{kind}/{uid}", routes_shop.save_card),
        post("/shop/{kind}/{uid}/regrind", routes_shop.regrind),
        get("/enter", routes_enter.show_entrance),
        post("/enter", routes_enter.use),
        get("/static/{name}", static),
    ]


async def static(request: Request) -> Response:
    """Style sheet, scripts and icons of the page."""
    from starlette.responses import FileResponse

    name = request.path_params["name"]
    path = STATIC / name
    if not _STATIC_NAME.fullmatch(name) or not path.is_file():
        raise Plain(404, "There is no such file here: go to the first page.")
    mime = _STATIC_MIMES[Path(name).suffix[1:]]
    return FileResponse(path, media_type=mime, headers={"Cache-Control": "no-cache"})


async def _plain(_request: Request, wrong: Exception) -> Response:
    assert isinstance(wrong, Plain | Refused)
    return plain_page(wrong.status, wrong.sentence)


async def _said(_request: Request, wrong: Exception) -> Response:
    return plain_page(422, str(wrong))


async def _too_large(_request: Request, wrong: Exception) -> Response:
    return plain_page(413, str(wrong))


async def _fault(_request: Request, _wrong: Exception) -> Response:
    return plain_page(500, FAULT)


async def _http(_request: Request, wrong: Exception) -> Response:
    from starlette.exceptions import HTTPException

    assert isinstance(wrong, HTTPException)
    said = {
        404: "There is nothing at this address: go to the first page.",
        405: "This address does not take that: use the page's own buttons.",
    }
    sentence = said.get(wrong.status_code, "This request is not understood: go to the first page.")
    return plain_page(wrong.status_code, sentence)
