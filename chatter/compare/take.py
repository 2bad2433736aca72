"""Take: one recording listened to, and what is held of it for comparing."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from chatter.compare.tones import Tones, tone_rows
from chatter.compare.turns import Turns, band_power, like_the_rest, turn_rows
from chatter.findings import Findings, Pass
from chatter.job.cut import Job
from chatter.listen import listen
from chatter.listening.exhibits import Exhibits
from chatter.sound.intake import take_in
from chatter.sound.spool import Spool

Progress = Callable[[float, str], None]

#: Revolutions of a quick spindle are put together until they last this long.
ROW_S = 0.25
#: Idling shorter than this says little of the machine.
_IDLE_S = 1.0
#: A pass is cut short by this share of a turn at both ends.
_TRIM_TURNS = 0.5
_MOST_TONES = 6
#: Sound that is clipped in more of its frames than this has lost the very swells compared.
CLIPPED_SHARE = 0.05


@dataclass(frozen=True)
class Listened:
    """One recording after a listen."""

    path: Path
    job: Job
    findings: Findings
    exhibits: Exhibits

    @property
    def passes(self) -> tuple[Pass, ...]:
        """Passes in which something was cut, as far as can be told."""
        return tuple(p for p in self.findings.passes if p.verdict != "machine_only")

    @property
    def unfit(self) -> str | None:
        """Why the recording cannot be compared, None when it can."""
        fitness = self.findings.fitness
        if fitness.clipped_share > CLIPPED_SHARE:
            return (
                f"Clipped in {100 * fitness.clipped_share:.0f} % of the time, which flattens every "
                "swell: move the phone away and record again."
            )
        fatal = [one for one in fitness.complaints if one.fatal]
        return f"{fatal[0].sentence} {fatal[0].advice}" if fatal and not fitness.fit else None

    @property
    def speed_rev_min(self) -> float | None:
        """Speed heard in the longest pass, None when none was heard."""
        heard = [p for p in self.passes if p.spindle.heard]
        return max(heard, key=lambda p: p.revolutions).spindle.rev_min if heard else None


@dataclass(frozen=True)
class Measured:
    """One recording measured for comparing.

    Attributes
    ----------
    turns : Turns or None
        None when too little was cut or the speed is not known well enough.
    free, squeal : Tones or None
        At the frequencies of chatter and of squeal that any of the takes holds.
    machine : Tones or None
        At the machine's own tones, while idling.
    idle : ndarray, shape (bands,), or None
        Mean power of the carrier bands while idling.
    speed_from : str
        "heard", "other take" or "stated".
    top_hz : float
        Highest frequency that reached the file.
    """

    turns: Turns | None
    free: Tones | None
    squeal: Tones | None
    machine: Tones | None
    idle: np.ndarray | None
    speed_from: str
    top_hz: float = np.inf


def hear(path: str | Path, job: Job, *, units: str, progress: Progress | None) -> Listened:
    """Listen to one recording.  Raises what ``chatter.listen.listen`` raises."""
    heard = listen(path, job, units=units, progress=progress)
    return Listened(Path(path), job, heard.findings, heard.exhibits)


def tones_of(takes: list[Listened]) -> dict[str, tuple[float, ...]]:
    """Frequencies to be measured in all takes: those that any of them holds."""
    free: list[float] = []
    squeal: list[tuple[float, float]] = []
    machine: list[tuple[float, float]] = []
    for take in takes:
        for one in take.passes:
            if one.chatter is not None:
                free.append(one.chatter.frequency_hz)
            for line in one.lines:
                if line.name == "squeal":
                    squeal.append((line.level_db, line.frequency_hz))
                if line.in_idle or line.name == "machine":
                    machine.append((line.level_db, line.frequency_hz))
    return {
        "free": _apart(free),
        "squeal": _apart([f for _, f in sorted(squeal, reverse=True)]),
        "machine": _apart([f for _, f in sorted(machine, reverse=True)]),
    }


def fastest_of(takes: list[Listened]) -> float:
    """Fastest tooth passing among the takes [Hz], as stated."""
    return max(t.job.cutter.teeth * t.job.cut.speed_rev_min / 60.0 for t in takes)


def measure(
    take: Listened,
    tones: dict[str, tuple[float, ...]],
    *,
    fastest_hz: float,
    speed_rev_min: float | None,
) -> Measured:
    """Measure one recording turn by turn.

    Parameters
    ----------
    take : Listened
    tones : dict
        From :func:`tones_of`.
    fastest_hz : float [Hz]
        From :func:`fastest_of`.
    speed_rev_min : float, optional
        Speed heard in another take of the same stated speed, for passes in which it is not.
    """
    if take.unfit is not None:
        return Measured(None, None, None, None, None, "stated")
    sound = take_in(take.path)
    with sound.spool as spool:
        turns, source = _turns(spool, take, fastest_hz, speed_rev_min)
        free = squeal = None
        if turns is not None:
            free = tone_rows(spool.read, spool.rate_hz, turns.time_s, tones["free"])
            squeal = tone_rows(spool.read, spool.rate_hz, turns.time_s, tones["squeal"])
        idle, machine = _idle(spool, take, fastest_hz, tones["machine"])
    top_hz = take.findings.fitness.band_high_hz
    return Measured(turns, free, squeal, machine, idle, source, top_hz)


def _turns(
    spool: Spool, take: Listened, fastest_hz: float, speed_rev_min: float | None
) -> tuple[Turns | None, str]:
    """All rows of all passes, those unlike the rest of their pass left out."""
    stated = take.job.cut.speed_rev_min
    source = "heard" if take.speed_rev_min is not None else "stated"
    own = take.speed_rev_min
    if own is None and speed_rev_min is not None:
        own, source = speed_rev_min, "other take"
    found: list[Turns] = []
    for one in take.passes:
        if one.spindle.heard:
            course = tuple((float(t), float(f) / 60.0) for t, f in one.spindle.course)
        elif own is not None:
            course = ((one.start_s, own / 60.0),)
        else:
            continue
        course = course or ((one.start_s, one.spindle.rev_min / 60.0),)
        trim = min(_TRIM_TURNS * 60.0 / stated, 0.1 * (one.end_s - one.start_s))
        rows = turn_rows(
            spool.read,
            int((one.start_s + trim) * spool.rate_hz),
            int((one.end_s - trim) * spool.rate_hz),
            spool.rate_hz,
            course=course,
            teeth=take.job.cutter.teeth,
            fastest_hz=fastest_hz,
            row_s=ROW_S,
        )
        if rows is not None:
            found.append(rows.picked(like_the_rest(rows)))
    if not found:
        return None, source
    return (
        Turns(
            found[0].bands_hz,
            *(
                np.concatenate([getattr(rows, name) for rows in found])
                for name in ("time_s", "level", "swell", "tooth", "side")
            ),
        ),
        source,
    )


def _idle(
    spool: Spool, take: Listened, fastest_hz: float, wanted_hz: tuple[float, ...]
) -> tuple[np.ndarray | None, Tones | None]:
    """Band levels and machine tones of the longest idling in the recording."""
    idle = [s for s in take.findings.stretches if s.state == "idle"]
    longest = max(idle, key=lambda s: s.end_s - s.start_s, default=None)
    if longest is None or longest.end_s - longest.start_s < _IDLE_S:
        return None, None
    start, stop = longest.start_s + 0.1, longest.end_s - 0.1
    rate = spool.rate_hz
    _, _, power = band_power(
        spool.read, int(start * rate), int(stop * rate), rate, fastest_hz=fastest_hz
    )
    edges = np.arange(start, stop - ROW_S + 1e-6, ROW_S)
    rows_s = np.stack([edges, edges + ROW_S], axis=1)
    tones = None if len(rows_s) < 4 else tone_rows(spool.read, rate, rows_s, wanted_hz)
    return power.mean(axis=1), tones


def _apart(found: list[float]) -> tuple[float, ...]:
    """The first few, none within the search width of another."""
    kept: list[float] = []
    for frequency in found:
        if all(abs(frequency / other - 1.0) > 0.03 for other in kept):
            kept.append(float(frequency))
    return tuple(kept[:_MOST_TONES])
