"""The sound of a recording laid out for the page: a track to draw from, a file to play."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from pathlib import Path

import numpy as np

from chatter.errors import RecordingError

TRACK, FACTS, PLAY = "track.f16", "view.json", "play"


def make_view(
    recording: Path, folder: Path, *, most_s: float, tell: Callable[[float, str], None]
) -> dict:
    """Decode a recording once, for picture and player; done before, it is only read.

    Parameters
    ----------
    recording : Path
    folder : Path
        Where the track (mono, float16), its facts and the file to play are written.
    most_s : float [s]
        A longer recording is refused, whatever length it states.
    tell : callable
        Gets the share done (0..1) and what is being done.

    Returns
    -------
    dict
        ``duration_s``, ``rate_hz``, ``samples``, ``low_db``, ``high_db``, ``mime`` (empty when
        there is nothing to play), ``offset_s``, ``how`` (a sentence).

    Raises
    ------
    RecordingError
        It cannot be heard, or is too long.
    """
    facts = folder / FACTS
    if facts.is_file():
        return json.loads(facts.read_text(encoding="utf-8"))
    from chatter.sound.playable import playable_or_why

    rate_hz, samples = _lay_track(recording, folder, most_s, tell)
    tell(0.7, "making it playable")
    sound, how = playable_or_why(recording, length_s=samples / rate_hz)
    _write(folder / PLAY, b"" if sound is None else sound.data)
    tell(0.9, "drawing the picture")
    low_db, high_db = _range_db(folder / TRACK, samples, rate_hz)
    view = {
        "duration_s": samples / rate_hz,
        "rate_hz": rate_hz,
        "samples": samples,
        "low_db": low_db,
        "high_db": high_db,
        "mime": "" if sound is None else sound.mime,
        "offset_s": 0.0 if sound is None else sound.offset_s,
        "how": how,
    }
    _write(facts, json.dumps(view).encode())
    return view


def _lay_track(recording: Path, folder: Path, most_s: float, tell: Callable) -> tuple[int, int]:
    """(rate [Hz], samples) of the track written."""
    import soxr

    from chatter.sound.mixdown import Mixdown
    from chatter.sound.recording import Recording
    from chatter.sound.spool import analysis_rate_hz

    part = folder / f"{TRACK}.part"
    samples = 0
    with Recording(recording) as heard, part.open("wb") as out:
        rate_hz = analysis_rate_hz(heard.rate_hz)
        mix = Mixdown(heard.channels, heard.rate_hz)
        change = soxr.ResampleStream(heard.rate_hz, rate_hz, 1, dtype="float32", quality="HQ")

        def put(mono: np.ndarray, *, last: bool = False) -> int:
            piece = change.resample_chunk(np.ascontiguousarray(mono), last=last)
            out.write(piece.astype(np.float16).tobytes())
            return len(piece)

        for block in heard.blocks():
            samples += put(mix.feed(block))
            if heard.duration_s > most_s:
                part.unlink()
                raise RecordingError(
                    f"The recording is longer than {most_s / 60:g} minutes, the most this page "
                    "takes: cut out the part with the cut in it, or use 'chatter listen'."
                )
            tell(0.7 * heard.fraction, "reading the recording")
        samples += put(mix.finish(), last=True)
    os.replace(part, folder / TRACK)
    return rate_hz, samples


def _range_db(track: Path, samples: int, rate_hz: int) -> tuple[float, float]:
    """Levels that the darkest and the lightest colour stand for; as in the report."""
    from chatter.page.tiles import levels_db

    level = levels_db(
        np.memmap(track, np.float16, "r", shape=(samples,)),
        rate_hz,
        (0.0, samples / rate_hz),
        (40.0, rate_hz / 2),
        (400, 100),
    )
    low, high = (float(v) for v in np.quantile(level, (0.3, 0.995)))
    high = max(high, low + 25.0)
    return max(low, high - 60.0), high


def _write(path: Path, data: bytes) -> None:
    part = path.with_name(path.name + ".part")
    part.write_bytes(data)
    os.replace(part, path)
