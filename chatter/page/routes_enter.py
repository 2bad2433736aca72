"""The door for phones: a one-time key for a cookie."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING

from chatter.page.desk import desk_of
from chatter.page.keys import KEY_COOKIE
from chatter.page.plain_pages import plain_page

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

_VOID = (
    "This key is not valid, or was used already: each lets in one device. Scan the newest code in "
    "the terminal that runs 'chatter page --lan'."
)

_TOO_OFTEN = "Too many wrong keys came from this device: wait a minute, then scan the newest code."


async def show_entrance(request: Request) -> Response:
    """Show a button that uses the key; only pressing it does.

    A scanner that fetches the address to show what it is would use the key up otherwise.
    """
    key = request.query_params.get("key", "")[:64]
    button = (
        '<form method="post" action="/enter">'
        f'<input type="hidden" name="key" value="{escape(key)}">'
        "<button>Let this device in</button></form>"
    )
    return plain_page(200, "This device wants to use the page of this shop's Chatter.", body=button)


async def use(request: Request) -> Response:
    """Exchange the key."""
    from starlette.responses import RedirectResponse

    keyring, address = desk_of(request).keyring, request.client.host if request.client else ""
    if keyring.tried_too_often(address):
        return plain_page(429, _TOO_OFTEN, headers={"Retry-After": "60"})
    form = await request.form(max_files=0, max_fields=5)
    cookie = keyring.exchange(str(form.get("key", ""))[:64])
    if cookie is None:
        keyring.was_wrong(address)
        return plain_page(401, _VOID)
    answer = RedirectResponse("/", status_code=303)
    answer.set_cookie(
        KEY_COOKIE,
        cookie,
        httponly=True,
        samesite="strict",
        path="/",
        secure=request.url.scheme == "https",
    )
    return answer
