"""Bring a recording of the logbook to the page."""

from __future__ import annotations

import asyncio
import shutil
from typing import TYPE_CHECKING

from chatter.page import forms, shelf
from chatter.page.desk import Plain, desk_of, posted, see
from chatter.page.queue import Full
from chatter.page.routes_home import start_listen

if TYPE_CHECKING:
    from pathlib import Path

    from starlette.requests import Request
    from starlette.responses import Response

    from chatter.logbook import Book

#: Places on this computer that an earlier listen read; the form on the page chooses anew.
_NOT_TAKEN_OVER = ("take.idle", "take.taps", "take.span")


async def bring(request: Request) -> Response:
    """Copy a recording of the book into the spool and listen to it as it was stated there."""
    await posted(request)
    desk = desk_of(request)
    logged = await desk.shelf.ask(_of_the_book, request.path_params["uid"])
    if logged is None:
        raise Plain(404, "There is no such recording in the logbook: look under Recordings.")
    name, path, stated = logged
    if path.stat().st_size > desk.settings.limits.file_bytes:
        raise Plain(413, "This recording is larger than the page takes: use 'chatter listen'.")
    part = desk.spool.new_upload()
    try:
        with desk.queue.reserve():
            await asyncio.to_thread(shutil.copyfile, path, part)
            kept = await asyncio.to_thread(desk.spool.adopt, part, name, stated)
            kept = await start_listen(desk, kept, forms.Read(stated, {}))
    except Full:
        raise Plain(503, "Busy: as many wait as the page allows. Try again soon.") from None
    except OSError:
        raise Plain(507, "The disk has no room for this recording: make some.") from None
    finally:
        part.unlink(missing_ok=True)
    return see(f"/recordings/{kept.id}")


def _of_the_book(book: Book, uid: str) -> tuple[str, Path, dict[str, str]] | None:
    """(name, path of the file, what was stated last) of a recording; None for none."""
    from chatter.job.build import statement_of
    from chatter.logbook import JobRow, ListenRow, RecordingRow, file_of

    row = shelf.by_uid(book, RecordingRow, uid)
    listens = () if row is None else book.list(ListenRow, recording=row)
    if row is None or not listens:
        return None
    job = book.get(JobRow, listens[-1].job).job
    stated = {
        name: forms.form_text(name, value)
        for name, value in statement_of(job).items()
        if name not in _NOT_TAKEN_OVER
    }
    return row.name, file_of(book, row), stated
