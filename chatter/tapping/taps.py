"""The tap test: recordings in, modes out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from chatter.errors import RecordingError
from chatter.sound.intake import take_in
from chatter.tapping import clusters, room
from chatter.tapping.findings import DoubtfulMode, Room, Tap, TapFindings
from chatter.tapping.onsets import CutOutBlow, cut_out, find_onsets, sort_out, ticking
from chatter.tapping.ringdown import LONGEST_S, LOOKS, ROOM_LOOKS, rings
from chatter.trade.modes import Mode

#: Taps beyond this many add nothing.
MOST_TAPS = 40
#: More files than this are no tap test.
MOST_FILES = 200
#: A ring below this (re the strongest mode) may be unsteady by noise alone.
SPOILS_DB = -20.0
#: Of taps that do not agree only rings this near to the strongest are worth a word.
_WORTH_DB = -20.0
#: Taps on one thing share at least this much of what rings; other sounds do not.
_ALIKE = 0.5

_UNSTEADY = (
    "its damping depends on how much of the ring is looked at, as a room's answer or a moving "
    "gain makes it: move the phone to a few centimetres from the part and tap again"
)
_LOOSE = (
    "its damping differs from tap to tap by more than half: tap one place only, with the same "
    "hammer"
)
_SHADOWED = "it lies within the width of a much stronger ring, and may be part of it"
_WEAKER = "it is weaker than another ring that is not steady"
_UNLIKE = (
    "the taps do not sound alike, and most of what rings is not shared: tap one place only, with "
    "the same hammer"
)
_TICKING = "the sounds follow each other as evenly as a clock's: are these taps?"
_AGAIN = (
    "Record about ten single taps, two seconds apart, with the phone a hand's breadth from "
    "the part, the spindle locked out and the shop quiet."
)


def tap(
    path: str | Path | Sequence[str | Path],
    *,
    names: Sequence[str] | None = None,
    what: str | None = None,
    simulated: bool = False,
) -> TapFindings:
    """Find the modes of a set-up in recordings of taps on it.

    Parameters
    ----------
    path : str, Path, or sequence of them
        Any sound file or film; the spindle stopped and locked out.  Several, such as one for
        each blow, are taken together.
    names : sequence of str, optional
        What to call them in words, one for each; without it by the names of the files.
    what : str, optional
        What was tapped, to be kept with the findings.
    simulated : bool
        The recording is made by a simulation, and is to be labelled so.

    Raises
    ------
    RecordingError
        A file cannot be heard, or none is named.
    """
    paths = [path] if isinstance(path, str | Path) else list(path)
    if not 1 <= len(paths) <= MOST_FILES:
        raise RecordingError(
            f"{len(paths)} recordings of taps are named: name from 1 to {MOST_FILES}."
        )
    taps: list[Tap] = []
    pieces: list[CutOutBlow] = []
    called = [Path(each).name for each in paths] if names is None else list(names)
    for each, name in zip(paths, called, strict=True):
        sound = take_in(each)
        try:
            spool = sound.spool
            own, cut = _heard(spool.read, spool.n, spool.rate_hz)
        finally:
            sound.spool.close()
        taps += own if len(paths) == 1 else [replace(one, file=name) for one in own]
        pieces += cut
    source = called[0] if len(paths) == 1 else f"{len(paths)} recordings, the first {called[0]}"
    return replace(_judged(source, taps, pieces), what=what, simulated=simulated)


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
    return _judged(source, *_heard(read, count, rate_hz))


def _heard(
    read: Callable[[int, int], NDArray[np.floating]], count: int, rate_hz: int
) -> tuple[list[Tap], list[CutOutBlow]]:
    """Every blow of one track, and the clean ones cut out."""
    onsets = find_onsets(read, count, rate_hz)
    blows = sort_out(onsets, rate_hz)
    taps = [
        Tap(round(float(o.sample / rate_hz), 4), round(o.level_db, 1), why is None, why)
        for o, why in blows
    ]
    clean = [onset for onset, why in blows if why is None][:MOST_TAPS]
    return taps, [cut_out(read, count, rate_hz, onset, onsets) for onset in clean]


def _judged(source: str, taps: Sequence[Tap], pieces: Sequence[CutOutBlow]) -> TapFindings:
    taps = tuple(taps)
    if not pieces:
        return TapFindings(source, taps, (), (), Room(None, None, 0.0, None), _no_taps(taps))
    pieces = pieces[:MOST_TAPS]
    heard = room.assess(pieces)
    few = len(pieces) < clusters.AGREEING
    looks = LOOKS if heard.reverberation_s is None else ROOM_LOOKS
    rung = [rings(p.x, p.rate_hz, p.tap_at, p.end, looks=looks) for p in pieces]
    need = len(pieces) if few else None
    grouped, again = (clusters.group(one, need) for one in zip(*rung, strict=True))
    why = _doubted_whole(taps, few, len(pieces), grouped.alike)
    if why is None:
        sure, doubtful = _split(grouped.modes, heard, again.modes)
    else:
        worth = [m for m in grouped.modes if m.level_db >= _WORTH_DB]
        sure, doubtful = [], [DoubtfulMode(mode, why) for mode in worth]
    reason = None if sure else _nothing_sure(len(pieces), doubtful, heard, why)
    notes = _notes(taps, heard)
    return TapFindings(source, taps, tuple(sure), tuple(doubtful), heard, reason, notes)


def _doubted_whole(taps: Sequence[Tap], few: bool, clean: int, alike: float | None) -> str | None:
    """Why nothing that rings can be believed, whatever it is; None when it can."""
    if few:
        count = "one tap" if clean == 1 else "two taps"
        return f"{count} only: nothing says yet that the next ones ring alike"
    if len({t.file for t in taps}) == 1 and ticking([t.time_s for t in taps]):
        return _TICKING
    return _UNLIKE if alike is not None and alike < _ALIKE else None


def _nothing_sure(
    clean: int, doubtful: Sequence[DoubtfulMode], heard: Room, why: str | None
) -> str:
    clean_taps = f"in {clean} clean tap{'s' if clean > 1 else ''}"
    if clean < clusters.AGREEING:
        count = "Only one tap" if clean == 1 else "Only two taps"
        return f"{count} could be used, and a mode needs three that agree. {_AGAIN}"
    if doubtful and why is not None:
        return f"{why[0].upper()}{why[1:]}{'' if why[-1] == '?' else '.'} {_AGAIN}"
    what = "No ringing stands out of the noise"
    if doubtful:
        what = "Every ringing that was found may be the room's or the phone's"
    elif why is _UNLIKE:
        what = "The taps do not sound alike: no ringing is shared by three"
    elif heard.reverberation_s is not None:
        what = "No ringing stands out of the room's answer"
    return f"{what} {clean_taps}. {_AGAIN}"


def _split(
    modes: list[Mode], heard: Room, again: list[Mode]
) -> tuple[list[Mode], list[DoubtfulMode]]:
    dry = heard.reverberation_s is None and heard.gain_dip_db == 0.0
    fine: list[Mode] = []
    doubtful: list[DoubtfulMode] = []
    for mode in modes:
        why = room.doubt(mode, heard)
        if why is None and mode.damping_spread > clusters.LOOSE_DAMPING * mode.damping_ratio:
            why = DoubtfulMode(mode, _LOOSE)
        if why is None:
            fine.append(mode)
        else:
            doubtful.append(why)
    sure: list[Mode] = []
    for mode in clusters.two_slopes(fine):
        if clusters.shadowed(mode, modes):
            doubtful.append(DoubtfulMode(mode, _SHADOWED))
            continue
        steady = room.widen_spreads(mode, again, dry=dry)
        if steady is None:
            doubtful.append(DoubtfulMode(mode, _UNSTEADY))
        else:
            sure.append(steady)
    # What spoilt one ring spoils every weaker one, whether or not it shows there.
    unsteady = [d.mode.level_db for d in doubtful if d.why == _UNSTEADY]
    spoilt = max((level for level in unsteady if level > SPOILS_DB), default=-np.inf)
    doubtful += [DoubtfulMode(m, _WEAKER) for m in sure if m.level_db < spoilt]
    kept = sorted((m for m in sure if m.level_db >= spoilt), key=lambda m: m.frequency_hz)
    return kept, doubtful


def _no_taps(taps: tuple[Tap, ...]) -> str:
    if not taps:
        return f"No taps are heard. {_AGAIN}"
    whys = sorted({t.why_not or "" for t in taps})
    return f"None of the {len(taps)} taps can be used ({', '.join(whys)}). {_AGAIN}"


def _notes(taps: tuple[Tap, ...], heard: Room) -> tuple[str, ...]:
    notes = []
    rejected = [t for t in taps if not t.used]
    if rejected:
        listed = ", ".join(
            f"{f'{t.file} at ' if t.file else ''}{t.time_s:.1f} s ({t.why_not})"
            for t in rejected[:8]
        )
        more = f" and {len(rejected) - 8} more" if len(rejected) > 8 else ""
        notes.append(f"Not used: {listed}{more}.")
    if heard.reverberation_s is not None:
        notes.append(
            f"The room dies away by 60 dB in about {heard.reverberation_s:.1f} s, alike in all "
            "octaves; rings as slow as that are listed as doubtful."
        )
    if heard.gain_dip_db > 0.0:
        notes.append(
            f"The phone turned its gain down by about {heard.gain_dip_db:.0f} dB after the taps."
        )
    if any(a.file == b.file and b.time_s - a.time_s < LONGEST_S for a, b in pairwise(taps)):
        notes.append("Some taps follow each other closely: leave two seconds between them.")
    return tuple(notes)
