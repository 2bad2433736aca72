"""Families that hide in noise show when the spectrum is folded; humps do not."""

from __future__ import annotations

import numpy as np
import pytest

from chatter.listening.folding import fold
from chatter.listening.humps import strongest_hump
from chatter.listening.tones import find_tones, frame_spectra
from tests.listening.cuts_made import RATE_HZ, cut, family, reader

SECONDS = 10.0
SPINDLE_HZ, TEETH = 12.0, 5
TOOTH_HZ = 60.0


def spectra_of(x, spindle_hz=SPINDLE_HZ, teeth=TEETH):
    return frame_spectra(reader(x), 0, len(x), RATE_HZ, spindle_hz=spindle_hz, teeth=teeth)


def noise(rng, level=0.1):
    return level * rng.standard_normal(round(SECONDS * RATE_HZ))


def resonance(rng, frequency_hz, damping):
    """Noise through one mode."""
    white = rng.standard_normal(round(SECONDS * RATE_HZ))
    spectrum = np.fft.rfft(white)
    r = np.fft.rfftfreq(white.size, 1 / RATE_HZ) / frequency_hz
    rung = np.fft.irfft(spectrum / (1 - r**2 + 2j * damping * r), white.size)
    return rung / rung.std()


@pytest.mark.parametrize("offset", [0.15, 0.28, 0.41])
def test_a_family_of_lines_too_weak_to_be_seen(rng, offset):
    lines = {(k + offset) * TOOTH_HZ: 0.0022 for k in range(3, 40)}
    spectra = spectra_of(noise(rng) + family(SECONDS, lines))
    folded = fold(spectra, tooth_hz=TOOTH_HZ, speed_error=1e-5)
    place, score = folded.best_free(0.05)
    assert place == pytest.approx(offset, abs=1.5 / 64)
    assert score > 5.0
    tones = find_tones(spectra, spindle_hz=SPINDLE_HZ, speed_error=1e-5, teeth=TEETH)
    assert len(tones) < 12  # on their own most of the 37 stay hidden
    assert folded.at(offset) == folded.at(1 - offset) == pytest.approx(score)
    np.testing.assert_allclose(folded.score[1:], folded.score[:0:-1])  # d and 1 - d are one


def test_noise_and_a_resonance_fold_flat(rng):
    scores = []
    for _ in range(10):
        spectra = spectra_of(noise(rng))
        scores.append(fold(spectra, tooth_hz=TOOTH_HZ, speed_error=1e-5).best_free(0.05)[1])
    assert np.median(scores) < 4.0 and max(scores) < 9.0  # the best of 32 places
    spectra = spectra_of(noise(rng, 0.02) + 0.1 * resonance(rng, 870.0, 0.02))
    assert fold(spectra, tooth_hz=TOOTH_HZ, speed_error=1e-5).best_free(0.05)[1] < 9.0


def test_the_teeth_fold_onto_nought(rng):
    lines = {k * TOOTH_HZ: 0.02 for k in range(3, 30)}
    folded = fold(
        spectra_of(noise(rng) + family(SECONDS, lines)), tooth_hz=TOOTH_HZ, speed_error=1e-5
    )
    assert folded.at(0.0) > 8.0
    assert folded.best_free(0.05)[1] < 0.5 * folded.at(0.0)


def test_what_cannot_be_folded_says_so(rng):
    spectra = spectra_of(noise(rng))
    for tooth_hz, error in ((3000.0, 1e-5), (60.0, 0.1), (0.5, 1e-5)):
        folded = fold(spectra, tooth_hz=tooth_hz, speed_error=error)
        assert folded.orders == 0
        assert np.isnan(folded.at(0.3)) and np.isnan(folded.best_free(0.05)[1])


def hump_of(x, idle=None, spindle_hz=SPINDLE_HZ, teeth=TEETH):
    return strongest_hump(
        spectra_of(x, spindle_hz, teeth),
        idle,
        spindle_hz=spindle_hz,
        teeth=teeth,
        speed_error=1e-5,
    )


@pytest.mark.parametrize(("frequency", "damping"), [(430.0, 0.03), (870.0, 0.02), (1900.0, 0.02)])
def test_a_hump_is_found_at_its_mode(rng, frequency, damping):
    hump = hump_of(noise(rng, 0.02) + 0.2 * resonance(rng, frequency, damping))
    assert hump.frequency_hz == pytest.approx(frequency, rel=0.03)
    assert hump.prominence_db > 15.0
    # half-power width of a mode is 2 zeta f: 1 / (2 zeta) is 17 to 25
    assert 0.4 < hump.sharpness * 2 * damping < 2.5
    assert np.isnan(hump.rise_db)


def test_a_weak_hump_stands_out_less(rng):
    strong = hump_of(noise(rng, 0.1) + 0.2 * resonance(rng, 870.0, 0.02))
    weak = hump_of(noise(rng, 0.1) + 0.02 * resonance(rng, 870.0, 0.02))
    assert weak.prominence_db < strong.prominence_db - 8.0  # ten times weaker, floor included


def test_teeth_are_no_free_hump(rng):
    made = cut(rng, SECONDS, 720.0, 5, ticks=2.0, depth=0.3)
    locked = hump_of(made.x)
    free = hump_of(noise(rng, 0.02) + 0.2 * resonance(rng, 870.0, 0.02))
    assert free.free_db > -3.0
    assert locked.free_db < free.free_db - 5.0 or locked.prominence_db < 12.0


def test_rise_over_idling(rng):
    mode = resonance(rng, 870.0, 0.02)
    idle = spectra_of(noise(rng, 0.02) + 0.02 * mode).mean
    hump = hump_of(noise(rng, 0.02) + 0.2 * mode, idle)
    assert hump.rise_db == pytest.approx(20.0, abs=1.5)


def test_unsteadiness(rng):
    mode = 0.2 * resonance(rng, 870.0, 0.02)
    steady = hump_of(noise(rng, 0.02) + mode)
    mode[: mode.size // 2] *= 0.05
    late = hump_of(noise(rng, 0.02) + mode)
    assert late.onset_rise_db > steady.onset_rise_db + 8.0


@pytest.mark.parametrize("x", [np.zeros(16000), np.ones(16000), np.full(200, 0.5)])
def test_nothing_is_no_fault(x):
    hump = hump_of(x)
    if hump is not None:
        assert np.isfinite([hump.frequency_hz, hump.prominence_db]).all()
