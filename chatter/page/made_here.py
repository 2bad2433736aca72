"""What the page makes without a file being handed in: comparisons, reports of a run-in."""

from __future__ import annotations

import asyncio
import json
from typing import TYPE_CHECKING

from chatter.page.desk import Plain, desk_of
from chatter.page.queue import Full
from chatter.page.render import units_of
from chatter.page.spool import Kept

if TYPE_CHECKING:
    from starlette.requests import Request


async def put_in_line(request: Request, asked: dict, title: str, **kind: str) -> Kept:
    """Keep what is asked for as if it were a recording, and put it in the line.

    Parameters
    ----------
    request : Request
    asked : dict
        What the worker must know, kept as JSON.
    title : str
    **kind : str
        ``kind``, and ``machine`` where there is one, as of ``Spool.adopt``.

    Raises
    ------
    Plain
        503 when as many wait as may.
    """
    desk = desk_of(request)
    part = desk.spool.new_upload()
    part.write_text(json.dumps(asked), encoding="utf-8")
    try:
        with desk.queue.reserve():
            kept = await asyncio.to_thread(desk.spool.adopt, part, title, {}, **kind)
            kept = desk.spool.add_take(kept, {}, units_of(request))
            desk.queue.put(kept, 1)
    except Full:
        part.unlink(missing_ok=True)
        raise Plain(503, "Busy: as many wait as the page allows. Try again soon.") from None
    return kept
