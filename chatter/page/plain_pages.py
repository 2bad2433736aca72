"""One-sentence pages for when nothing else may be shown: no script, no picture, own policy."""

from __future__ import annotations

import base64
import hashlib
from html import escape
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from starlette.responses import Response


STYLE = (
    ":root{--g:#f6f4ee;--i:#14181a;--b:#1b3a8c;--o:#fff}"
    "@media(prefers-color-scheme:dark){:root{--g:#111415;--i:#f1efe8;--b:#a9bdff;--o:#0a1233}}"
    "html{background:var(--g);color:var(--i)}body{font:1.25rem/1.5 'Helvetica Neue','Segoe UI',"
    "Roboto,'Liberation Sans',Arial,sans-serif;max-width:36rem;margin:8vh auto;padding:0 1.25rem}"
    "main{border-top:.6rem solid var(--b);padding-top:1rem}h1{font:700 2.4rem/1.1 'DIN Alternate',"
    "Bahnschrift,'Roboto Condensed','Liberation Sans Narrow','Arial Narrow',sans-serif}"
    "a,button{font:inherit;font-weight:700;display:inline-block;min-height:3.5rem;"
    "padding:.75rem 1.25rem;box-sizing:border-box;border-radius:6px;background:var(--b);"
    "color:var(--o);border:0;text-decoration:none}button{width:100%;cursor:pointer}"
    ":focus-visible{outline:4px solid var(--i);outline-offset:3px}"
)
_HASH = base64.b64encode(hashlib.sha256(STYLE.encode()).digest()).decode()
CSP = (
    f"default-src 'none'; style-src 'sha256-{_HASH}'; form-action 'self'; base-uri 'none'; "
    "frame-ancestors 'none'"
)

_TITLES = {
    400: "Not taken",
    401: "A key is needed",
    403: "Refused",
    404: "Not here",
    408: "The upload stopped",
    413: "Too large",
    421: "Wrong address",
    429: "Too many tries",
    500: "Something went wrong",
    503: "Busy just now",
    507: "The disk is full",
}


def plain_page(
    status: int, sentence: str, *, body: str = "", headers: dict[str, str] | None = None
) -> Response:
    """An answer that needs nothing but itself.

    Parameters
    ----------
    status : int
    sentence : str
        Shown as text.
    body : str
        Further HTML, made by the caller from its own words only.
    headers : dict, optional

    Returns
    -------
    starlette.responses.Response
    """
    from starlette.responses import HTMLResponse

    title = escape(_TITLES.get(status, "Chatter"))
    back = '<p><a href="/">To the first page</a></p>' if status != 401 and not body else ""
    page = (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{title} - Chatter</title><style>{STYLE}</style></head><body><main>"
        f"<h1>{title}</h1><p>{escape(sentence)}</p>{body}{back}</main></body></html>"
    )
    return HTMLResponse(
        page, status_code=status, headers={"Content-Security-Policy": CSP, **(headers or {})}
    )
