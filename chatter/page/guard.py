"""What stands before every route: Host, Origin, key, size, headers, and no traceback.

A page on 127.0.0.1 can be reached by every site that the browser has open: by forms sent
across, and by names that are pointed at 127.0.0.1 once their own page is loaded ("DNS
rebinding").  So the Host must be ours, a request that changes anything must come from our
own page, and, when the page is open to the network, every request needs a key.
"""

from __future__ import annotations

import asyncio
import ipaddress
import re
import sys
import time
import traceback
from http.cookies import CookieError, SimpleCookie
from typing import TYPE_CHECKING

from starlette.requests import ClientDisconnect

from chatter.page.keys import KEY_COOKIE, Keyring
from chatter.page.plain_pages import plain_page
from chatter.page.settings import Settings
from chatter.page.uploads import Refused

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

    from chatter.page.desk import Desk


ENTER = "/enter"
_UPLOADS = re.compile(r"/(recordings|tap|shop/machine/[^/]+/idle|recordings/[^/]+/surface)")
_SAFE = frozenset({"GET", "HEAD"})
_METHODS = frozenset({"GET", "HEAD", "POST"})

PAGE_CSP = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; media-src 'self'; "
    "connect-src 'self'; frame-src 'self'; manifest-src 'self'; form-action 'self'; "
    "base-uri 'none'; frame-ancestors 'none'"
)
_HEADERS = {
    b"content-security-policy": PAGE_CSP.encode(),
    b"x-content-type-options": b"nosniff",
    b"x-frame-options": b"DENY",
    # Not "no-referrer": browsers then send "Origin: null" with our own forms.
    b"referrer-policy": b"same-origin",
    b"cross-origin-opener-policy": b"same-origin",
    b"cross-origin-resource-policy": b"same-origin",
    b"permissions-policy": b"camera=(), microphone=(self), geolocation=(), payment=(), usb=()",
    b"cache-control": b"no-store",
}


FAULT = (
    "Something went wrong inside the program. What was saved is still there: go back and try "
    "again, and look at the terminal that runs the page."
)


class TooLarge(Exception):
    """More bytes came than a request of this kind may have."""


class Guard:
    """ASGI middleware; see the module.

    Parameters
    ----------
    app : ASGI application
    settings : Settings
    keyring : Keyring
        Asked only when the page is open to the network.
    """

    desk: Desk  # set by who puts the page together

    def __init__(self, app: ASGIApp, settings: Settings, keyring: Keyring) -> None:
        self._app = app
        self._settings = settings
        self._keyring = keyring

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or answer it here."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":  # no websockets here
            return
        headers = _headers(scope)
        begun = False

        async def guarded(message: Message) -> None:
            nonlocal begun
            if message["type"] == "http.response.start":
                begun = True
                own = {name.lower() for name, _ in message.get("headers", ())}
                # A route may state its own policy, and then it alone counts.
                more = [(n, v) for n, v in _HEADERS.items() if n not in own]
                message = {**message, "headers": [*message.get("headers", ()), *more]}
            await send(message)

        refusal = self._refusal(scope, headers)
        if refusal is not None:
            await plain_page(*refusal)(scope, receive, guarded)
            return
        # The door keeps a reserve for those who have shown a key, where one is needed.
        scope["chatter.let_in"] = scope["path"] != ENTER
        most, limits = self._most_bytes(scope), self._settings.limits
        try:
            within_s = None if most > limits.form_bytes else limits.fields_s
            await self._app(scope, _counted(receive, most, within_s), guarded)
        except ClientDisconnect:
            return  # whoever sent the form is gone: nothing is wrong here, and nobody to answer
        except Exception:
            # The terminal gets the traceback, the client one sentence.
            traceback.print_exc(file=sys.stderr)
            if not begun:
                await plain_page(500, FAULT)(scope, receive, guarded)

    def _refusal(self, scope: Scope, headers: dict[str, str]) -> tuple[int, str] | None:
        """(status, sentence) when the request must not go on."""
        method = scope["method"]
        if method not in _METHODS:
            return 405, f"The page knows no {method[:20]!r} requests: use its own buttons."
        host = headers.get("host", "")
        if not self._host_is_ours(host):
            return 421, (
                "This page answers only under the address that 'chatter page' printed: "
                "type that one."
            )
        if self._settings.lan and scope["path"] != ENTER:
            cookie = _cookie(headers.get("cookie", ""), KEY_COOKIE)
            if not self._keyring.lets_in(cookie):
                return 401, (
                    "This page needs a key: scan the code that 'chatter page --lan' shows in its "
                    "terminal, with the phone that is to be let in."
                )
        site = headers.get("sec-fetch-site", "none")
        if method not in _SAFE:
            origin = headers.get("origin")
            if origin is not None and origin != f"{scope['scheme']}://{host}":
                return 403, "This form was sent by another site, and is refused: use this page's."
            if site not in ("none", "same-origin"):
                return 403, "This form was sent by another site, and is refused: use this page's."
        elif site in ("cross-site", "same-site") and headers.get("sec-fetch-mode") != "navigate":
            return 403, "Another site asked for this, and is refused: open this page itself."
        length = headers.get("content-length")
        if length is not None and (
            not length.isascii() or not length.isdigit() or int(length) > self._most_bytes(scope)
        ):
            return 413, _too_large(self._most_bytes(scope))
        return None

    def _host_is_ours(self, host: str) -> bool:
        name, _, port = host.rpartition(":")
        if not name or port != str(self._settings.port):
            return False
        if name == "localhost":
            return True
        try:
            address = ipaddress.ip_address(name.strip("[]"))
        except ValueError:
            return False  # a name: it could be pointed anywhere
        return address.is_loopback or self._settings.lan

    def _most_bytes(self, scope: Scope) -> int:
        limits = self._settings.limits
        if scope["method"] == "POST" and _UPLOADS.fullmatch(scope["path"]):
            return limits.files_at_once * limits.file_bytes + limits.form_bytes
        return limits.form_bytes


def _counted(receive: Receive, most: int, within_s: float | None) -> Receive:
    """``receive``, which fails once more bytes came than allowed, whatever was announced, or
    when they are not there in time; uploads have a pace of their own."""
    seen, whole = 0, False
    until = None if within_s is None else time.monotonic() + within_s

    async def counted() -> Message:
        nonlocal seen, whole
        left = None if whole or until is None else max(0.0, until - time.monotonic())
        try:
            async with asyncio.timeout(left):
                message = await receive()
        except TimeoutError:
            raise Refused(408, "The form came too slowly: send it again.") from None
        whole = whole or not message.get("more_body", False)
        seen += len(message.get("body", b""))
        if seen > most:
            raise TooLarge(_too_large(most))
        return message

    return counted


def _too_large(most: int) -> str:
    return (
        f"What was sent is larger than {max(1, most >> 20)} MB, the most this page takes at once: "
        "send a shorter recording, or fewer files together."
    )


def _headers(scope: Scope) -> dict[str, str]:
    headers: dict[str, str] = {}
    for name, value in scope["headers"]:
        key, text = name.decode("latin-1").lower(), value.decode("latin-1")
        # Two Hosts or two Origins: neither is believed.
        headers[key] = text if key not in headers else f"{headers[key]}, {text}"
    return headers


def _cookie(header: str, name: str) -> str | None:
    try:
        cookie = SimpleCookie(header).get(name)
    except CookieError:
        return None
    return None if cookie is None else cookie.value
