"""The sound of a recording laid out for the page: a track to draw from, a file to play."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from chatter.errors import RecordingError

if TYPE_CHECKING:
    from chatter.sound.intake import Sound

Tell = Callable[[float, str], None]

TRACK, FACTS, PLAY = "track.f16", "view.json", "play"


def lay_sound(recording: Path, folder: Path, *, most_s: float, tell: Tell) -> Sound:
    """Decode a recording once, for the listen as for the picture.

    Parameters
    ----------
    recording : Path
    folder : Path
        Where the track to draw from (mono, float16) is written.
    most_s : float [s]
        A longer recording is refused, whatever length it states.
    tell : callable
        Gets the share read (0..1) and what is being done.

    Returns
    -------
    Sound
        Its ``spool`` is to be closed.

    Raises
    ------
    RecordingError
        It cannot be heard, or is too long.
    """
    from chatter.sound.intake import take_in
    from chatter.sound.recording import Recording
    from chatter.sound.spool import analysis_rate_hz

    with Recording(recording) as seen:
        most = most_s * analysis_rate_hz(seen.rate_hz)
    part, samples = folder / f"{TRACK}.part", 0
    try:
        with part.open("wb") as out:

            def put(piece: np.ndarray) -> None:
                nonlocal samples
                samples += len(piece)
                if samples > most:
                    raise RecordingError(
                        f"The recording is longer than {most_s / 60:g} minutes, the most this "
                        "page takes: cut out the part with the cut in it, or use "
                        "'chatter listen'."
                    )
                out.write(piece.astype(np.float16).tobytes())

            sound = take_in(
                recording,
                frames=True,
                also=put,
                progress=lambda share, _what: tell(share, "reading the recording"),
            )
    except RecordingError:
        part.unlink()
        raise
    os.replace(part, folder / TRACK)
    return sound


def make_view(sound: Sound, recording: Path, folder: Path, *, tell: Tell) -> dict:
    """What picture and player need; done before, it is only read.

    Parameters
    ----------
    sound : Sound
        As :func:`lay_sound` took it in.
    recording : Path
    folder : Path
        Where the track lies, and facts and the file to play are written.
    tell : callable
        Gets the share done (0..1) and what is being done.

    Returns
    -------
    dict
        ``duration_s``, ``rate_hz``, ``samples``, ``low_db``, ``high_db``, ``mime`` (empty when
        there is nothing to play), ``offset_s``, ``how`` (a sentence).
    """
    facts = folder / FACTS
    if facts.is_file():
        return json.loads(facts.read_text(encoding="utf-8"))
    from chatter.sound.playable import playable_or_why

    track = sound.spool
    tell(0.0, "making it playable")
    player, how = playable_or_why(recording, length_s=track.duration_s)
    _write(folder / PLAY, b"" if player is None else player.data)
    tell(0.7, "drawing the picture")
    low_db, high_db = _range_db(folder / TRACK, track.n, track.rate_hz)
    view = {
        "duration_s": track.duration_s,
        "rate_hz": track.rate_hz,
        "samples": track.n,
        "low_db": low_db,
        "high_db": high_db,
        "mime": "" if player is None else player.mime,
        "offset_s": 0.0 if player is None else player.offset_s,
        "how": how,
    }
    _write(facts, json.dumps(view).encode())
    return view


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
