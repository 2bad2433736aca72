"""One pass over the file: mono track, native-rate facts, fingerprint."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from chatter.errors import RecordingError
from chatter.findings import Source
from chatter.sound.ahead import made_ahead
from chatter.sound.frames import Frames, FramesGatherer
from chatter.sound.mixdown import Mixdown
from chatter.sound.recording import Recording
from chatter.sound.spool import Spool
from chatter.sound.stats import SoundStats, StatsGatherer

Progress = Callable[[float, str], None]

#: Longest recording that is taken in [hours], unless the variable says otherwise: an hour of it
#: takes 350 MB of the disk for temporary files, and a small file may hold many hours of silence.
LONGEST_H = 4.0
LONGEST_VARIABLE = "CHATTER_LONGEST_HOURS"


@dataclass(frozen=True)
class Sound:
    """A recording taken in: its origin, its mono track and what was seen on the way.

    Close ``spool`` when done with it.
    """

    source: Source
    spool: Spool
    heard: SoundStats
    frames: Frames | None = None


def take_in(
    path: str | Path,
    *,
    progress: Progress | None = None,
    frames: bool = False,
    also: Callable[[np.ndarray], None] | None = None,
) -> Sound:
    """Decode a recording once and keep what the later rooms need.

    Parameters
    ----------
    path : str or Path
        Any sound file or film.
    progress : callable, optional
        Called with the share of the file that has been read (0..1) and a word on what
        is being done.

    frames : bool
        Gather the short frames of the track in the same pass.
    also : callable, optional
        Called with each block of the track as it is written: mono, at the rate of the
        analysis, shape (n,), float32, not to be kept without a copy.

    Returns
    -------
    Sound
        Memory stays bounded: the track lies on disk.

    Raises
    ------
    RecordingError
        The file cannot be heard, is longer than is allowed, or there is no room for temporary
        files.
    """
    longest_s = 3600.0 * longest_h()
    with Recording(path) as recording:
        spool = Spool(recording.rate_hz)
        try:
            gatherer = FramesGatherer(spool.rate_hz) if frames else None
            feed = None if gatherer is None else gatherer.feed
            takers = [take for take in (feed, also) if take is not None]
            heard = _pour(recording, spool, progress, takers, longest_s)
            digest = _sha256(recording.path)
        except BaseException:
            spool.close()
            raise
        source = Source(
            name=recording.path.name,
            path=str(recording.path),
            sha256=digest,
            size_bytes=recording.size_bytes,
            container=recording.container,
            codec=recording.codec,
            rate_hz=recording.rate_hz,
            channels=recording.channels,
            duration_s=recording.duration_s,
            truncated=recording.truncated,
        )
    gathered = None if gatherer is None else gatherer.finish()
    return Sound(source=source, spool=spool, heard=heard, frames=gathered)


def longest_h() -> float:
    """Length of the longest recording that is taken in [hours].

    Raises
    ------
    RecordingError
        The variable CHATTER_LONGEST_HOURS is no number of hours.
    """
    said = os.environ.get(LONGEST_VARIABLE, "").strip()
    if not said:
        return LONGEST_H
    try:
        hours = float(said)
    except ValueError:
        hours = 0.0
    if not 0.0 < hours < 1e4:
        raise RecordingError(
            f"{LONGEST_VARIABLE} is '{said[:40]}': set it to a number of hours, such as 12."
        )
    return hours


def _pour(
    recording: Recording,
    spool: Spool,
    progress: Progress | None,
    takers: list[Callable[[np.ndarray], None]],
    longest_s: float,
) -> SoundStats:
    def put(mono: np.ndarray, *, last: bool = False) -> None:
        written = spool.write(mono, last=last)
        for take in takers:
            take(written)

    gatherer = StatsGatherer(recording.rate_hz, recording.channels, lossy=recording.lossy)
    mixdown = Mixdown(recording.channels, recording.rate_hz)
    reported = -1.0
    with closing(made_ahead(recording.blocks(gatherer.block))) as blocks:
        for block in blocks:
            gatherer.feed(block)
            if recording.duration_s > longest_s:
                raise RecordingError(
                    f"{recording.path.name} is longer than {longest_s / 3600.0:g} hours, the most "
                    "that is listened to at once: cut out the part with the cut in it, or set "
                    f"{LONGEST_VARIABLE} to more."
                )
            ready = mixdown.feed(block)
            if len(ready):
                put(ready)
            if progress is not None and recording.fraction >= reported + 0.01:
                reported = recording.fraction
                progress(reported, f"reading {recording.path.name}")
    put(mixdown.finish(), last=True)
    if progress is not None:
        progress(1.0, f"reading {recording.path.name}")
    return gatherer.finish(replaced=recording.replaced, lost_packets=recording.lost_packets)


def _sha256(path: Path) -> str:
    with open(path, "rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
