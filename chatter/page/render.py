"""Templates to answers, with the form token and the remembered units on every page."""

from __future__ import annotations

import functools
import re
import secrets
from pathlib import Path
from typing import TYPE_CHECKING, Any

from chatter.page.keys import FORM_COOKIE

if TYPE_CHECKING:
    from collections.abc import Mapping

    from jinja2 import Environment
    from starlette.requests import Request
    from starlette.responses import Response

TEMPLATES = Path(__file__).with_name("templates")
STATIC = Path(__file__).with_name("static")
UNITS_COOKIE = "chatter_units"
#: Tells this browser's recordings from those of other people; lets nobody in.
BROWSER_COOKIE = "chatter_browser"
_YEAR_S = 365 * 24 * 3600


def page(
    request: Request, template: str, *, status: int = 200, units: str | None = None, **shown: Any
) -> Response:
    """Render a template as the answer to a request.

    Parameters
    ----------
    request : starlette.requests.Request
    template : str
        A file in ``templates/``.
    status : int
    units : str, optional
        "inch" or "metric", where this request states them; else the remembered ones.
    **shown
        What the template shows.
    """
    from starlette.responses import HTMLResponse

    desk = request.app.state.desk
    held = request.cookies.get(FORM_COOKIE, "")
    cookie = held if len(held) == 32 else desk.tokens.new_cookie()
    system = units or units_of(request)
    text = (
        _environment()
        .get_template(template)
        .render(
            csrf=desk.tokens.token(cookie),
            units=system,
            here=request.url.path,
            lan=desk.settings.lan,
            limits=desk.settings.limits,
            **shown,
        )
    )
    answer = HTMLResponse(text, status_code=status)
    if cookie != held:
        answer.set_cookie(FORM_COOKIE, cookie, httponly=True, samesite="strict", path="/")
    if not browser_of(request):
        answer.set_cookie(
            BROWSER_COOKIE, secrets.token_hex(8), max_age=_YEAR_S, httponly=True, samesite="strict"
        )
    if units is not None and units != request.cookies.get(UNITS_COOKIE):
        remember_units(answer, units)
    return answer


def units_of(request: Request) -> str:
    """ "inch" or "metric", as remembered."""
    return "inch" if request.cookies.get(UNITS_COOKIE) == "inch" else "metric"


def browser_of(request: Request) -> str:
    """The number of this browser, "" before it has one."""
    held = request.cookies.get(BROWSER_COOKIE, "")
    return held if re.fullmatch(r"[0-9a-f]{16}", held) else ""


def units_in(request: Request, fields: Mapping[str, str]) -> str:
    """The units that a form was shown in: a bare number in it is in those, not in today's."""
    stated = fields.get("units")
    return str(stated) if stated in ("inch", "metric") else units_of(request)


def remember_units(answer: Response, units: str) -> None:
    """Have the browser remember the units."""
    answer.set_cookie(
        UNITS_COOKIE, units, max_age=_YEAR_S, httponly=True, samesite="strict", path="/"
    )


@functools.cache
def _environment() -> Environment:
    from chatter.report import words
    from chatter.report.html import environment

    templates = environment(TEMPLATES)
    templates.filters.update(size=_size, when=_when)
    templates.globals.update(first_step=words.first_step, accept=ACCEPT)
    return templates


#: Suffixes rather than "audio/*", which greys out voice memos on some phones.
ACCEPT = (
    ".m4a,.mp4,.mov,.3gp,.amr,.aac,.ogg,.oga,.opus,.webm,.mkv,.mp3,.wav,.flac,.caf,.aif,.aiff,"
    "audio/mp4,audio/x-m4a,video/mp4,video/quicktime,audio/3gpp,video/3gpp"
)


def _size(size_bytes: int) -> str:
    if size_bytes < 1_000_000:
        return f"{max(1, round(size_bytes / 1000))} kB"
    return f"{size_bytes / 1e6:.1f} MB"


def _when(stamp: str) -> str:
    """An ISO time as the shop's clock has it."""
    from datetime import datetime

    try:
        return datetime.fromisoformat(stamp).astimezone().strftime("%d %b %Y, %H:%M")
    except ValueError:
        return stamp
