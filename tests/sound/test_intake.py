"""One pass: mono track, facts, fingerprint."""

from __future__ import annotations

import hashlib
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from chatter.errors import RecordingError
from chatter.sound.intake import take_in
from chatter.sound.mixdown import Mixdown


def track(path) -> np.ndarray:
    sound = take_in(path)
    with sound.spool as spool:
        return spool.read(0, spool.n)


def test_the_source_is_described(make):
    path = make.encode("slot 3.m4a", make.cut(2.0), "aac")
    told = []
    sound = take_in(path, progress=lambda share, word: told.append((share, word)))
    sound.spool.close()
    source = sound.source
    assert source.name == "slot 3.m4a"
    assert source.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert source.size_bytes == path.stat().st_size
    assert (source.container, source.codec, source.rate_hz, source.channels) == (
        "mp4",
        "aac",
        48000,
        1,
    )
    assert source.duration_s == pytest.approx(2.0, abs=0.05)
    assert source.duration_s == sound.heard.duration_s
    assert not source.truncated
    assert sound.spool.rate_hz == 24000
    assert sound.spool.duration_s == pytest.approx(source.duration_s, abs=1e-3)
    shares = [share for share, _ in told]
    assert shares == sorted(shares)
    assert shares[-1] == 1.0
    assert all("slot 3.m4a" in word for _, word in told)


def test_a_refused_file_leaves_no_temporary_file(make, tmp_path, monkeypatch):
    (tmp_path / "spools").mkdir()
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path / "spools"))
    path = make.write("a.wav", np.full(9000, np.nan, np.float32), subtype="FLOAT")
    with pytest.raises(RecordingError):
        take_in(path)
    assert list((tmp_path / "spools").iterdir()) == []


def test_stereo_becomes_the_mean(make):
    # Two channels that share nothing: their mean is 3 dB weaker, which is no cancelling.
    a, b = (0.1 * np.random.default_rng(2).standard_normal((2, 16000))).astype(np.float32)
    got = track(make.write("a.wav", np.stack([a, b], 1), 16000, subtype="FLOAT"))
    assert np.abs(got - (a + b) / 2).max() < 1e-6


@pytest.mark.parametrize("weaker", [1.0, 0.9, 0.6])
@pytest.mark.parametrize("seconds", [1.0, 25.0])
def test_opposite_phase_does_not_cancel(make, weaker, seconds):
    a = make.cut(seconds, rate_hz=8000)
    noise = 1e-4 * np.random.default_rng(5).standard_normal(len(a)).astype(np.float32)
    pair = np.stack([a, -weaker * a + noise], 1)
    got = track(make.write("a.wav", pair, 8000, subtype="FLOAT"))
    assert len(got) == len(a)
    assert np.std(got) >= 0.99 * np.std(a)


def test_a_lone_channel_keeps_its_sound(make):
    a = make.cut(1.0, rate_hz=8000)
    got = track(make.write("a.wav", np.stack([a, 0 * a], 1), 8000, subtype="FLOAT"))
    assert np.corrcoef(got, a)[0, 1] > 0.999


@pytest.mark.parametrize("kind", ["independent", "opposite", "exact mirror", "quiet start", "one"])
def test_left_and_right_may_be_swapped(make, kind):
    a, b = make.cut(3.0, rate_hz=8000), make.cut(3.0, rate_hz=8000, seed=9)
    pair = {
        "independent": (a, b),
        "opposite": (a, -0.8 * a + 0.01 * b),
        "exact mirror": (a, -a),
        "quiet start": (np.r_[0 * a, a], np.r_[0 * a, -a]),
        "one": (a, 0 * a),
    }[kind]
    there = track(make.write("a.wav", np.stack(pair, 1), 8000, subtype="FLOAT"))
    back = track(make.write("b.wav", np.stack(pair[::-1], 1), 8000, subtype="FLOAT"))
    assert np.array_equal(there, back)
    assert np.std(there) > 0.49 * np.std(pair[0])


def test_the_choice_of_channel_is_kept(make):
    """Opposite phase in the first ten seconds only: no changing over later."""
    a = make.cut(30.0, rate_hz=4000)
    b = np.where(np.arange(len(a)) < 12 * 4000, -a, a)
    got = track(make.write("a.wav", np.stack([a, b], 1), 4000, subtype="FLOAT"))
    assert np.array_equal(got, a) or np.array_equal(got, b)


def test_long_silence_is_not_held_back():
    mixdown = Mixdown(2, 8000)
    silence = np.zeros((8000, 2), np.float32)
    for _ in range(100):
        assert len(mixdown.feed(silence)) == 8000
    loud = np.ones((8000, 2), np.float32)
    given = [len(mixdown.feed(loud)) for _ in range(12)]
    assert given == [0] * 9 + [80000, 8000, 8000]
    assert len(mixdown.finish()) == 0


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="needs Linux to measure memory")
def test_a_long_recording_stays_small(make):
    """Peak memory of the whole process on 15 minutes of 48 kHz stereo: below 120 MB.

    Held whole, the samples alone would be 345 MB; an hour was measured at 60 MB.  It is a
    FLAC of digital silence with a sound at its end, so that writing and reading it is quick.
    """
    import soundfile

    path = make.folder / "long.flac"
    silence = np.zeros((48000 * 60, 2), np.float32)
    with soundfile.SoundFile(path, "w", 48000, 2) as file:
        for _ in range(14):
            file.write(silence)
        file.write(np.stack([make.cut(60.0)] * 2, 1))
    code = (
        "import sys\n"
        "from chatter.sound.intake import take_in\n"
        "sound = take_in(sys.argv[1], frames=True)\n"
        "assert len(sound.frames.power) == len(sound.frames.time_s) > 40000\n"
        "assert sound.spool.n == 900 * 24000\n"
        "print(open('/proc/self/status').read().split('VmHWM:')[1].split()[0])\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert int(done.stdout) / 1024 < 120


def test_frames_are_gathered_in_the_same_pass(make):
    from chatter.sound.frames import make_frames

    path = make.encode("a.m4a", make.cut(5.0), "aac")
    seen = []
    sound = take_in(path, frames=True, also=lambda block: seen.append(block.copy()))
    with sound.spool as spool:
        after = make_frames(spool.read, spool.n, spool.rate_hz)
        assert np.array_equal(np.concatenate(seen), spool.read(0, spool.n))
    assert np.array_equal(sound.frames.power, after.power)
    assert np.array_equal(sound.frames.picture_db, after.picture_db)
    plain = take_in(path)
    with plain.spool:
        assert plain.frames is None


def test_what_is_too_long_is_refused_and_the_limit_can_be_raised(make, monkeypatch, tmp_path):
    """A file of 6 MB may hold ten hours of silence."""
    (tmp_path / "spools").mkdir()
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path / "spools"))
    monkeypatch.setattr("chatter.sound.intake.LONGEST_H", 0.001)
    path = make.write("a.wav", make.cut(4.0, rate_hz=8000), 8000)
    with pytest.raises(RecordingError, match=r"longer than 0.001 hours.*CHATTER_LONGEST_HOURS"):
        take_in(path)
    assert list((tmp_path / "spools").iterdir()) == []
    monkeypatch.setenv("CHATTER_LONGEST_HOURS", "0.002")
    with take_in(path).spool as spool:
        assert spool.n == 4 * 8000
    for wrong in ("long", "-1", "nan", "0"):
        monkeypatch.setenv("CHATTER_LONGEST_HOURS", wrong)
        with pytest.raises(RecordingError, match="set it to a number of hours"):
            take_in(path)


def test_many_channels_are_refused_before_they_fill_the_memory(make):
    """Three seconds of 1,024 channels took 906 MB."""
    path = make.write("a.wav", np.zeros((800, 33), np.float32), 8000)
    with pytest.raises(RecordingError, match=r"states 33 channels.*at most 32"):
        take_in(path)
    wide = make.write("b.wav", 0.1 * np.ones((8000, 32), np.float32), 8000)
    with take_in(wide).spool as spool:
        assert spool.n == 8000


def test_little_is_held_back_of_many_channels():
    from chatter.sound.mixdown import Mixdown

    mixdown = Mixdown(32, 384_000)
    block = 0.1 * np.ones((20_000, 32), np.float32)
    held = 0
    while not len(mixdown.feed(block)):
        held += block.size
        assert held <= 3_000_000
