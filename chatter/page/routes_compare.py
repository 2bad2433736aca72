"""Compare two or more recordings."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from chatter.page.desk import Plain, desk_of, kept_of, posted, see
from chatter.page.made_here import put_in_line
from chatter.page.render import page
from chatter.page.requests import chosen, newest_answer
from chatter.page.spool import DONE

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

    from chatter.page.spool import Kept

MOST = 12
_VERDICTS = {
    "difference": "They differ",
    "no_difference": "No difference shown",
    "cannot_tell": "Can't tell",
}


async def choose_cutters(request: Request) -> Response:
    """Say which recording was made with which cutter."""
    ids = request.query_params.getlist("id")
    return _form(request, _picked(request, ids), {}, "")


async def start_comparison(request: Request) -> Response:
    """Put a comparison in the line."""
    form = await posted(request)
    kept = _picked(request, [str(id_) for id_ in form.getlist("id")])
    names = {one.id: " ".join(str(form.get(f"name-{one.id}", "")).split())[:60] for one in kept}
    sides: dict[str, list[str]] = {}
    for each in kept:
        sides.setdefault(names[each.id], []).append(each.id)
    if "" in sides:
        return _form(request, kept, names, "A cutter has no name: fill it in.", 422)
    if len(sides) < 2:
        wrong = "All recordings are of one cutter: give the other another name."
        return _form(request, kept, names, wrong, 422)
    asked = {"sides": list(sides.items())}
    comparison = await put_in_line(request, asked, " against ".join(sides), kind="compare")
    return see(f"/compare/{comparison.id}")


async def show_comparison(request: Request) -> Response:
    """A comparison, or how far it is."""
    desk, kept = desk_of(request), kept_of(request)
    if kept.kind != "compare" or kept.last is None:
        raise Plain(404, "There is no such comparison: choose two under Recordings.")
    take, comparison = kept.last, None
    if take.state == DONE:
        path = desk.spool.take_folder(kept, take.number) / "compare.json"
        try:
            comparison = json.loads(path.read_text(encoding="utf-8"))
        except (OSError, ValueError):
            raise Plain(404, "This comparison is not there any more: compare again.") from None
    return page(
        request,
        "compare.html",
        one=kept,
        take=take,
        found=comparison,
        verdicts=_VERDICTS,
        sides=[
            (name, [each for id_ in ids if (each := desk.spool.get(id_)) is not None])
            for name, ids in chosen(desk.spool, kept)
        ],
        before=desk.queue.before(kept.id, take.number),
    )


def _picked(request: Request, ids: list[str]) -> list[Kept]:
    """The recordings with an answer among these.  Raises Plain."""
    picked = [desk_of(request).spool.get(id_) for id_ in dict.fromkeys(ids)]
    kept = [one for one in picked if one is not None and one.kind == "cut" and newest_answer(one)]
    if len(kept) < 2:
        raise Plain(422, "Tick two or more answered recordings under Recordings to compare them.")
    if len(kept) > MOST:
        raise Plain(422, f"These are {len(kept)} recordings: compare at most {MOST} at once.")
    return sorted(kept, key=lambda one: one.came_at)  # the first is what others are held against


def _form(
    request: Request, kept: list[Kept], names: dict[str, str], wrong: str, status: int = 200
) -> Response:
    usual = {}
    for at, recording in enumerate(kept):
        take = newest_answer(recording)
        stated = {} if take is None else take.stated
        usual[recording.id] = stated.get("cutter.name") or f"Cutter {chr(65 + at)}"
    done = [each for each in desk_of(request).spool.all("compare") if each.last is not None]
    return page(
        request,
        "choose.html",
        status=status,
        kept=[(recording, newest_answer(recording)) for recording in kept],
        names={**usual, **names},
        wrong=wrong,
        done=done[:12],
    )
