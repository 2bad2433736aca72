"""Sound files made on the spot: phone formats through PyAV, the rest through soundfile."""

from __future__ import annotations

from pathlib import Path

import av
import numpy as np
import pytest
import soundfile

RATE_HZ = 48000


def encode(path: Path, sound: np.ndarray, codec: str, rate_hz: int = RATE_HZ, **options) -> Path:
    """Write sound, shape (n,) or (n, channels), with one of PyAV's encoders."""
    sound = np.atleast_2d(np.asarray(sound, np.float32).T)
    layout = "mono" if len(sound) == 1 else "stereo"
    bit_rate = options.pop("bit_rate", None)
    with av.open(str(path), "w", container_options=options) as container:
        stream = container.add_stream(codec, rate=rate_hz)
        stream.layout = layout
        if bit_rate:
            stream.bit_rate = bit_rate
        step = 65536
        for start in range(0, sound.shape[1], step):
            piece = np.ascontiguousarray(sound[:, start : start + step])
            frame = av.AudioFrame.from_ndarray(piece, format="fltp", layout=layout)
            frame.sample_rate = rate_hz
            frame.pts = start
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    return path


def film(path: Path, sound: np.ndarray | None, seconds: float = 1.0) -> Path:
    """Write a small film, with or without an AAC sound track."""
    with av.open(str(path), "w") as container:
        video = container.add_stream("mpeg4", rate=10)
        video.width, video.height, video.pix_fmt = 64, 48, "yuv420p"
        audio = None
        if sound is not None:
            audio = container.add_stream("aac", rate=RATE_HZ)
            audio.layout = "mono"
        for i in range(int(10 * seconds)):
            picture = np.full((48, 64, 3), 20 * (i % 10), np.uint8)
            container.mux(video.encode(av.VideoFrame.from_ndarray(picture, format="rgb24")))
        container.mux(video.encode(None))
        if audio is not None:
            piece = np.ascontiguousarray(np.atleast_2d(sound).astype(np.float32))
            frame = av.AudioFrame.from_ndarray(piece, format="fltp", layout="mono")
            frame.sample_rate = RATE_HZ
            container.mux(audio.encode(frame))
            container.mux(audio.encode(None))
    return path


def cut(seconds: float, *, rate_hz: int = RATE_HZ, seed: int = 1) -> np.ndarray:
    """Something like a cut: a comb of tooth strokes in noise, r.m.s. about 0.1."""
    rng = np.random.default_rng(seed)
    t = np.arange(round(seconds * rate_hz)) / rate_hz
    x = 0.05 * rng.standard_normal(len(t))
    for k in range(1, 12):
        x += 0.1 / k * np.sin(2 * np.pi * 165.6 * k * t + k)
    return x.astype(np.float32)


class Maker:
    """Writes sound files into a temporary folder."""

    rate_hz = RATE_HZ
    cut = staticmethod(cut)

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def encode(self, name: str, sound, codec: str, rate_hz: int = RATE_HZ, **options) -> Path:
        return encode(self.folder / name, sound, codec, rate_hz, **options)

    def film(self, name: str, sound=None, seconds: float = 1.0) -> Path:
        return film(self.folder / name, sound, seconds)

    def write(self, name: str, sound, rate_hz: int = RATE_HZ, **how) -> Path:
        soundfile.write(self.folder / name, sound, rate_hz, **how)
        return self.folder / name

    def bytes(self, name: str, data: bytes) -> Path:
        (self.folder / name).write_bytes(data)
        return self.folder / name

    def head(self, path: Path, share: float, name: str | None = None) -> Path:
        """The first part of a file, as a broken-off upload leaves it."""
        data = path.read_bytes()
        return self.bytes(name or f"broken_{path.name}", data[: int(len(data) * share)])


@pytest.fixture
def make(tmp_path) -> Maker:
    return Maker(tmp_path)
