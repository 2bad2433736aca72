"""Codec: write the recording as phones write it."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np

from chatter.lab.simulate.scene import Format


@dataclass(frozen=True)
class Container:
    """How one kind of file is written."""

    suffix: str
    muxer: str
    codec: str
    rates_hz: tuple[int, ...] = ()  # rates the encoder takes; empty = any
    mono: bool = False
    film: bool = False  # with a picture track beside the sound


_OPUS = (8_000, 12_000, 16_000, 24_000, 48_000)
_MP3 = (16_000, 22_050, 24_000, 32_000, 44_100, 48_000)
_AAC = (8_000, 11_025, 12_000, 16_000, 22_050, 24_000, 32_000, 44_100, 48_000, 96_000)

#: Every format that can be written; ``wav`` and ``flac`` go through libsndfile.
CONTAINERS = {
    "wav": Container(".wav", "", ""),
    "flac": Container(".flac", "", ""),
    "m4a": Container(".m4a", "ipod", "aac", _AAC),
    "mp4": Container(".mp4", "mp4", "aac", _AAC, film=True),
    "mov": Container(".mov", "mov", "aac", _AAC, film=True),
    "mp3": Container(".mp3", "mp3", "libmp3lame", _MP3),
    "ogg": Container(".ogg", "ogg", "libopus", _OPUS),
    "webm": Container(".webm", "webm", "libopus", _OPUS),
    "3gp": Container(".3gp", "3gp", "libopencore_amrnb", (8_000,), mono=True),
}


def write_recording(
    path: str | Path, signal: np.ndarray, rate_hz: int, form: Format
) -> tuple[Path, int]:
    """Encode and write one recording.

    Parameters
    ----------
    path : path
        Its suffix is replaced by the format's own.
    signal : ndarray, float32, shape (n,) or (n, channels)
    rate_hz : int
        Rate of ``signal``; resampled when the encoder takes no such rate.
    form : Format
        ``name`` a key of ``CONTAINERS``; ``bit_rate`` in bit/s where the codec is lossy.

    Returns
    -------
    path : Path
        Of the file written.
    rate_hz : int
        Rate in the file.
    """
    import soxr

    how = CONTAINERS[form.name]
    target = Path(path).with_suffix(how.suffix)
    if how.mono and signal.ndim == 2:
        signal = signal.mean(axis=1)
    if how.rates_hz and rate_hz not in how.rates_hz:
        above = [rate for rate in how.rates_hz if rate >= rate_hz]
        new_rate = min(above) if above else max(how.rates_hz)
        signal = soxr.resample(signal, rate_hz, new_rate, quality="HQ")
        rate_hz = new_rate
    signal = np.clip(signal, -1.0, 1.0).astype(np.float32)
    if not how.codec:
        import soundfile

        soundfile.write(target, signal, rate_hz, subtype="PCM_16")
    else:
        _mux(target, signal, rate_hz, how, form.bit_rate)
    return target, rate_hz


def _mux(target: Path, signal: np.ndarray, rate_hz: int, how: Container, bit_rate: int) -> None:
    import av

    channels = 1 if signal.ndim == 1 else signal.shape[1]
    layout = "mono" if channels == 1 else "stereo"
    with av.open(str(target), "w", format=how.muxer) as out:
        picture = _film_stream(out) if how.film else None
        stream = out.add_stream(how.codec, rate=rate_hz)
        stream.layout = layout
        stream.bit_rate = bit_rate
        pcm = np.round(signal.reshape(len(signal), channels) * 32767).astype(np.int16)
        stream.codec_context.open()
        wanted = stream.codec_context.format.name
        resampler = av.AudioResampler(
            format=wanted, layout=layout, rate=rate_hz, frame_size=stream.frame_size or 1024
        )
        if picture is not None:
            _film(out, picture, len(signal) / rate_hz)
        for start in range(0, len(pcm), 65_536):
            block = np.ascontiguousarray(pcm[start : start + 65_536].reshape(1, -1))
            frame = av.AudioFrame.from_ndarray(block, format="s16", layout=layout)
            frame.sample_rate = rate_hz
            frame.pts = start
            frame.time_base = Fraction(1, rate_hz)
            for ready in resampler.resample(frame):
                out.mux(stream.encode(ready))
        for ready in resampler.resample(None):
            out.mux(stream.encode(ready))
        out.mux(stream.encode(None))


def _film_stream(out):
    stream = out.add_stream("libx264", rate=10)
    stream.width, stream.height, stream.pix_fmt = 160, 120, "yuv420p"
    stream.options = {"crf": "34", "preset": "veryfast"}
    return stream


def _film(out, stream, seconds: float) -> None:
    """A grey frame with a slowly turning bright sector: a stand-in for a filmed cutter."""
    import av

    y, x = np.mgrid[-60:60, -80:80]
    angle = np.arctan2(y, x)
    inside = np.hypot(x, y) < 45
    for index in range(max(1, int(seconds * 10))):
        bright = (np.cos(8 * angle - 0.3 * index) > 0) & inside
        grey = (70 + 60 * inside + 60 * bright).astype(np.uint8)
        frame = av.VideoFrame.from_ndarray(grey, format="gray").reformat(format="yuv420p")
        frame.pts = index
        frame.time_base = Fraction(1, 10)
        out.mux(stream.encode(frame))
    out.mux(stream.encode(None))
