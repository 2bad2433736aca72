"""A listen told with all that its machine's logbook has learned."""

from __future__ import annotations

import tempfile
from dataclasses import Field, dataclass, replace
from pathlib import Path
from typing import Any, ClassVar, Protocol, TypeVar

from chatter.findings import Findings
from chatter.job.cut import Job
from chatter.job.voice import MachineVoice
from chatter.logbook import Book, MachineRow, RecordingRow, file_of
from chatter.sound.intake import Sound, take_in
from chatter.teaching.applying import tuned
from chatter.teaching.keeping import tuning_of
from chatter.teaching.naming import name_own_lines, to_turn_down, what_remains
from chatter.teaching.quieting import quieted
from chatter.teaching.tuning import Tuning
from chatter.teaching.voice import idle_for, voice_of


class _HoldsFindings(Protocol):
    """A frozen dataclass with findings among its fields."""

    __dataclass_fields__: ClassVar[dict[str, Field[Any]]]

    @property
    def findings(self) -> Findings: ...


Heard = TypeVar("Heard", bound=_HoldsFindings)
HeardToo = TypeVar("HeardToo", bound=_HoldsFindings, covariant=True)


class Ear(Protocol[HeardToo]):
    """Listens to a recording that was taken in, under a job."""

    def __call__(self, sound: Sound, job: Job, /) -> HeardToo: ...


#: Idling in the cut's own recording that needs no other beside it.
_OWN_IDLE_S = 1.5


@dataclass(frozen=True)
class Taught:
    """What a book knows that bears on one cut."""

    tuning: Tuning | None = None
    voice: MachineVoice | None = None
    idle: RecordingRow | None = None  # the machine idling at this step, to hold the cut against
    idle_path: str | None = None

    def again(self, job: Job, findings: Findings) -> Job | None:
        """The job to listen once more under, with the book's idle recording; None when the cut's
        own recording holds idling enough, which the same phone heard on the same day."""
        own = sum(
            stretch.end_s - stretch.start_s
            for stretch in findings.stretches
            if stretch.state == "idle"
        )
        if self.idle_path is None or job.take.idle_path is not None or own >= _OWN_IDLE_S:
            return None
        return replace(job, take=replace(job.take, idle_path=self.idle_path))

    def tell(self, findings: Findings) -> Findings:
        """Findings with the machine's own lines named and the sureness tuned."""
        idle_path = findings.job.get("take", {}).get("idle_path")
        if self.idle is not None and idle_path == self.idle_path:
            note = (
                f"Held against the machine idling, recording {self.idle.number} of the logbook "
                f"({self.idle.name})."
            )
            findings = replace(findings, how=(*findings.how, note))
        return tuned(name_own_lines(findings, self.voice), self.tuning)


def taught(
    book: Book,
    machine: MachineRow | None,
    job: Job,
    *,
    phone: str = "",
    position: str = "",
) -> Taught:
    """What the book knows that bears on a cut.

    Parameters
    ----------
    book : Book
        May be open for reading only.
    machine : MachineRow or None
    job : Job
    phone, position : str
        Of this recording; levels of the machine's lines count only where they are the same.

    Raises
    ------
    BookError
    """
    tuning = tuning_of(book, machine)
    if machine is None:
        return Taught(tuning)
    voice = voice_of(book, machine, phone=phone, position=position, keep=False)
    idle = None
    if job.take.idle_path is None:
        idle = idle_for(book, machine, job.cut.speed_rev_min)
    path = None if idle is None else str(file_of(book, idle))
    return Taught(tuning, voice, idle, path)


def listen_taught(listen: Ear[Heard], sound: Sound, job: Job, learned: Taught) -> Heard:
    """Listen; once more beside the book's idle recording where the cut has none of its own, and
    where something was said of chatter once more with the machine's own lines turned down.

    Parameters
    ----------
    listen : callable
        From a recording taken in and a job to what was heard, a frozen dataclass with
        ``findings``.
    sound : Sound
        Taken in with its frames.
    job : Job
    learned : Taught
    """
    heard = listen(sound, job)
    again = learned.again(job, heard.findings)
    if again is not None:
        job, heard = again, listen(sound, again)
    down_hz = to_turn_down(heard.findings, learned.voice)
    if down_hz:
        heard = _without(listen, sound, job, heard, down_hz)
    return replace(heard, findings=learned.tell(heard.findings))


def _without(
    listen: Ear[Heard], sound: Sound, job: Job, heard: Heard, down_hz: tuple[float, ...]
) -> Heard:
    with tempfile.TemporaryDirectory(prefix="chatter-") as folder:
        copy = Path(folder) / "quieted.wav"
        quieted(sound.spool, copy, down_hz)
        remains = take_in(copy, frames=True)
        with remains.spool:
            rest = listen(remains, job)
    return replace(rest, findings=what_remains(heard.findings, rest.findings, down_hz))
