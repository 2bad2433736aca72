"""The mono track on disk."""

from __future__ import annotations

import errno
import os
import threading

import numpy as np
import pytest

from chatter.errors import RecordingError
from chatter.sound.spool import Spool, analysis_rate_hz


def spooled(sound, rate_hz, step=7001) -> Spool:
    spool = Spool(rate_hz)
    for start in range(0, len(sound), step):
        spool.write(sound[start : start + step])
    spool.write(sound[:0], last=True)
    return spool


@pytest.mark.parametrize(
    ("native", "rate"),
    [(8000, 8000), (16000, 16000), (24000, 24000), (44100, 24000), (96000, 24000)],
)
def test_rate(native, rate):
    assert analysis_rate_hz(native) == rate


def test_at_the_native_rate_nothing_changes(make):
    sound = make.cut(1.0, rate_hz=16000)
    with spooled(sound, 16000) as spool:
        assert spool.n == len(sound)
        assert np.array_equal(spool.read(0, spool.n), sound)


@pytest.mark.parametrize("rate_hz", [44100, 48000, 96000])
def test_resampling_keeps_time_and_amplitude(rate_hz):
    n = 3 * rate_hz
    t = np.arange(n) / rate_hz
    sound = (0.3 * np.sin(2 * np.pi * 1000.0 * t + 0.4)).astype(np.float32)
    with spooled(sound, rate_hz) as spool:
        assert abs(spool.duration_s - 3.0) < 2 / 24000
        got = spool.read(2400, spool.n - 2400)
        t = np.arange(2400, spool.n - 2400) / 24000
        # 1e-4: the resampler's pass-band ripple; one sample late would give 0.08
        assert np.abs(got - 0.3 * np.sin(2 * np.pi * 1000.0 * t + 0.4)).max() < 1e-4


def test_what_the_lower_rate_cannot_hold_does_not_fold_back():
    t = np.arange(96000) / 48000
    sound = np.sin(2 * np.pi * 15000.0 * t).astype(np.float32)  # would fold to 9 kHz
    with spooled(sound, 48000) as spool:
        assert np.abs(spool.read(2400, spool.n - 2400)).max() < 1e-4


def test_reading_is_clipped_to_the_track(make):
    sound = make.cut(0.1, rate_hz=8000)
    with spooled(sound, 8000) as spool:
        assert np.array_equal(spool.read(-50, 30), sound[:30])
        assert np.array_equal(spool.read(790, 9999), sound[790:])
        for start, stop in ((-5, -1), (900, 950), (400, 300), (5, 5)):
            assert spool.read(start, stop).shape == (0,)
        assert spool.read(0, 8).dtype == np.float32


def test_blocks_cover_the_track_once(make):
    sound = make.cut(0.1, rate_hz=8000)
    with spooled(sound, 8000) as spool:
        got = list(spool.blocks(300))
        assert [start for start, _ in got] == [0, 300, 600]
        assert np.array_equal(np.concatenate([block for _, block in got]), sound)


def test_threads_may_read_together():
    sound = np.arange(200_000, dtype=np.float32)
    wrong = []
    with spooled(sound, 8000) as spool:

        def check(seed):
            rng = np.random.default_rng(seed)
            for _ in range(200):
                a = int(rng.integers(0, 190_000))
                if spool.read(a, a + 500)[0] != a:
                    wrong.append(a)

        threads = [threading.Thread(target=check, args=(i,)) for i in range(4)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    assert not wrong


def test_nothing_is_left_on_disk(tmp_path, monkeypatch, make):
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    with spooled(make.cut(0.5, rate_hz=8000), 8000):
        assert os.listdir(tmp_path) == []
    assert os.listdir(tmp_path) == []


def test_a_full_disk_is_one_sentence(make):
    class Full:
        def write(self, _data):
            raise OSError(errno.ENOSPC, "No space left on device")

        def close(self):
            pass

    with Spool(8000) as spool:
        spool._file.close()
        spool._file = Full()
        with pytest.raises(RecordingError, match=r"no room left .* free about 115 MB"):
            spool.write(make.cut(0.1, rate_hz=8000))
