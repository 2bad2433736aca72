"""Write the invented mill's history as a folder that ``chatter runin`` reads, with the truth."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

from chatter.errors import OutputError
from chatter.job.cards import save_machine
from chatter.lab.histories.draw import History
from chatter.lab.histories.scenario import mill_history
from chatter.lab.histories.sound import RATE_HZ, simulate_recording
from chatter.plain import to_json, to_plain
from chatter.runin.folder import CARD, INDEX, add_row
from chatter.runin.plan import SURVEY_HOURS, repeat_speeds

TRUTH = "truth.json"
_SECONDS = 12.0
#: Cuts of the same invented mill among the demo recordings, and what their faces showed.
_CUTS = (
    ("03-slot-staggered.m4a", "03-slot-staggered.toml", "cross_hatch_both"),
    ("05-saw-uneven.ogg", "05-saw-uneven.toml", ""),
)
_DEMO = Path(__file__).resolve().parents[3] / "recordings_demo"


def make_folder(
    folder: str | Path,
    *,
    dates: int | None = None,
    cuts: bool = True,
    tell: Callable[[str], None] | None = None,
) -> Path:
    """Simulate all recordings of the mill's history and write them with log, card and truth.

    Parameters
    ----------
    folder : path
        Made if it is missing; a log that is there already is not touched.
    dates : int, optional
        Only so many of the first dates.
    cuts : bool
        Copy the first cuts too, from the demo recordings.
    tell : callable, optional
        Called with the name of each file.

    Raises
    ------
    OutputError
        The folder holds a log already, or cannot be written.
    """
    folder = Path(folder)
    if (folder / INDEX).exists():
        raise OutputError(f"'{folder}' holds a run-in log already: name another folder.")
    history = mill_history()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        save_machine(history.machine, folder / CARD)
        for index, visit in enumerate(history.visits[:dates]):
            for speed, stated in enumerate(history.machine.speeds_rev_min):
                again = stated in repeat_speeds(history.machine)
                if visit.hours in SURVEY_HOURS or again:
                    _write(folder, history, index, speed, tell)
            if index == 1 and cuts:
                _cuts(folder, history, tell)
        truth = to_json({"simulated": True, **to_plain(history.truth)}, indent=1)
        (folder / TRUTH).write_text(truth + "\n", encoding="utf-8")
    except OSError as error:
        raise OutputError(
            f"'{folder}' cannot be written ({error.strerror}): name another place."
        ) from None
    return folder


def _write(
    folder: Path,
    history: History,
    index: int,
    speed: int,
    tell: Callable[[str], None] | None,
) -> None:
    from chatter.lab.simulate.codec import write_recording

    visit = history.visits[index]
    stated = history.machine.speeds_rev_min[speed]
    sound = simulate_recording(history, visit, speed, duration_s=_SECONDS)
    stem = folder / f"{visit.day.isoformat()}-idle-{stated:g}"
    path, _ = write_recording(stem, sound, RATE_HZ, visit.post.format)
    row = {
        "date": visit.day.isoformat(), "hours": f"{visit.hours:g}", "kind": "idle",
        "file": path.name, "speed": f"{stated:g}", "phone": visit.post.phone,
        "place": "stand by the column", "simulated": "yes",
    }  # fmt: skip
    add_row(folder, row)
    if tell is not None:
        tell(path.name)


def _cuts(folder: Path, history: History, tell: Callable[[str], None] | None) -> None:
    """First cuts, where the demo recordings are at hand."""
    visit = history.visits[1]
    for name, card, sign in _CUTS:
        if not (_DEMO / name).exists():
            continue
        for each in (name, card):
            shutil.copyfile(_DEMO / each, folder / each)
        shared = {"date": visit.day.isoformat(), "hours": f"{visit.hours:g}", "simulated": "yes"}
        row = {**shared, "kind": "cut", "file": name, "job": card, "phone": visit.post.phone}
        add_row(folder, row)
        if sign:
            add_row(folder, {**shared, "kind": "surface", "sign": sign, "note": f"cut {name}"})
        if tell is not None:
            tell(name)
