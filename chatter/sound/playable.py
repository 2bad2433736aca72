"""The recording as a browser can play it, for the report's player.

What Chromium and Safari play is passed on without coding it again: whole files where the
container suits them, the coded sound alone in a new mp4 or WebM where it does not (out of
a film, or a bare AAC stream).  The rest, and what is too large, is coded as mono AAC at
the rate of the analysis.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from chatter.errors import RecordingError
from chatter.sound.mixdown import Mixdown
from chatter.sound.recording import Recording
from chatter.sound.sniff import Look, look
from chatter.sound.spool import analysis_rate_hz

MAX_BYTES = 12_000_000

#: Files that may go into the report as they are.
_AS_IT_IS = {"riff": "audio/wav", "ogg": "audio/ogg", "flac": "audio/flac", "mp3": "audio/mpeg"}
_PLAIN_WAV = frozenset({"pcm_u8", "pcm_16", "pcm_24", "float"})
_PLAIN_OGG = frozenset({"vorbis", "opus"})
#: Coded sound that is put into a new container: codec -> muxer, MIME type.
_REMUX = {
    "aac": ("mp4", "audio/mp4"),
    "mp3": ("mp4", "audio/mp4"),
    "opus": ("webm", "audio/webm"),
    "vorbis": ("webm", "audio/webm"),
}
#: Rates of AAC (ISO/IEC 14496-3, table of sampling frequencies) up to that of the analysis; no
#: coder takes another.
_AAC_RATES_HZ = (8000, 11025, 12000, 16000, 22050, 24000)
_BIT_RATE = 64_000
_LEAST_BIT_RATE = 16_000
#: What the mp4 container adds, as a share of the coded sound.
_OVERHEAD = 1.1


@dataclass(frozen=True)
class Playable:
    """Sound for a browser.

    Attributes
    ----------
    mime : str
    data : bytes
        A whole file.
    offset_s : float [s]
        Add this to the player's time to get the time in the findings.
    how : str
        What was done, for people.
    """

    mime: str
    data: bytes
    offset_s: float
    how: str


def playable(
    path: str | Path, *, max_bytes: int = MAX_BYTES, length_s: float | None = None
) -> Playable:
    """Make a recording playable in a browser.

    Parameters
    ----------
    path : str or Path
        The recording.
    max_bytes : int
        Largest result.  Longer sound is coded more tightly; if that does not suffice, only
        its beginning is kept, and ``how`` says so.
    length_s : float, optional
        Length [s] as counted by one who has decoded the recording; the stated one may lie, and
        it is decoded once more to count where this is left out.

    Returns
    -------
    Playable

    Raises
    ------
    RecordingError
        The file cannot be heard.
    """
    seen = look(path)
    with Recording(path) as recording:
        codec, size = recording.codec, recording.size_bytes
    kept = {"riff": codec in _PLAIN_WAV, "ogg": codec in _PLAIN_OGG, "flac": True, "mp3": True}
    if kept.get(seen.kind, False) and size <= max_bytes:
        return Playable(_AS_IT_IS[seen.kind], seen.path.read_bytes(), 0.0, "the file itself")
    if seen.kind in ("mp4", "matroska", "adts", "caf") and codec in _REMUX:
        data = _remuxed(seen, codec)
        if data is not None and len(data) <= max_bytes:
            muxer, mime = _REMUX[codec]
            return Playable(
                mime, data, 0.0, f"the recording's own {codec} sound, unchanged, as {muxer}"
            )
    return _coded_again(seen.path, max_bytes, length_s)


def playable_or_why(
    path: str | Path, *, max_bytes: int = MAX_BYTES, length_s: float | None = None
) -> tuple[Playable | None, str]:
    """The same, for those who have an answer already: no failure may cost it.

    Parameters
    ----------
    path : str or Path
        The recording.
    max_bytes, length_s
        As for :func:`playable`.

    Returns
    -------
    Playable or None
    str
        A sentence on how the sound was put in, or why it was not.
    """
    from chatter.errors import ChatterError

    try:
        embedded = playable(path, max_bytes=max_bytes, length_s=length_s)
    except ChatterError as wrong:
        return None, f"The sound could not be put into this page: {wrong}"
    except Exception as wrong:
        # Coders refuse what nobody foresaw; the verdict does not depend on the player.
        said = " ".join(str(wrong).split()) or "no reason given"
        return None, (
            f"The sound could not be put into this page ({type(wrong).__name__}: {said}); the "
            "answer does not depend on it: play the recording itself."
        )
    return embedded, f"Sound in this page: {embedded.how}."


def _remuxed(seen: Look, codec: str) -> bytes | None:
    """The coded sound in a new container; None when the muxer refuses it."""
    import av

    from chatter.sound.pyav_reader import open_container

    muxer, _ = _REMUX[codec]
    out = io.BytesIO()
    try:
        with open_container(seen) as source:
            stream = next(s for s in source.streams.audio if s.codec_context is not None)
            with av.open(out, "w", format=muxer) as target:
                new = target.add_stream_from_template(stream)
                try:
                    for packet in source.demux(stream):
                        if packet.dts is None and packet.size == 0:
                            continue
                        packet.stream = new
                        target.mux(packet)
                except (av.error.FFmpegError, EOFError):
                    pass  # a file that breaks off: keep what came
    except (av.error.FFmpegError, ValueError, StopIteration):
        return None
    return out.getvalue() or None


def _coded_again(path: Path, max_bytes: int, length_s: float | None) -> Playable:
    import av
    import soxr

    with Recording(path) as recording:
        bit_rate = _bit_rate(_length_s(path) if length_s is None else length_s, max_bytes)
        rate_hz = _aac_rate_hz(recording.rate_hz, 16_000 if bit_rate < 32_000 else 24_000)
        most = int(max_bytes * 8 / (_OVERHEAD * bit_rate) * rate_hz)
        mixdown = Mixdown(recording.channels, recording.rate_hz)
        resample = soxr.ResampleStream(recording.rate_hz, rate_hz, 1, dtype="float32")
        out = io.BytesIO()
        written = 0
        with av.open(out, "w", format="mp4") as target:
            stream = target.add_stream("aac", rate=rate_hz, options={"aac_coder": "fast"})
            stream.layout, stream.bit_rate = "mono", bit_rate

            def put(mono: np.ndarray, *, last: bool = False) -> int:
                """Code a piece; return the number of samples given to the coder."""
                piece = resample.resample_chunk(np.ascontiguousarray(mono), last=last)
                piece = np.clip(piece[: max(0, most - written)], -1.0, 1.0)
                if len(piece):
                    frame = av.AudioFrame.from_ndarray(piece[None, :], "fltp", "mono")
                    frame.sample_rate, frame.pts = rate_hz, written
                    target.mux(stream.encode(frame))
                return len(piece)

            for block in recording.blocks():
                written += put(mixdown.feed(block))
                if written >= most:
                    break
            else:
                written += put(mixdown.finish(), last=True)
            target.mux(stream.encode(None))
        if not written:
            raise RecordingError(f"{path.name} holds no sound: record again.")
        how = f"coded again as mono AAC, {rate_hz} Hz, {bit_rate // 1000} kbit/s"
        if written >= most:
            how += (
                f"; only the first {written / rate_hz / 60.0:.0f} minutes, to keep the file small"
            )
    return Playable("audio/mp4", out.getvalue(), 0.0, how)


def _aac_rate_hz(native_hz: int, most_hz: int) -> int:
    """The least rate of AAC that keeps all of the sound, or the greatest that is allowed."""
    wanted_hz = min(analysis_rate_hz(native_hz), most_hz)
    return next(rate for rate in _AAC_RATES_HZ if rate >= wanted_hz)


def _bit_rate(length_s: float, max_bytes: int) -> int:
    """Bit rate that fits the whole recording."""
    fits = int(max_bytes * 8 / (_OVERHEAD * max(length_s, 1.0)))
    return max(_LEAST_BIT_RATE, min(_BIT_RATE, fits // 1000 * 1000))


def _length_s(path: Path) -> float:
    """Length by counting.  Decoding costs a second per half hour."""
    with Recording(path) as recording:
        for _ in recording.blocks():
            pass
        return recording.duration_s
