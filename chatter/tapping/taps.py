"""The tap test: recording in, modes out."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from chatter.sound.intake import take_in
from chatter.tapping import clusters, room
from chatter.tapping.findings import DoubtfulMode, Room, Tap, TapFindings
from chatter.tapping.onsets import DOUBLE_S, Onset, find_onsets, sort_out
from chatter.tapping.ringdown import LONGEST_S, LOOKS, ROOM_LOOKS, rings
from chatter.trade.modes import Mode

#: Taps beyond this many add nothing.
MOST_TAPS = 40
#: A ring below this (re the strongest mode) may be unsteady by noise alone.
SPOILS_DB = -20.0
_BEFORE_S = 0.45
_AFTER_S = 1.2

_UNSTEADY = (
    "its damping depends on how much of the ring is looked at, as a room's answer or a moving "
    "gain makes it: move the phone to a few centimetres from the part and tap again"
)
_WEAKER = "it is weaker than another ring that is not steady"
_AGAIN = (
    "Record about ten single taps, two seconds apart, with the phone a hand's breadth from "
    "the part, the spindle locked out and the shop quiet."
)


def tap(path: str | Path, *, what: str | None = None, simulated: bool = False) -> TapFindings:
    """Find the modes of a set-up in a recording of taps on it.

    Parameters
    ----------
    path : str or Path
        Any sound file or film; the spindle stopped and locked out.
    what : str, optional
        What was tapped, to be kept with the findings.
    simulated : bool
        The recording is made by a simulation, and is to be labelled so.

    Raises
    ------
    RecordingError
        The file cannot be heard.
    """
    sound = take_in(path)
    try:
        spool, rate = sound.spool, sound.spool.rate_hz
        found = analyse(spool.read, spool.n, rate, source=sound.source.name)
    finally:
        sound.spool.close()
    return TapFindings(**{**vars(found), "what": what, "simulated": simulated})


def analyse(
    read: Callable[[int, int], NDArray[np.floating]], count: int, rate_hz: int, *, source: str = ""
) -> TapFindings:
    """The same for a track that is already decoded.

    Parameters
    ----------
    read : callable
        (start, stop) -> samples, full scale 1.
    count, rate_hz : int
        Length and rate of the track.
    source : str
        Name to keep with the findings.
    """
    onsets = find_onsets(read, count, rate_hz)
    sorted_out = sort_out(onsets, rate_hz)
    taps = tuple(
        Tap(round(float(o.sample / rate_hz), 4), round(o.level_db, 1), why is None, why)
        for o, why in sorted_out
    )
    clean = [o for o, why in sorted_out if why is None][:MOST_TAPS]
    if not clean:
        return TapFindings(source, taps, (), (), Room(None, None, 0.0, None), _no_taps(taps))
    pieces = [_piece(read, count, rate_hz, one, onsets) for one in clean]
    heard = room.assess(pieces, rate_hz)
    modes, again = (
        clusters.group([rings(x, rate_hz, at, end, look=look) for x, at, end in pieces])
        for look in (LOOKS if heard.reverberation_s is None else ROOM_LOOKS)
    )
    sure, doubtful = _split(modes, heard, again)
    reason = None
    if not sure:
        what = "No ringing stands out of the noise"
        if doubtful:
            what = "Every ringing that was found may be the room's or the phone's"
        elif heard.reverberation_s is not None:
            what = "No ringing stands out of the room's answer"
        clean_taps = f"{len(clean)} clean tap{'s' if len(clean) > 1 else ''}"
        reason = f"{what} in {clean_taps}. {_AGAIN}"
    return TapFindings(
        source, taps, tuple(sure), tuple(doubtful), heard, reason, _notes(taps, clean, heard)
    )


def _piece(
    read: Callable[[int, int], NDArray[np.floating]],
    count: int,
    rate_hz: int,
    one: Onset,
    onsets: list[Onset],
) -> room.Piece:
    later = [o.sample for o in onsets if o.sample > one.sample + DOUBLE_S * rate_hz]
    earlier = [o.sample for o in onsets if o.sample < one.sample]
    start = max(0, one.sample - int(_BEFORE_S * rate_hz))
    if earlier:
        start = max(start, (max(earlier) + one.sample) // 2)
    gap = int(0.01 * rate_hz)
    end = min(count, one.sample + int(_AFTER_S * rate_hz), min(later, default=count) - gap)
    x = np.asarray(read(start, end), dtype=float)
    return x, one.sample - start, end - start


def _split(
    modes: list[Mode], heard: Room, again: list[Mode]
) -> tuple[list[Mode], list[DoubtfulMode]]:
    sure, doubtful = [], []
    for mode in modes:
        why = room.doubt(mode, heard)
        if why is None and mode.damping_spread > clusters.LOOSE_DAMPING * mode.damping_ratio:
            why = DoubtfulMode(
                mode,
                "its damping differs from tap to tap by more than half: tap one place only, "
                "with the same hammer",
            )
        if why is None and clusters.shadowed(mode, modes):
            why = DoubtfulMode(
                mode,
                "it lies within the width of a much stronger ring, and may be part of it",
            )
        steady = room.steadied(mode, again) if why is None else mode
        if steady is None:
            why = DoubtfulMode(mode, _UNSTEADY)
        if why is None:
            sure.append(steady)
        else:
            doubtful.append(why)
    # What spoilt one ring spoils every weaker one, whether or not it shows there.
    unsteady = [d.mode.level_db for d in doubtful if d.why == _UNSTEADY]
    spoilt = max((level for level in unsteady if level > SPOILS_DB), default=-np.inf)
    doubtful += [DoubtfulMode(m, _WEAKER) for m in sure if m.level_db < spoilt]
    return [m for m in sure if m.level_db >= spoilt], doubtful


def _no_taps(taps: tuple[Tap, ...]) -> str:
    if not taps:
        return f"No taps are heard. {_AGAIN}"
    whys = sorted({t.why_not or "" for t in taps})
    return f"None of the {len(taps)} taps can be used ({', '.join(whys)}). {_AGAIN}"


def _notes(taps: tuple[Tap, ...], clean: list[Onset], heard: Room) -> tuple[str, ...]:
    notes = []
    if len(clean) == 1:
        notes.append("Only one tap could be used: no spread can be given, so tap some more.")
    rejected = [t for t in taps if not t.used]
    if rejected:
        told = ", ".join(f"{t.time_s:.1f} s ({t.why_not})" for t in rejected[:8])
        notes.append(f"Not used: {told}.")
    if heard.reverberation_s is not None:
        notes.append(
            f"The room dies away by 60 dB in about {heard.reverberation_s:.1f} s, alike in all "
            "octaves; rings as slow as that are listed as doubtful."
        )
    if heard.gain_dip_db > 0.0:
        notes.append(
            f"The phone turned its gain down by about {heard.gain_dip_db:.0f} dB after the taps."
        )
    if any(b.time_s - a.time_s < LONGEST_S for a, b in pairwise(taps)):
        notes.append("Some taps follow each other closely: leave two seconds between them.")
    return tuple(notes)
