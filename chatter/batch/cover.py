"""What a table leaves out and what it holds twice; names that fit a line and still tell apart."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from pathlib import Path

from chatter.batch.gather import recordings_in
from chatter.batch.task import Task

#: More names than this are counted instead.
_NAMED = 8
_MARK = "\N{HORIZONTAL ELLIPSIS}"


def remarks(folder: str | Path, tasks: Sequence[Task]) -> tuple[str, ...]:
    """What a table and its folder do not agree on, in words.

    Parameters
    ----------
    folder : path
    tasks : sequence of Task
        Made from a table.
    """
    root = Path(folder)
    listed = {Path(task.path).resolve() for task in tasks}
    for task in tasks:
        if task.job is not None and task.job.take.idle_path:
            listed.add((root / task.job.take.idle_path).resolve())
    left = [
        path.relative_to(root).as_posix()
        for path in recordings_in(root)
        if path.resolve() not in listed
    ]
    said = []
    if left:
        some = (
            "recording in the folder stands" if len(left) == 1 else "recordings in the folder stand"
        )
        said.append(f"{len(left)} {some} in no line of the table: {_named(left)}.")
    twice = _twice(tasks)
    if twice:
        some = "recording stands" if len(twice) == 1 else "recordings stand"
        said.append(
            f"{len(twice)} {some} in the table more than once, for the same stretch: "
            f"{_named(twice)}. Remove one line of each."
        )
    return tuple(said)


def _twice(tasks: Sequence[Task]) -> list[str]:
    """Recordings listed again for the same stretch; two stretches of one are two takes."""
    lines: dict[tuple[str, tuple[float, float] | None], int] = defaultdict(int)
    names: dict[tuple[str, tuple[float, float] | None], str] = {}
    for task in tasks:
        span = None if task.job is None else task.job.take.span_s
        lines[task.path, span] += 1
        names[task.path, span] = task.name
    return [names[key] for key, count in lines.items() if count > 1]


def _named(names: Sequence[str]) -> str:
    listed = ", ".join(names[:_NAMED])
    more = len(names) - _NAMED
    return f"{listed} and {more} more" if more > 0 else listed


def shorten_names(names: Sequence[str], width: int) -> list[str]:
    """Names cut in the middle to a width, so that both ends stay.

    Where that would make two different names alike all are left whole.
    """
    cut = [_cut(name, width) for name in names]
    return cut if len(set(cut)) == len(set(names)) else list(names)


def _cut(name: str, width: int) -> str:
    if len(name) <= width or width < 5:
        return name
    # The end tells recordings apart: a date or a number, and what kind of file it is.
    head = (width - 1) // 3
    return f"{name[:head]}{_MARK}{name[len(name) - (width - 1 - head) :]}"
