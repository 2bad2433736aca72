"""A cut of ours to try the page with: simulated, on an invented machine."""

from __future__ import annotations

import asyncio
import shutil
from pathlib import Path
from typing import TYPE_CHECKING

from chatter.job.cards import load_statement
from chatter.page import forms
from chatter.page.desk import Plain, desk_of, posted, see
from chatter.page.queue import Full
from chatter.page.render import browser_of, units_of
from chatter.page.routes_home import start_listen

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

#: One of the demo recordings with its job card; a test holds the two against each other.
FOLDER = Path(__file__).with_name("example")
NAME = "A cut of ours (simulated).mp4"


async def example(request: Request) -> Response:
    """Keep the example as if this browser had sent it, and listen to it."""
    await posted(request)
    desk = desk_of(request)
    values = load_statement(FOLDER / "cut.toml")
    stated = {name: forms.form_text(name, value) for name, value in values.items()}
    part = desk.spool.new_upload()
    try:
        with desk.queue.reserve():
            await asyncio.to_thread(shutil.copyfile, FOLDER / "cut.mp4", part)
            kept = await asyncio.to_thread(
                desk.spool.adopt,
                part,
                NAME,
                stated,
                units=units_of(request),
                browser=browser_of(request),
            )
            kept = await start_listen(desk, kept, forms.Read(stated, {}))
    except Full:
        raise Plain(503, "Busy: as many wait as the page allows. Try again soon.") from None
    except OSError:
        raise Plain(507, "The disk has no room for this recording: make some.") from None
    finally:
        part.unlink(missing_ok=True)
    return see(f"/recordings/{kept.id}")
