"""The front door of the main job: one recording and one job in, findings out."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from chatter.errors import JobError
from chatter.findings import SCHEMA_VERSION, Complaint, Findings, Fitness, Numbers, Pass
from chatter.job.cut import Job
from chatter.job.system import system_of
from chatter.listening.exhibits import Exhibits
from chatter.listening.hearing import hear
from chatter.listening.stamp import made_by
from chatter.listening.summary import overall, summarise
from chatter.listening.track import Track
from chatter.listening.trees import model_data
from chatter.plain import to_plain
from chatter.sound.fitness import judge_fitness, length_complaint, with_further
from chatter.sound.intake import Sound, take_in
from chatter.tapping.findings import TapFindings, load_taps
from chatter.trade.cautions import cautions
from chatter.trade.observed import clash
from chatter.trade.remedies import suggest
from chatter.trade.stability import chart, worst_chatter
from chatter.trade.tapped import missed, mode_of, mode_words, with_modes

Progress = Callable[[float, str], None]

#: Share of a listen that the taking in has.
_TAKING_IN = 0.45


@dataclass(frozen=True)
class Heard:
    """What a listen yields: the findings, and the arrays behind their pictures."""

    findings: Findings
    exhibits: Exhibits


def listen(
    path: str | Path,
    job: Job,
    *,
    units: str = "metric",
    numbers: Numbers | None = None,
    progress: Progress | None = None,
) -> Heard:
    """Take a recording of a cut in, and listen to it.

    Parameters
    ----------
    path : str or Path
        Any phone recording.
    job, units, numbers
        As for :func:`listen_to`.
    progress : callable, optional
        Called with the share done (0..1) and what is being done.

    Returns
    -------
    Heard

    Raises
    ------
    RecordingError
        The file cannot be heard.
    JobError
        The stated time span lies outside the recording.
    CardError
        The stated tap test cannot be read.
    """
    reading, judging = shared_out(progress)
    with taken_in(path, progress=reading) as sound:
        return listen_to(sound, job, units=units, numbers=numbers, progress=judging)


def shared_out(progress: Progress | None) -> tuple[Progress, Progress]:
    """The progress of taking in, and of listening to what was taken in, out of that of both."""
    say = progress or _silent
    return (
        lambda share, what: say(_TAKING_IN * share, what),
        lambda share, what: say(_TAKING_IN + (1.0 - _TAKING_IN) * share, what),
    )


@contextmanager
def taken_in(path: str | Path, *, progress: Progress | None = None) -> Iterator[Sound]:
    """A recording decoded once, with all that finding numbers and judging need of it.

    It is dropped at the end of the block.

    Parameters
    ----------
    path : str or Path
        Any phone recording.
    progress : callable, optional
        Called with the share of the file that has been read (0..1) and what is being done.

    Raises
    ------
    RecordingError
        The file cannot be heard.
    """
    sound = take_in(path, frames=True, progress=progress)
    with sound.spool:
        yield sound


def listen_to(
    sound: Sound,
    job: Job,
    *,
    units: str = "metric",
    numbers: Numbers | None = None,
    progress: Progress | None = None,
) -> Heard:
    """Listen to a recording that was taken in.

    Parameters
    ----------
    sound : Sound
        Stays open, to be listened to again under another job.
    job : Job
        At least spindle speed and tooth count.
    units : str
        "metric" or "inch", for quantities in the sentences, where the job's cards do not tell.
    numbers : Numbers, optional
        Where speed and tooth count come from, as :func:`chatter.listening.finding.find_job` found
        them; without it both are stated.
    progress : callable, optional
        Called with the share done (0..1) and what is being done.

    Returns
    -------
    Heard

    Raises
    ------
    RecordingError
        The stated recording of idling cannot be heard.
    JobError
        The stated time span lies outside the recording.
    CardError
        The stated tap test cannot be read.
    """
    units = system_of(job) or units
    taps = None if job.take.taps_path is None else load_taps(job.take.taps_path)
    say = progress or _silent
    _check_span(job, sound)
    fitness = judge_fitness(sound)
    with _idling(job) as idle:
        hearing = hear(
            Track.of(sound.spool),
            job,
            frames=sound.frames,
            idle_track=idle,
            unfit=_unfit(fitness),
            told=numbers,
            progress=lambda share, what: say(0.97 * share, what),
        )
    fitness = with_further(fitness, _too_short(hearing.passes))
    modes = () if taps is None else taps.modes
    passes = with_modes(hearing.passes, modes, None if taps is None else taps.what)
    verdict, confidence = overall(passes)
    findings = Findings(
        schema_version=SCHEMA_VERSION,
        made_by=made_by(),
        source=sound.source,
        job=to_plain(job),
        verdict=verdict,
        confidence=confidence,
        summary=_summary(passes, verdict),
        passes=passes,
        stretches=hearing.stretches,
        fitness=fitness,
        suggestions=suggest(passes, job, complaints=fitness.complaints, modes=modes, system=units),
        cautions=cautions(job, "listen"),
        notes=(*_cut_short(job, sound), *hearing.notes, *_notes(passes, job, taps, units)),
        how=(*_how(sound, job), *_tapped_how(taps)),
        simulated=job.take.simulated,
        numbers=hearing.numbers,
    )
    say(1.0, "done")
    return Heard(findings, hearing.exhibits)


@contextmanager
def _idling(job: Job) -> Iterator[Track | None]:
    """The stated recording of the machine idling, None where none is stated."""
    if job.take.idle_path is None:
        yield None
        return
    with take_in(job.take.idle_path).spool as spool:
        yield Track.of(spool)


def _silent(_share: float, _what: str) -> None:
    """No progress is shown."""


def check_recording(path: str | Path) -> None:
    """Refuse, by its first bytes, a file that is plainly no recording.  Raises RecordingError."""
    from chatter.sound.sniff import look

    look(path)


def _check_span(job: Job, sound: Sound) -> None:
    if job.take.span_s is None:
        return
    start, stop = job.take.span_s
    length = sound.spool.duration_s
    if start >= length - 0.2 or stop <= start:
        raise JobError(
            f"The time span {start:g}-{stop:g} s lies outside the recording, which is "
            f"{length:.1f} s long: state a span inside it."
        )


def _cut_short(job: Job, sound: Sound) -> tuple[str, ...]:
    """A stated stretch that the recording does not hold to its end: so much is said."""
    length = sound.source.duration_s
    if job.take.span_s is None or job.take.span_s[1] <= length + 0.5:
        return ()
    return (
        f"The stated stretch runs to {job.take.span_s[1]:g} s, but the recording ends at "
        f"{length:.1f} s: it was judged up to there.",
    )


def _unfit(fitness: Fitness) -> str | None:
    """The first fatal complaint, as the reason why nothing can be told."""
    for complaint in fitness.complaints:
        if complaint.fatal:
            return f"{complaint.sentence} {complaint.advice}"
    return None


def _too_short(passes: tuple[Pass, ...]) -> tuple[Complaint, ...]:
    """One complaint on length, when no pass has enough revolutions."""
    if not passes:
        return ()
    longest = max(passes, key=lambda p: p.revolutions)
    complaint = length_complaint(longest.end_s - longest.start_s, longest.spindle.rev_min)
    return () if complaint is None else (complaint,)


def _summary(passes: tuple[Pass, ...], verdict: str) -> str:
    """The answer, with the tapped mode to stiffen where one is known."""
    worst = worst_chatter(passes)
    heard = None if worst is None else worst.chatter
    named = None if heard is None else mode_words(heard)
    said = summarise(passes, verdict)
    return said if named is None else f"{said} {named}"


def _notes(
    passes: tuple[Pass, ...], job: Job, taps: TapFindings | None, units: str
) -> tuple[str, ...]:
    """What a tap test and earlier cuts add that is no suggestion."""
    said = [None if taps is None else missed(passes, taps.what)]
    if taps is not None and taps.simulated and not job.take.simulated:
        said.append("The tap test is labelled as simulated; this recording is not.")
    if job.cut.observed:
        worst = worst_chatter(passes)
        drawn = None if worst is None else chart(worst, job, mode_of(worst.chatter), system=units)
        said.append(clash(job.cut.observed, units) if drawn is None else drawn.scale.sentence)
    return tuple(one for one in said if one is not None)


def _tapped_how(taps: TapFindings | None) -> tuple[str, ...]:
    if taps is None:
        return ()
    modes = ", ".join(f"{m.frequency_hz:.0f} Hz" for m in taps.modes) or "none"
    return (f"Modes of the tap test '{taps.source}': {modes}.",)


def _how(sound: Sound, job: Job) -> tuple[str, ...]:
    return (
        f"Decoded {sound.source.container} ({sound.source.codec}), {sound.source.rate_hz} Hz, "
        f"{sound.source.channels} channel(s), {sound.source.duration_s:.1f} s; mixed to one "
        f"track at {sound.spool.rate_hz} Hz.",
        "Cut into segments where the band levels change; which of them are cuts was weighed by "
        "what was measured in each.",
        "Spindle speed: all speeds from half to twice the stated "
        f"{job.cut.speed_rev_min:g} rev/min "
        "weighed over the whole recording by the lines of teeth and turn in sound and envelope.",
        "Every narrow line was weighed by itself as a line of chatter; then the causes of each "
        "pass, by boosted trees whose every step is shown as evidence (model.json, fit "
        f"{model_data()['code']}).",
    )
