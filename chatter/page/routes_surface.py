"""What the cut faces show: signs and photographs, kept in the logbook with the recording."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from chatter.page.desk import Plain, check_token, desk_of, kept_of, see
from chatter.page.requests import newest_answer
from chatter.page.spool import Kept
from chatter.page.uploads import Form, read_form

if TYPE_CHECKING:
    from pathlib import Path

    from starlette.requests import Request
    from starlette.responses import Response

    from chatter.logbook import Book

#: First bytes of a picture -> its type; nothing else is taken or shown.
_PICTURES = ((b"\xff\xd8\xff", "image/jpeg"), (b"\x89PNG\r\n\x1a\n", "image/png"))
_NO_PICTURE = (
    "This is no picture that the page can show: send it as JPEG, PNG or WebP. Nothing was kept."
)


@dataclass(frozen=True)
class Seen:
    """What the page shows of the faces."""

    surfaces: tuple  # (title, face, note, what it says)
    photos: tuple  # PhotoRow


def seen(book: Book, entry: str) -> Seen:
    """Signs and photographs of a recording of the book."""
    from chatter.logbook import PhotoRow, SurfaceRow
    from chatter.trade.surface import signs

    known = {sign.name: sign for sign in signs()}
    rows = book.list(SurfaceRow, recording=entry) if entry else ()
    surfaces = tuple(
        (known[row.sign].title, row.face, row.note, known[row.sign].says)
        for row in rows
        if row.sign in known
    )
    return Seen(surfaces, book.list(PhotoRow, recording=entry) if entry else ())


async def note(request: Request) -> Response:
    """Keep a sign, a photograph, or both."""
    desk = desk_of(request)
    limits = replace(desk.settings.limits, file_bytes=desk.settings.limits.photo_bytes)
    form = await read_form(
        request,
        limits,
        desk.spool.new_upload,
        lambda fields: check_token(request, fields.get("csrf")),
    )
    try:
        kept = kept_of(request)
        take = newest_answer(kept)
        if take is None or not take.entry:
            raise Plain(409, "There is no answer in the logbook to keep this with: listen first.")
        await desk.shelf.put(_keep, form, take.entry)
    finally:
        form.drop()
    return see(f"/recordings/{kept.id}#faces")


async def photo(request: Request) -> Response:
    """A photograph of a recording, by its place in the list."""
    from starlette.responses import FileResponse

    kept, desk = kept_of(request), desk_of(request)
    at = request.path_params["at"]
    path = await desk.shelf.ask(_place, kept, int(at) if at.isascii() and at.isdigit() else -1)
    kind = None if path is None or not path.is_file() else picture_kind(path)
    if path is None or kind is None:
        raise Plain(404, "There is no such photograph: look at the recording's own page.")
    return FileResponse(path, media_type=kind)


def picture_kind(path: Path) -> str | None:
    """The type of a picture by its first bytes; None for anything else."""
    with path.open("rb") as file:
        head = file.read(12)
    if head[:4] == b"RIFF" and head[8:12] == b"WEBP":
        return "image/webp"
    return next((kind for start, kind in _PICTURES if head.startswith(start)), None)


def _keep(book: Book, form: Form, entry: str) -> None:
    from chatter.logbook import add_photo, add_surface

    fields = {name: form.fields.get(name, "").strip()[:300] for name in ("sign", "face", "note")}
    pictures = []
    for file in form.files:
        if not file.name:
            continue
        if file.path is None or picture_kind(file.path) is None:
            raise Plain(422, f"{file.why} Nothing was kept." if file.why else _NO_PICTURE)
        pictures.append(file.path)
    if not fields["sign"] and not pictures:
        raise Plain(422, "Nothing was chosen: choose a sign, or take a photograph.")
    with book.writing():
        if fields["sign"]:
            add_surface(
                book, fields["sign"], face=fields["face"], note=fields["note"], recording=entry
            )
        for path in pictures:
            add_photo(book, path, caption=fields["note"] or fields["face"], recording=entry)


def _place(book: Book, kept: Kept, at: int) -> Path | None:
    take = newest_answer(kept)
    photos = seen(book, take.entry if take else "").photos
    return book.places.files / photos[at].place if 0 <= at < len(photos) else None
