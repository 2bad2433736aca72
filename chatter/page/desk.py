"""What the routes work with, and the checks they share."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from chatter.page.keys import FORM_COOKIE, FormTokens, Keyring
from chatter.page.settings import Settings
from chatter.page.spool import Kept, RecordingStore

if TYPE_CHECKING:
    from starlette.datastructures import ImmutableMultiDict
    from starlette.requests import Request
    from starlette.responses import Response

    from chatter.page.live import Live
    from chatter.page.queue import Queue
    from chatter.page.shelf import Shelf


@dataclass
class Desk:
    """The parts of a running page."""

    settings: Settings
    spool: RecordingStore
    shelf: Shelf
    queue: Queue
    tokens: FormTokens
    keyring: Keyring
    live: Live = field(init=False)  # set once the rest stands: it hands its recordings to them


class Plain(Exception):
    """An answer of one sentence."""

    def __init__(self, status: int, sentence: str) -> None:
        super().__init__(sentence)
        self.status = status
        self.sentence = sentence


NO_TOKEN = (
    "This form is out of date, or does not come from this page. Nothing was changed: go back, "
    "load the page again, and send the form from there."
)


def desk_of(request: Request) -> Desk:
    """The desk of the page that got the request."""
    return request.app.state.desk


def kept_of(request: Request) -> Kept:
    """The recording that the path names.  Raises Plain (404)."""
    kept = desk_of(request).spool.get(request.path_params["id"])
    if kept is None:
        raise Plain(404, "There is no such recording here: look under Recordings.")
    return kept


def check_token(request: Request, token: str | None) -> None:
    """Refuse a form that did not come from this page.  Raises Plain (403)."""
    if not desk_of(request).tokens.holds(request.cookies.get(FORM_COOKIE), token):
        raise Plain(403, NO_TOKEN)


async def posted(request: Request) -> ImmutableMultiDict[str, str]:
    """Fields of a form without files, its token checked.

    Returns
    -------
    starlette.datastructures.ImmutableMultiDict

    Raises
    ------
    Plain
        403 without a valid token.
    """
    from starlette.datastructures import ImmutableMultiDict

    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind != "application/x-www-form-urlencoded":
        raise Plain(403, NO_TOKEN)
    came = await request.form(max_files=0, max_fields=200)
    texts = [(name, text) for name, text in came.multi_items() if isinstance(text, str)]
    form = ImmutableMultiDict(texts)
    check_token(request, form.get("csrf"))
    return form


def see(path: str) -> Response:
    """Send the browser on to a page of ours."""
    from starlette.responses import RedirectResponse

    return RedirectResponse(path, status_code=303)
