"""Help: the manual, a page a topic."""

from __future__ import annotations

from typing import TYPE_CHECKING

from chatter.errors import JobError
from chatter.page.desk import Plain
from chatter.page.render import page

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response


async def contents(request: Request) -> Response:
    """The list of topics."""
    from chatter.manual import topics

    return page(request, "help.html", topics=topics(), shown=None, text="")


async def show_topic(request: Request) -> Response:
    """One topic."""
    from markupsafe import Markup

    from chatter.manual import as_html
    from chatter.manual import topic as find

    try:
        shown = find(request.path_params["topic"])
    except JobError as wrong:
        raise Plain(404, str(wrong)) from None
    text = Markup(as_html(shown.name))  # our own files: nothing in them comes from outside
    return page(request, "help.html", topics=(), shown=shown, text=text)
