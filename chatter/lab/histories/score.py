"""Follow a history date by date and hold every flag against the truth."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from chatter.lab.histories.draw import History, draw_history
from chatter.lab.histories.sound import RATE_HZ, simulate_recording
from chatter.runin.entries import LogEntry
from chatter.runin.idle import IdleSound, hear_idle
from chatter.runin.items import items_of
from chatter.runin.series import BASELINE_DATES
from chatter.runin.study import followed, measure_recordings, survey_of
from chatter.runin.trends import trends

#: Speeds on the card (by index) that are heard on the first day, and on every date.
SURVEYED, REPEATED = (1, 2, 3, 4), (2, 4)
#: Every so many histories go through the phone's encoder and a real file, to save time.
_CODED_EVERY = 4
#: A rise of the hiss by this much, because a bearing has become that loud, is a true one.
_TRUE_HISS_DB = 1.0


@dataclass(frozen=True)
class TrendFlag:
    """An item that was called better or worse on a date."""

    key: str
    verdict: str
    date_index: int


@dataclass(frozen=True)
class HistoryScore:
    """One history against its truth.

    Attributes
    ----------
    seed : int
    false_flags : tuple of TrendFlag
    worsens : str or None
    found_by : int or None
        Date by which the worsening must be found; None when there is none to be found.
    found_at : int or None
        Date on which it was.
    wear_in_found : bool
    items : int
        How many series were watched.
    """

    seed: int
    false_flags: tuple[TrendFlag, ...]
    worsens: str | None
    found_by: int | None
    found_at: int | None
    wear_in_found: bool
    items: int

    @property
    def in_time(self) -> bool:
        """Found by the date it must be."""
        found, limit = self.found_at, self.found_by
        return found is not None and limit is not None and found <= limit


def score_history(seed: int, *, duration_s: float = 8.0) -> HistoryScore:
    """Simulate a history, follow it from date to date, and score every flag.

    Parameters
    ----------
    seed : int
    duration_s : float
        Of each recording.
    """
    history = draw_history(seed)
    coded = seed % _CODED_EVERY == 0
    heard = heard_recordings(history, duration_s=duration_s, coded=coded)
    return score_flags(history, heard)


def heard_recordings(
    history: History, *, duration_s: float, coded: bool = True
) -> list[tuple[LogEntry, IdleSound]]:
    """Every recording of a history with what was heard in it.

    ``coded`` sends each through the phone's encoder and a real file; else what the phone hands
    to its encoder is heard.
    """
    found = []
    with tempfile.TemporaryDirectory(prefix="chatter-history-") as folder:
        for at, visit in enumerate(history.visits):
            for speed in SURVEYED if at == 0 else REPEATED:
                entry = LogEntry(
                    "idle",
                    visit.day,
                    visit.hours,
                    rev_min=history.machine.speeds_rev_min[speed],
                    phone=visit.post.phone,
                    place="stand",
                )
                sound = simulate_recording(history, visit, speed, duration_s=duration_s)
                if coded:
                    from chatter.lab.simulate.codec import write_recording

                    stem = Path(folder) / f"{at}-{speed}"
                    path, _ = write_recording(stem, sound, RATE_HZ, visit.post.format)
                    idle = hear_idle(path, spindle_hz=entry.spindle_hz)
                else:
                    idle = _from_memory(sound, entry.spindle_hz)
                found.append((entry, idle))
    return found


def _from_memory(sound: np.ndarray, spindle_hz: float) -> IdleSound:
    from chatter.runin.idle import idle_sound

    return idle_sound(lambda a, b: sound[a:b], 0, len(sound), RATE_HZ, spindle_hz=spindle_hz)


def score_flags(history: History, heard: Sequence[tuple[LogEntry, IdleSound]]) -> HistoryScore:
    """Hold every flag, on every date, against the truth."""
    machine, truth = history.machine, history.truth
    items = items_of(machine, followed(survey_of(machine, heard)))
    recorded = measure_recordings(machine, items, heard)
    false: dict[tuple[str, str], TrendFlag] = {}
    found_at, wear_in, watched = None, False, 0
    for at in range(BASELINE_DATES, len(history.visits)):
        known = [one for one in recorded if one.entry.day <= history.visits[at].day]
        for one in trends(known, items):
            watched = max(watched, at - BASELINE_DATES + 1 and len(items))
            if one.verdict not in ("better", "worse"):
                continue
            key = one.item.key
            if _names(key, truth.worsens) and one.verdict == "worse":
                found_at = at if found_at is None else found_at
            elif one.item.part == truth.wears_in and one.verdict == "better":
                wear_in = True
            elif not _true_hiss(history, key, one.verdict, at):
                false.setdefault((key, one.verdict), TrendFlag(key, one.verdict, at))
    return HistoryScore(
        history.seed,
        tuple(false.values()),
        truth.worsens,
        truth.found_by,
        found_at,
        wear_in,
        watched,
    )


def _names(key: str, worsens: str | None) -> bool:
    """The item names what is true, perhaps beside another part that strikes alike."""
    if worsens is None or not worsens.startswith("bearing:"):
        return key == worsens
    _, name, fault = worsens.split(":")
    if "+" not in key or key.count(":") == 2:
        _, own, faults = key.split(":") if key.count(":") == 2 else ("", "", "")
        return own == name and fault in faults.split("+")
    return f"{name}:{fault}" in key.removeprefix("bearing:").split("+")


def _true_hiss(history: History, key: str, verdict: str, at: int) -> bool:
    """A loud bearing does raise the hiss."""
    rise = 10 * np.log10(1 + 10 ** (history.truth.strikes_db[at] / 10))
    return key == "broad" and verdict == "worse" and rise >= _TRUE_HISS_DB
