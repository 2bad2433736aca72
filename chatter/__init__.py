"""Chatter listens to a metal-cutting operation and says what the noise is.

>>> import chatter
>>> answer = chatter.listen("slot-3.m4a", chatter.load_job("slot-3.toml"))
>>> answer.findings.verdict
'chatter'

The functions here are the library's front doors.  Each opens its room only when it is called, so
that importing the package costs next to nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from chatter.comparing.front import Compared, CutterTakes
    from chatter.findings import Numbers
    from chatter.job.cut import Job
    from chatter.job.cutter import Cutter
    from chatter.job.machine import Machine
    from chatter.listening.front import Heard
    from chatter.logbook.book import Book
    from chatter.planning.front import Plan
    from chatter.planning.setting import Wish
    from chatter.tapping.findings import TapFindings

__version__ = "0.1.0"

__all__ = ["compare", "listen", "load_job", "open_book", "plan", "tap"]

Progress = Callable[[float, str], None]


def listen(
    path: str | Path,
    job: Job,
    *,
    units: str = "metric",
    numbers: Numbers | None = None,
    progress: Progress | None = None,
) -> Heard:
    """Listen to a recording of a cut: findings, and the arrays behind their pictures.

    Parameters
    ----------
    path : str or Path
        Any phone recording, audio or video.
    job : Job
        What the machinist states; :func:`load_job` reads it from a card.
    units : str
        "metric" or "inch", for quantities in sentences.
    numbers : Numbers, optional
        Where speed and tooth count come from, if they were not both stated: see
        ``chatter.listening.finding.find_job``.
    progress : callable, optional
        Called with the share done (0..1) and what is being done.

    Raises
    ------
    RecordingError, JobError, CardError
        One sentence each: what is wrong, and what to do.
    """
    from chatter.listening.front import listen as door
    from chatter.threads import one_thread

    with one_thread():
        return door(path, job, units=units, numbers=numbers, progress=progress)


def compare(
    cutters: Sequence[CutterTakes], *, units: str = "metric", progress: Progress | None = None
) -> Compared:
    """Compare two or more cutters by recordings of the same job.

    Parameters
    ----------
    cutters : sequence of CutterTakes
        The first is what the others are held against.
    units : str
        "metric" or "inch", for quantities in sentences.
    progress : callable, optional
        Called with the share done (0..1) and what is being done.

    Raises
    ------
    RecordingError, JobError
        One sentence each.
    """
    from chatter.comparing.front import compare as door
    from chatter.threads import one_thread

    with one_thread():
        return door(cutters, units=units, progress=progress)


def plan(
    cutter: Cutter, wish: Wish, machine: Machine | None = None, system: str = "metric"
) -> Plan:
    """Plan a cut: advised speeds and chip loads, the machine's steps, a careful first choice.

    Parameters
    ----------
    cutter : Cutter
        At least the teeth; with diameter and form the plan is complete.
    wish : Wish
        The cut, as far as it is known.
    machine : Machine, optional
        Its steps of speed and feed, motor and backlash.
    system : str
        "inch" or "metric", for the sentences.
    """
    from chatter.planning.front import plan as door

    return door(cutter, wish, machine, system)


def tap(
    path: str | Path | Sequence[str | Path],
    *,
    names: Sequence[str] | None = None,
    what: str | None = None,
    simulated: bool = False,
) -> TapFindings:
    """Find the modes of a set-up in recordings of taps on it, the spindle stopped.

    Parameters
    ----------
    path : str, Path, or sequence of them
        Any audio or video file; several, such as one for each tap, are taken together.
    names : sequence of str, optional
        What to call them in words, one for each; without it by the names of the files.
    what : str, optional
        What was tapped, to be kept with the findings.
    simulated : bool
        The recording is made by a simulation, and is to be labelled so.

    Raises
    ------
    RecordingError
        The file cannot be heard.
    """
    from chatter.tapping.taps import tap as door
    from chatter.threads import one_thread

    with one_thread():
        return door(path, names=names, what=what, simulated=simulated)


def load_job(path: str | Path) -> Job:
    """The job on a job card (TOML).  Raises CardError, naming file, section and key."""
    from chatter.job.cards import load_job as door

    return door(path)


def open_book(path: str | Path | None = None, *, write: bool = True) -> Book:
    """Open a logbook, or start one; to be closed, best by ``with``.

    Parameters
    ----------
    path : path, optional
        Without it the environment variable CHATTER_BOOK names the book, else it is
        ``logbook.db`` in the user's data folder.
    write : bool
        False opens an existing book for reading only.

    Raises
    ------
    BookError
        One sentence: damaged, newer than this program, not a book, no place to write ...
    """
    from chatter.logbook.book import open_book as door

    return door(path, write=write)
