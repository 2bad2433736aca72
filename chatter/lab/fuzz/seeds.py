"""Whole recordings to be damaged: a few seconds of a made-up cut in every container."""

from __future__ import annotations

from pathlib import Path

import numpy as np

TEETH, REV_MIN = 12, 285.0
SECONDS = 8.0

#: Name of the file -> (encoder, rate) through PyAV.
_CODED = {
    "a.m4a": ("aac", 48000),
    "a.mov": ("aac", 44100),
    "a.aac": ("aac", 48000),
    "a.mkv": ("aac", 48000),
    "a.webm": ("libopus", 48000),
    "a.ogg": ("libopus", 48000),
    "a.mp3": ("libmp3lame", 44100),
    "a.3gp": ("libopencore_amrnb", 8000),
    "a.amr": ("libopencore_amrnb", 8000),
    "alac.m4a": ("alac", 48000),
}
#: Name of the file -> (format, subtype, rate) through libsndfile.
_PLAIN = {
    "a.wav": ("WAV", "PCM_16", 48000),
    "float.wav": ("WAV", "FLOAT", 44100),
    "odd.wav": ("WAV", "PCM_U8", 22254),
    "a.rf64": ("RF64", "PCM_24", 48000),
    "a.aiff": ("AIFF", "PCM_16", 22050),
    "a.caf": ("CAF", "PCM_16", 48000),
    "a.flac": ("FLAC", "PCM_16", 44100),
    "vorbis.ogg": ("OGG", "VORBIS", 44100),
    "a.au": ("AU", "PCM_16", 16000),
}


def made_cut(rate_hz: int, seconds: float = SECONDS) -> np.ndarray:
    """Idling, then teeth that strike unevenly with a vibration of 929 Hz among them.

    Returns
    -------
    ndarray, shape (n,), float32
    """
    rng = np.random.default_rng(17)
    t = np.arange(round(seconds * rate_hz)) / rate_hz
    stroke = t * REV_MIN / 60.0 * TEETH
    strength = rng.normal(1.0, 0.1, TEETH)[np.floor(stroke).astype(int) % TEETH]
    noise = 0.08 * rng.standard_normal(t.size) * strength * np.exp(-5.0 * (stroke % 1.0))
    tone = 0.1 * np.sin(2.0 * np.pi * 929.0 * t) * (t > 0.5 * seconds)
    cutting = (t > 0.15 * seconds) & (t < 0.95 * seconds)
    idle = 0.003 * rng.standard_normal(t.size) + 0.003 * np.sin(2.0 * np.pi * 100.0 * t)
    return (idle + cutting * (noise + tone)).astype(np.float32)


def make_seeds(folder: Path) -> tuple[Path, ...]:
    """Write the whole recordings; those whose coder this computer lacks are left out."""
    import av
    import soundfile

    folder.mkdir(parents=True, exist_ok=True)
    made = []
    for name, (codec, rate_hz) in _CODED.items():
        path = folder / name
        sound = made_cut(rate_hz)
        try:
            with av.open(str(path), "w") as container:
                stream = container.add_stream(codec, rate=rate_hz)
                stream.layout = "mono"
                frame = av.AudioFrame.from_ndarray(sound[None, :], format="fltp", layout="mono")
                frame.sample_rate, frame.pts = rate_hz, 0
                container.mux(stream.encode(frame))
                container.mux(stream.encode(None))
        except (av.error.FFmpegError, ValueError, LookupError):
            path.unlink(missing_ok=True)
            continue
        made.append(path)
    for name, (kind, subtype, rate_hz) in _PLAIN.items():
        soundfile.write(folder / name, made_cut(rate_hz), rate_hz, subtype, format=kind)
        made.append(folder / name)
    return tuple(made)
