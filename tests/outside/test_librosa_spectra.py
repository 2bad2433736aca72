"""Frames, resampling and line frequencies against librosa, an independent library.

B. McFee et al., *librosa: Audio and Music Signal Analysis in Python*, Proc. 14th Python in
Science Conf. (2015) 18-24; https://librosa.org.  Where librosa would call the same resampler
as this project (soxr), its band-limited Fourier method is asked instead.  The first use of
librosa on a machine compiles for 10 to 30 s.
"""

from __future__ import annotations

import numpy as np
import pytest

from chatter.sound.spectrum import peaks_above, power_frames, running_floor
from chatter.sound.spool import Spool

librosa = pytest.importorskip("librosa")

RATE = 24000


@pytest.fixture(scope="module")
def sound():
    """Noise, two tones and a tone that grows: nothing that a wrong window could hide in."""
    rng = np.random.default_rng(20)
    t = np.arange(2 * RATE) / RATE
    x = 0.05 * rng.standard_normal(t.size)
    x += np.sin(2 * np.pi * 716.7 * t) + 0.3 * np.sin(2 * np.pi * 2151.2 * t) * t
    return x.astype(np.float32)


def _ours(x, n, hop, start=0, stop=None):
    blocks = power_frames(
        lambda a, b: x[a:b], start, len(x) if stop is None else stop, n=n, hop=hop
    )
    return np.concatenate([power for _, power in blocks])


@pytest.mark.parametrize(("n", "hop"), [(1024, 512), (2048, 512), (3000, 1111)])
def test_power_of_frames(sound, n, hop):
    """float32 against float64 differ by about 1e-6 of the frame's strongest bin; a symmetric
    window instead of the periodic one would differ by more than 1e-4 (asserted below)."""
    window = librosa.filters.get_window("hann", n)
    theirs = librosa.stft(
        sound.astype(np.float64), n_fft=n, hop_length=hop, window=window, center=False
    )
    theirs = (np.abs(theirs) ** 2 / np.sum(window**2)).T
    ours = _ours(sound, n, hop)
    assert ours.shape == theirs.shape
    top = theirs.max(axis=1, keepdims=True)
    assert np.max(np.abs(ours - theirs) / top) < 1e-5

    symmetric = np.hanning(n)
    other = librosa.stft(
        sound.astype(np.float64), n_fft=n, hop_length=hop, window=symmetric, center=False
    )
    other = (np.abs(other) ** 2 / np.sum(symmetric**2)).T
    assert np.max(np.abs(ours - other) / top) > 1e-4


def test_a_stretch_is_framed_from_its_own_start(sound):
    theirs = librosa.stft(sound[5000:20000], n_fft=2048, hop_length=512, center=False)
    ours = _ours(sound, 2048, 512, 5000, 20000)
    assert ours.shape[0] == theirs.shape[1]
    top = np.argmax(np.abs(theirs), axis=0)
    np.testing.assert_array_equal(np.argmax(ours, axis=1), top)


@pytest.mark.parametrize("native_hz", [48000, 44100, 32000])
def test_resampling(native_hz):
    """A band-limited signal has one true value at each instant, whatever the method.

    soxr's "HQ" promises about 20 bits in the pass band; 1e-4 of full scale leaves room for the
    Fourier method's wrap-round, and one sample of delay would be 1 or more.
    """
    rng = np.random.default_rng(21)
    # Whole cycles, so that the Fourier method has no seam; and three seconds, since for one
    # librosa rounds 44,100 samples up to 24,001 and stretches the time by as much.
    n = 3 * native_hz
    t = np.arange(n) / native_hz
    tones = [(57, 0.2), (717, 0.3), (3210, 0.2), (9400, 0.2)]
    x = sum(a * np.sin(2 * np.pi * f * t + rng.uniform(0, 6)) for f, a in tones)
    x = x.astype(np.float32)
    theirs = librosa.resample(x, orig_sr=native_hz, target_sr=RATE, res_type="scipy")
    with Spool(native_hz) as spool:
        at = 0
        for size in [1, 4097, 250, *[7001] * n]:  # blocks as decoders hand them out
            spool.write(x[at : at + size], last=at + size >= n)
            at += size
            if at >= n:
                break
        assert spool.n == len(theirs) == 3 * RATE
        ours = spool.read(0, spool.n)
    inner = slice(1200, -1200)  # the ends ring in both
    assert np.max(np.abs(ours[inner] - theirs[inner])) < 1e-4


@pytest.mark.filterwarnings("ignore:'where' used without 'out'")  # inside librosa
@pytest.mark.parametrize("hz", [312.4, 716.7, 1433.1, 5021.9])
def test_frequency_of_a_line(hz):
    """The parabola through three logarithms errs by up to 0.016 bins under a Hann window (our
    measurement); librosa's reassignment reads the phase and has no such error.  Without
    interpolation the error would reach half a bin."""
    rng = np.random.default_rng(int(hz))
    n = 4096
    t = np.arange(2 * RATE) / RATE
    x = (np.sin(2 * np.pi * hz * t) + 0.01 * rng.standard_normal(t.size)).astype(np.float32)
    mean = _ours(x, n, n // 2).mean(axis=0)
    peak = max(peaks_above(mean, running_floor(mean, 64), 20.0), key=lambda p: p.power)
    freqs, _, mags = librosa.reassigned_spectrogram(
        x, sr=RATE, n_fft=n, hop_length=n // 2, center=False, fill_nan=True
    )
    theirs = np.median(freqs[np.argmax(mags.mean(axis=1))])
    assert peak.bin * RATE / n == pytest.approx(theirs, abs=0.025 * RATE / n)
    assert theirs == pytest.approx(hz, abs=0.005 * RATE / n)
