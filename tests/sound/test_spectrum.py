"""Spectra: calibration, floors, chance levels and the place of a peak."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.signal
import scipy.stats

from chatter.sound.spectrum import (
    chance_level,
    db,
    hann,
    median_bias,
    peaks_above,
    power_frames,
    row_median,
    running_floor,
)

RATE = 8000


@pytest.fixture
def rng():
    return np.random.default_rng(41)


def reader(x):
    x = np.asarray(x, np.float32)
    return lambda a, b: x[a:b]


def frames_of(x, n, hop, start=0, stop=None):
    blocks = list(power_frames(reader(x), start, len(x) if stop is None else stop, n=n, hop=hop))
    firsts = [first for first, _ in blocks]
    assert firsts == list(np.cumsum([0, *(len(b) for _, b in blocks)])[:-1])
    return np.concatenate([b for _, b in blocks])


def test_hann_is_periodic_and_of_unit_power():
    w = hann(256).astype(float)
    reference = scipy.signal.get_window("hann", 256)  # periodic by default
    np.testing.assert_allclose(w, reference / np.sqrt(np.sum(reference**2)), atol=1e-7)
    assert np.sum(w**2) == pytest.approx(1.0, rel=1e-6)


@pytest.mark.parametrize("n", [256, 1000])
def test_white_noise_gives_its_variance_in_every_bin(rng, n):
    sigma = 0.37
    power = frames_of(sigma * rng.standard_normal(600 * n // 2), n, n // 2)
    inner = power[:, 2:-2].mean()
    # About 599 frames x n/2 bins: the mean is known to 0.4 % or better.
    assert inner == pytest.approx(sigma**2, rel=0.012)


def test_frames_against_the_plain_transform(rng):
    """A frame-by-frame twin in float64; block borders (256 frames) included."""
    n, hop = 64, 24
    x = rng.standard_normal(hop * 700)
    got = frames_of(x, n, hop, start=5, stop=x.size - 3)
    w = scipy.signal.get_window("hann", n)
    w /= np.sqrt(np.sum(w**2))
    starts = range(5, x.size - 3 - n + 1, hop)
    want = np.array([np.abs(np.fft.rfft(w * x[a : a + n].astype(np.float32))) ** 2 for a in starts])
    assert got.shape == want.shape
    np.testing.assert_allclose(got, want, rtol=1e-3, atol=1e-5)
    assert got.dtype == np.float32


def test_too_short_makes_no_frames():
    assert list(power_frames(reader(np.zeros(100)), 0, 100, n=128, hop=32)) == []


def test_running_floor_of_a_line_and_of_a_slope():
    flat = np.full(1000, 3.0)
    flat[500] = 1e6  # one line cannot lift a median
    np.testing.assert_allclose(running_floor(flat, 50), 3.0)
    slope = np.arange(1000.0)
    floor = running_floor(slope, 40)
    np.testing.assert_allclose(floor[20:-20], slope[20:-20], atol=1e-9)
    two = np.stack([flat, slope])
    np.testing.assert_allclose(running_floor(two, 40)[1], floor)


def test_running_floor_takes_any_width(rng):
    x = rng.exponential(size=7)
    assert running_floor(x, 1000).shape == (7,)
    assert running_floor(x, 1).shape == (7,)
    assert running_floor(x[None, :3], 1000).shape == (1, 3)


def test_running_floor_over_median_bias_is_the_mean(rng):
    for averages in (1, 4, 10):
        power = rng.gamma(averages, 1.0 / averages, 200_000)
        floor = running_floor(power, 501) / median_bias(averages)
        # 200 000 values in 399 medians: known to 0.4 %; the approximation is good to 0.05 %.
        assert floor.mean() == pytest.approx(1.0, rel=0.012)


def test_peaks_are_local_maxima_above_the_limit_strongest_first():
    power = np.ones(100)
    power[20], power[21], power[60], power[80] = 30.0, 40.0, 90.0, 4.9
    found = peaks_above(power, np.full(100, 2.0), 2.5)
    assert [round(p.bin) for p in found] == [60, 21]  # 20 is a flank, 80 is too weak
    assert [p.ratio for p in found] == [45.0, 20.0]
    assert found[0].bin == pytest.approx(60.0)
    assert 20.5 <= found[1].bin < 21.0  # drawn to the stronger neighbour


def test_no_peaks_in_nothing():
    assert peaks_above(np.zeros(50), np.zeros(50), 3.0) == ()
    assert peaks_above(np.ones(2), np.ones(2), 0.5) == ()


@pytest.mark.parametrize("offset", [0.0, 0.13, 0.25, 0.5, 0.77])
def test_place_of_a_clean_peak(offset):
    """Log parabola under a Hann window: wrong by 0.016 bins at most (worked out from the
    window's own transform)."""
    n = 1024
    k = 100 + offset
    x = np.cos(2 * np.pi * k * np.arange(n) / n + 0.4)
    power = frames_of(x, n, n)[0]
    found = peaks_above(power, np.full(power.size, 1e-6), 100.0)[0]
    assert found.bin == pytest.approx(k, abs=0.018)


def test_place_in_noise_is_near_the_least_possible_scatter(rng):
    """The Cramer-Rao bound (Rife & Boorstyn 1974) for one tone is, in Hz,
    sqrt(6 fs^2 / ((2 pi)^2 SNR N (N^2 - 1))), SNR = A^2 / (2 sigma^2).

    Three bins under a Hann window cannot reach it: with the peak on a bin its neighbours
    have half the amplitude, and to first order the parabola's place then scatters by
    2.93 times the bound; a little less when averaged over places."""
    n, sigma, amplitude = 4096, 1.0, 0.5
    snr = amplitude**2 / (2 * sigma**2)
    bound_bins = np.sqrt(6.0 / ((2 * np.pi) ** 2 * snr * n * (n**2 - 1.0))) * n
    t = np.arange(n)
    errors = []
    for _ in range(300):
        k = 400 + rng.uniform(-0.5, 0.5)
        tone = amplitude * np.cos(2 * np.pi * k * t / n + rng.uniform(0, 6.28))
        power = frames_of(tone + sigma * rng.standard_normal(n), n, n)[0]
        best = peaks_above(power[380:420], np.full(40, sigma**2), 20.0)[0]
        errors.append(best.bin + 380 - k)
    scatter = np.std(errors)
    assert 1.0 * bound_bins < scatter < 3.1 * bound_bins
    assert abs(np.mean(errors)) < 4 * scatter / np.sqrt(300)


def test_chance_level_refuses_what_cannot_be():
    for bins, alpha, averages in ((0, 0.1, 1), (10, 0.0, 1), (10, 1.0, 1), (10, 0.1, 0.5)):
        with pytest.raises(ValueError, match="at least 1"):
            chance_level(bins, alpha, averages)


@pytest.mark.parametrize("averages", [1.0, 1.6, 4.0, 31.0])
def test_chance_level_is_the_quantile_of_the_greatest(averages):
    """Against scipy's gamma distribution of the mean of K exponentials."""
    bins, alpha = 777, 0.02
    level = chance_level(bins, alpha, averages)
    below = scipy.stats.gamma.cdf(level, averages, scale=1.0 / averages)
    assert below**bins == pytest.approx(1 - alpha, rel=1e-9)


def test_chance_level_keeps_its_promise(rng):
    draws, bins, alpha = 20_000, 200, 0.05
    top = rng.exponential(size=(draws, bins)).max(axis=1)
    hits = int(np.sum(top > chance_level(bins, alpha)))
    low, high = scipy.stats.binom.ppf([1e-4, 1 - 1e-4], draws, alpha)
    assert low <= hits <= high


def test_db():
    np.testing.assert_allclose(db(np.array([1.0, 10.0, 0.0])), [0.0, 10.0, -200.0])


def test_frames_far_apart_are_read_alone_and_are_the_same_frames(rng):
    n, hop = 64, 5000
    x = np.asarray(rng.standard_normal(hop * 300), np.float32)
    lengths = []

    def read(a, b):
        lengths.append(b - a)
        return x[a:b]

    apart = np.concatenate([b for _, b in power_frames(read, 7, x.size, n=n, hop=hop)])
    assert set(lengths) == {n}  # ten hours in one segment must not be read whole
    whole = np.lib.stride_tricks.sliding_window_view(x[7:], n)[::hop]
    dense = np.concatenate([frames_of(one, n, n) for one in whole])
    assert apart.shape == dense.shape
    beyond = [b for _, b in power_frames(read, 7, x.size + hop, n=n, hop=hop)]
    np.testing.assert_array_equal(np.concatenate(beyond), apart)  # a track may end before
    np.testing.assert_allclose(apart, dense, rtol=1e-5, atol=1e-6)


@pytest.mark.parametrize("kind", [np.float32, np.float64])
@pytest.mark.parametrize("width", [1, 2, 5, 46, 47, 400, 401, 1000])
def test_row_median_is_numpys_to_the_last_bit(rng, kind, width):
    rows = rng.exponential(size=(7, 3, width)).astype(kind)
    got, reference = row_median(rows), np.median(rows, axis=-1)
    assert got.dtype == reference.dtype
    np.testing.assert_array_equal(got, reference)
