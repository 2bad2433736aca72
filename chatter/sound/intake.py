"""One pass over the file: mono track, native-rate facts, fingerprint."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from chatter.findings import Source
from chatter.sound.mixdown import Mixdown
from chatter.sound.recording import Recording
from chatter.sound.spool import Spool
from chatter.sound.stats import SoundStats, StatsGatherer

Progress = Callable[[float, str], None]


@dataclass(frozen=True)
class Sound:
    """A recording taken in: its origin, its mono track and what was seen on the way.

    Close ``spool`` when done with it.
    """

    source: Source
    spool: Spool
    heard: SoundStats


def take_in(path: str | Path, *, progress: Progress | None = None) -> Sound:
    """Decode a recording once and keep what the later rooms need.

    Parameters
    ----------
    path : str or Path
        Any sound file or film.
    progress : callable, optional
        Called with the share of the file that has been read (0..1) and a word on what
        is being done.

    Returns
    -------
    Sound
        Memory stays bounded: the track lies on disk.

    Raises
    ------
    RecordingError
        The file cannot be heard, or there is no room for temporary files.
    """
    with Recording(path) as recording:
        spool = Spool(recording.rate_hz)
        try:
            heard = _pour(recording, spool, progress)
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
    return Sound(source=source, spool=spool, heard=heard)


def _pour(recording: Recording, spool: Spool, progress: Progress | None) -> SoundStats:
    gatherer = StatsGatherer(recording.rate_hz, recording.channels, lossy=recording.lossy)
    mixdown = Mixdown(recording.channels, recording.rate_hz)
    told = -1.0
    for block in recording.blocks(gatherer.block):
        gatherer.feed(block)
        ready = mixdown.feed(block)
        if len(ready):
            spool.write(ready)
        if progress is not None and recording.fraction >= told + 0.01:
            told = recording.fraction
            progress(told, f"reading {recording.path.name}")
    spool.write(mixdown.finish(), last=True)
    if progress is not None:
        progress(1.0, f"reading {recording.path.name}")
    return gatherer.finish(replaced=recording.replaced, lost_packets=recording.lost_packets)


def _sha256(path: Path) -> str:
    with open(path, "rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
