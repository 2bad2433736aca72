"""What is fetched beside a recording's page: picture tiles, sound, report, findings."""

from __future__ import annotations

import asyncio
import json
import math
from typing import TYPE_CHECKING, Any

from chatter.page.desk import Plain, desk_of, kept_of
from chatter.page.routes_recording import take_of

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from starlette.requests import Request
    from starlette.responses import Response

    from chatter.page.spool import Kept

#: A report brings its own scripts and styles.  The sandbox gives it an origin of its own: whatever
#: it holds, it can reach neither this page nor its cookies, nor any other place. It may print
#: itself and hand out the picture it holds.
REPORT_CSP = (
    "sandbox allow-scripts allow-downloads allow-modals; "
    "default-src 'none'; img-src data:; media-src data:; "
    "style-src 'unsafe-inline'; script-src 'unsafe-inline'; form-action 'none'; base-uri 'none'; "
    "frame-ancestors 'self'"
)
_TILES_AT_ONCE = asyncio.Semaphore(2)
_MIMES = frozenset(
    {"audio/wav", "audio/ogg", "audio/flac", "audio/mpeg", "audio/mp4", "audio/webm"}
)


async def send_tile(request: Request) -> Response:
    """Levels of a stretch and band, one byte a cell; see ``tiles.tile``."""
    from starlette.responses import Response

    from chatter.page.view import TRACK

    view, folder = _view_of(request)
    if desk_of(request).spool.own_file(folder / TRACK) is None:
        raise Plain(404, "The picture is not ready yet: wait for the listen.")
    asked = request.query_params
    most_hz = view["rate_hz"] / 2
    start, stop = _number(asked, "from", 0.0), _number(asked, "to", view["duration_s"])
    low, high = _number(asked, "low", 40.0), _number(asked, "high", most_hz)
    columns, rows = _number(asked, "columns", 800), _number(asked, "rows", 240)
    inside = -1 <= start < stop <= view["duration_s"] + 1 and 10 <= low < high <= most_hz + 1
    if not (inside and 8 <= columns <= 1200 and 8 <= rows <= 400 and stop - start >= 0.01):
        raise Plain(422, "There is no such stretch of the picture: press Whole.")
    async with _TILES_AT_ONCE:
        data = await asyncio.to_thread(
            _compute, folder, view, (start, stop), (low, high), (int(columns), int(rows))
        )
    return Response(data, media_type="application/octet-stream")


def _compute(
    folder: Path,
    view: dict[str, Any],
    span: tuple[float, float],
    band: tuple[float, float],
    size: tuple[int, int],
) -> bytes:
    import numpy as np

    from chatter.page.tiles import tile_bytes as compute
    from chatter.page.view import TRACK

    track = np.memmap(folder / TRACK, np.float16, "r", shape=(view["samples"],))
    return compute(track, view["rate_hz"], span, band, size)


async def sound(request: Request) -> Response:
    """What the player plays; in parts, as it asks."""
    from starlette.responses import FileResponse

    from chatter.page.view import PLAY

    view, folder = _view_of(request)
    if view["mime"] not in _MIMES:
        raise Plain(404, "The sound of this recording cannot be played: listen to it again.")
    path = desk_of(request).spool.own_file(folder / PLAY)
    if path is None:
        raise Plain(404, "The sound of this recording cannot be played: listen to it again.")
    return FileResponse(path, media_type=view["mime"])


async def send_report(request: Request) -> Response:
    """The self-contained report, walled off from the page."""
    from starlette.responses import FileResponse

    from chatter.report.names import safe_stem

    kept, path = _answer_file(request, "report.html")
    headers = {"Content-Security-Policy": REPORT_CSP, "X-Frame-Options": "SAMEORIGIN"}
    name = f"{safe_stem(kept.name)}.html" if request.query_params.get("save") else None
    return FileResponse(path, media_type="text/html; charset=utf-8", headers=headers, filename=name)


async def findings(request: Request) -> Response:
    """The findings as JSON, to be kept."""
    from starlette.responses import FileResponse

    from chatter.report.names import safe_stem

    kept, path = _answer_file(request, "findings.json")
    return FileResponse(
        path, media_type="application/json", filename=f"{safe_stem(kept.name)}.json"
    )


async def send_card(request: Request) -> Response:
    """The one picture to share."""
    from starlette.responses import FileResponse

    from chatter.report.names import safe_stem

    kept, path = _answer_file(request, "share.png")
    return FileResponse(path, media_type="image/png", filename=f"{safe_stem(kept.name)}.png")


def _answer_file(request: Request, name: str) -> tuple[Kept, Path]:
    kept = kept_of(request)
    take = take_of(request, kept)
    spool = desk_of(request).spool
    path = spool.own_file(spool.take_folder(kept, take.number) / name) if take else None
    if path is None:
        raise Plain(404, "There is no answer to this recording yet: look at its own page.")
    return kept, path


def _view_of(request: Request) -> tuple[dict[str, Any], Path]:
    from chatter.page.view import FACTS

    folder = desk_of(request).spool.folder(kept_of(request))
    try:
        return json.loads((folder / FACTS).read_text(encoding="utf-8")), folder
    except (OSError, ValueError):
        raise Plain(404, "The picture is not ready yet: wait for the listen.") from None


def _number(asked: Mapping[str, str], name: str, usual: float) -> float:
    try:
        value = float(asked.get(name, usual))
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise Plain(422, "There is no such stretch of the picture: press Whole.")
    return value
