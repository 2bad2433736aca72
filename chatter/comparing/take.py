"""Take: what is held of one recording for comparing."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from chatter.comparing.heard import Listened
from chatter.comparing.pace import Speed, speeds, trimmed
from chatter.comparing.tones import Tones, tone_rows
from chatter.comparing.turns import Turns, like_the_rest, turn_rows
from chatter.sound.bands import band_power
from chatter.sound.spool import Spool

Progress = Callable[[float, str], None]

#: Revolutions of a quick spindle are put together until they last this long.
ROW_S = 0.25
#: Idling shorter than this says little of the machine.
_IDLE_S = 1.0
_MOST_TONES = 6


@dataclass(frozen=True)
class MeasuredTake:
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
        "heard", "other take", "swelling", or "stated" when it is not known.
    top_hz : float
        Highest frequency that reached the file.
    rev_min : float or None
        Speed the turns were laid out by, None when it is not known.
    """

    turns: Turns | None
    free: Tones | None
    squeal: Tones | None
    machine: Tones | None
    idle: np.ndarray | None
    speed_from: str
    top_hz: float = np.inf
    rev_min: float | None = None


def measured_takes(
    takes: Sequence[Listened], *, progress: Progress | None = None
) -> list[MeasuredTake]:
    """All recordings of a comparison measured, what is heard in one helping the others.

    Parameters
    ----------
    takes : sequence of Listened
        Of all cutters.
    progress : callable, optional
        Called with the share done (0..1) and what is being done.
    """
    say = progress or (lambda _share, _what: None)
    tones, fastest_hz = tones_of(takes), fastest_of(takes)
    measured: list[MeasuredTake] = []
    for take, speed in zip(takes, speeds(takes, fastest_hz=fastest_hz), strict=True):
        say(len(measured) / len(takes), f"counting turns of {take.path.name}")
        measured.append(measure_take(take, tones, fastest_hz=fastest_hz, speed=speed))
    return measured


def tones_of(takes: Sequence[Listened]) -> dict[str, tuple[float, ...]]:
    """Frequencies to be measured in all takes: those that any of them holds."""
    free: list[float] = []
    squeal: list[tuple[float, float]] = []
    machine: list[tuple[float, float]] = []
    for take in takes:
        for one_pass in take.passes:
            if one_pass.chatter is not None:
                free.append(one_pass.chatter.frequency_hz)
            for line in one_pass.lines:
                if line.name == "squeal":
                    squeal.append((line.level_db, line.frequency_hz))
                if line.in_idle or line.name == "machine":
                    machine.append((line.level_db, line.frequency_hz))
    return {
        "free": _apart(free),
        "squeal": _apart([f for _, f in sorted(squeal, reverse=True)]),
        "machine": _apart([f for _, f in sorted(machine, reverse=True)]),
    }


def fastest_of(takes: Sequence[Listened]) -> float:
    """Fastest tooth passing among the takes [Hz], as stated."""
    return max(t.job.cutter.teeth * t.job.cut.speed_rev_min / 60.0 for t in takes)


def measure_take(
    take: Listened,
    tones: dict[str, tuple[float, ...]],
    *,
    fastest_hz: float,
    speed: Speed | None,
) -> MeasuredTake:
    """Measure one recording turn by turn.

    Parameters
    ----------
    take : Listened
    tones : dict
        From :func:`tones_of`.
    fastest_hz : float [Hz]
        From :func:`fastest_of`.
    speed : Speed, optional
        From :func:`chatter.comparing.pace.speeds`; None when it is not known.
    """
    source, rev_min = ("stated", None) if speed is None else (speed.source, speed.rev_min)
    if take.unfit is not None:
        return MeasuredTake(None, None, None, None, None, source, rev_min=rev_min)
    track = take.spool
    turns = None if speed is None else _turns(track, take, fastest_hz, speed)
    free = squeal = None
    if turns is not None:
        free = tone_rows(track.read, track.rate_hz, turns.time_s, tones["free"])
        squeal = tone_rows(track.read, track.rate_hz, turns.time_s, tones["squeal"])
    idle, machine = _idle(track, take, fastest_hz, tones["machine"])
    top_hz = take.findings.fitness.band_high_hz
    return MeasuredTake(turns, free, squeal, machine, idle, source, top_hz, rev_min)


def _turns(spool: Spool, take: Listened, fastest_hz: float, speed: Speed) -> Turns | None:
    """All rows of all passes, those unlike the rest of their pass left out."""
    of_passes: list[Turns] = []
    for one_pass in take.passes:
        start, stop = trimmed(one_pass, take.job.cut.speed_rev_min / 60.0, spool.rate_hz)
        rows = turn_rows(
            spool.read,
            start,
            stop,
            spool.rate_hz,
            course=speed.course(one_pass),
            teeth=take.job.cutter.teeth if speed.parts_teeth else None,
            fastest_hz=fastest_hz,
            row_s=ROW_S,
        )
        if rows is not None:
            of_passes.append(rows.picked(like_the_rest(rows)))
    if not of_passes:
        return None
    names = ("time_s", "level", "swell", "tooth", "side")
    return Turns(
        of_passes[0].bands_hz,
        *(np.concatenate([getattr(rows, name) for rows in of_passes]) for name in names),
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


def _apart(frequencies: list[float]) -> tuple[float, ...]:
    """The first few, none within the search width of another."""
    kept: list[float] = []
    for frequency in frequencies:
        if all(abs(frequency / other - 1.0) > 0.03 for other in kept):
            kept.append(float(frequency))
    return tuple(kept[:_MOST_TONES])
