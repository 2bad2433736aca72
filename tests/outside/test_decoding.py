"""Decoding against an independent decoder.

Each file is read by this project and by another, independent program library, and the
samples are compared: what goes through PyAV here (FFmpeg's decoders) is compared with
libsndfile's decoders where it has one (mpg123 for mp3, libvorbis, libopus, its own FLAC and
PCM readers), and what goes through libsndfile here is compared with FFmpeg's decoders.
AAC and AMR have no second decoder among the installed libraries, so their decoding is
compared with the sound that was put in: alignment to the sample, and level.

Outside figures: PyAV 18.1 / FFmpeg 8 and soundfile 0.14 / libsndfile 1.2.2 were seen to agree
to 2e-7 where both decode to floating point, to 4e-5 through 16 bits, and to -42 dB for
Opus (measured by us; the Opus specification, RFC 6716, does not demand equal bits).
"""

from __future__ import annotations

import av
import numpy as np
import pytest
import soundfile

from chatter.sound.recording import Recording


def cut(seconds: float, rate_hz: int) -> np.ndarray:
    rng = np.random.default_rng(11)
    t = np.arange(round(seconds * rate_hz)) / rate_hz
    x = 0.05 * rng.standard_normal(len(t))
    for k in range(1, 15):
        x += 0.08 / k * np.sin(2 * np.pi * 165.6 * k * t + k)
    return x.astype(np.float32)


def write(path, sound, codec, rate_hz, **options):
    with av.open(str(path), "w", container_options=options) as container:
        stream = container.add_stream(codec, rate=rate_hz)
        stream.layout = "mono"
        frame = av.AudioFrame.from_ndarray(sound[None, :], format="fltp", layout="mono")
        frame.sample_rate, frame.pts = rate_hz, 0
        container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    return path


def ours(path) -> np.ndarray:
    with Recording(path) as recording:
        return np.concatenate(list(recording.blocks()))[:, 0]


def by_ffmpeg(path) -> np.ndarray:
    with av.open(str(path)) as container:
        frames = [f.to_ndarray() for f in container.decode(audio=0)]
    kind = frames[0].dtype
    sound = np.concatenate([f.reshape(-1) for f in frames]).astype(np.float64)
    return sound / (np.iinfo(kind).max + 1.0 if kind.kind == "i" else 1.0)


@pytest.mark.parametrize(
    ("name", "encoder", "tolerance"),
    [
        ("a.wav", "pcm_s16le", 1e-9),
        ("a.wav", "pcm_s24le", 1e-7),  # float32 holds 24 bits, but for its rounding
        ("a.aiff", "pcm_s16be", 1e-9),
        ("a.flac", "flac", 1e-9),
        ("a.ogg", "libopus", None),
    ],
)
def test_libsndfile_against_ffmpeg(tmp_path, name, encoder, tolerance):
    path = write(tmp_path / name, cut(2.0, 48000), encoder, 48000)
    a, b = ours(path), by_ffmpeg(path)
    n = min(len(a), len(b))
    assert abs(len(a) - len(b)) <= 1
    difference = a[:n] - b[:n]
    if tolerance is None:
        # -42 dB was seen; -30 dB still excludes one sample of shift, which gives -18 dB here
        assert np.std(difference) < 10 ** (-30 / 20) * np.std(b)
    else:
        assert np.abs(difference).max() <= tolerance


def test_ffmpeg_against_mpg123(tmp_path):
    """mp3: FFmpeg's decoder here, mpg123 (inside libsndfile) there."""
    path = write(tmp_path / "a.mp3", cut(2.0, 48000), "libmp3lame", 48000)
    a = ours(path)
    b, _ = soundfile.read(path, dtype="float32")
    assert abs(len(a) - len(b)) <= 1152  # whether the last frame's filling is kept
    n = min(len(a), len(b))
    assert np.abs(a[:n] - b[:n]).max() < 1e-5


def test_vorbis_against_ffmpeg(tmp_path):
    path = tmp_path / "a.ogg"
    soundfile.write(path, cut(2.0, 48000), 48000)
    a, b = ours(path), by_ffmpeg(path)
    n = min(len(a), len(b)) - 2048  # the two treat the last packet differently
    assert n > 90000
    assert np.abs(a[:n] - b[:n]).max() < 1e-5


@pytest.mark.parametrize(
    ("name", "codec", "rate_hz", "offset", "level_db"),
    [
        # Levels: the coders drop some of the noise; a wrong scale would be 6 dB.
        # With an edit list alignment is exact; without one AAC comes 1,024 samples late.
        ("a.m4a", "aac", 48000, 0, 1.0),
        ("a.mov", "aac", 44100, 0, 1.0),
        ("a.aac", "aac", 48000, 1024, 1.0),
        # AMR: 5 to 11 ms late, by decoder; it is a speech coder and loses level in noise.
        ("a.amr", "libopencore_amrnb", 8000, 40, 3.5),
    ],
)
def test_alignment_and_level(tmp_path, name, codec, rate_hz, offset, level_db):
    truth = cut(2.0, rate_hz)
    # Swelling at random, or a tooth comb fits itself again one period later.
    knots = np.random.default_rng(3).uniform(0.05, 1.0, 60)
    swell = np.interp(np.arange(len(truth)), np.linspace(0, len(truth), 60), knots)
    truth = (truth * swell).astype(np.float32)
    sound = ours(write(tmp_path / name, truth, codec, rate_hz))
    n = rate_hz
    both = np.correlate(sound[: n + 6000], truth[3000:n], mode="valid")
    lag = int(np.argmax(both)) - 3000
    assert lag == pytest.approx(offset, abs=0 if codec == "aac" else 50)
    change_db = 20 * np.log10(np.std(sound[4000:n]) / np.std(truth[4000:n]))
    assert abs(change_db) < level_db
