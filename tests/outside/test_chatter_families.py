"""Families of lines that the theory of milling stability gives, named by the ledger.

* T. Insperger, G. Stépán, P. V. Bayly, B. P. Mann, *Multiple chatter frequencies in milling
  processes*, J. Sound Vib. 262 (2003) 333-345 (from memory; its statement on Floquet
  multipliers as quoted by Dombovari, Zatarain, Insperger 2010): secondary Hopf puts lines
  at +-f_c + k f_tp, flip at (k + 1/2) f_tp, a stable cut at k f_tp.
* The numbers are those of the milling benchmark of T. Insperger and G. Stépán, Int. J.
  Numer. Meth. Engng 61 (2004) 117-141 (two teeth, 922 Hz): at 10 000 rev/min and full
  immersion the critical multiplier gives 69.66 Hz, so 402.99, 736.32, 930.34 and
  1069.66 Hz; at 15 000 rev/min and a twentieth of immersion 750 Hz = 1.5 x 500 Hz.
  Worked out by collocation apart from this program.
* A textbook-like family: 6 teeth, 1656 rev/min, f_c 899.4 Hz with members at
  f_c -+ 165.6 Hz and its second harmonic at 1798.8 Hz.
"""

from __future__ import annotations

import numpy as np
import pytest

from chatter.findings import Chatter
from chatter.listening.folding import fold
from chatter.listening.lines import fine_spectrum, name_lines
from chatter.listening.pass_speed import SpeedEstimate
from chatter.listening.tones import find_tones, frame_spectra
from tests.listening.cuts_made import RATE_HZ, family, reader

SECONDS = 4.0


def sound(lines, rev_min, teeth, *, teeth_level=0.02):
    """Lines {Hz: amplitude}, tooth-passing lines and a little noise."""
    f_tp = teeth * rev_min / 60
    rng = np.random.default_rng(6)
    teeth_lines = {k * f_tp: teeth_level / k for k in range(1, 7)}
    noise = 0.003 * rng.standard_normal(round(SECONDS * RATE_HZ))
    return family(SECONDS, teeth_lines | lines) + noise


def heard_at(rev_min):
    f = rev_min / 60
    return SpeedEstimate(
        f, f * (1 - 1e-4), f * (1 + 1e-4), 50.0, 0.0, True, ((0.0, f),), None, 5.1e-5
    )


def ledger(x, rev_min, teeth, chatter):
    spectrum = fine_spectrum(reader(x), 0, x.size, RATE_HZ, spindle_hz=rev_min / 60, teeth=teeth)
    return name_lines(
        spectrum,
        speed=heard_at(rev_min),
        teeth=teeth,
        chatter=chatter,
        tones=(),
        idle=None,
        mains_hz=50.0,
    )


def name_at(lines, frequency_hz):
    near = [line for line in lines if abs(line.frequency_hz - frequency_hz) < 1.0]
    assert near, f"no line at {frequency_hz} Hz"
    return near[0].name


def chatter_at(frequency_hz, tooth_hz, kind="hopf"):
    return Chatter(frequency_hz, 0.0, 1.0, kind, frequency_hz / tooth_hz, 30.0)


def strongest_free(x, rev_min, teeth):
    spectra = frame_spectra(reader(x), 0, x.size, RATE_HZ, spindle_hz=rev_min / 60, teeth=teeth)
    tones = find_tones(spectra, spindle_hz=rev_min / 60, speed_error=1e-4, teeth=teeth)
    return spectra, max(tones, key=lambda t: t.prominence_db + 5 * t.freedom)


def test_secondary_hopf_of_the_benchmark():
    rev_min, teeth, f_tp, base = 10_000.0, 2, 1000 / 3, 69.66
    # the benchmark's own arithmetic: +-f_c + k f_tp
    members = [f_tp + base, 2 * f_tp + base, 3 * f_tp - base, 3 * f_tp + base]
    np.testing.assert_allclose(members, [402.99, 736.32, 930.34, 1069.66], atol=0.01)
    x = sound(dict(zip(members, (0.01, 0.02, 0.1, 0.03), strict=True)), rev_min, teeth)
    spectra, tone = strongest_free(x, rev_min, teeth)
    assert tone.frequency_hz == pytest.approx(930.34, abs=0.2)
    assert tone.freedom > 2.0
    folded = fold(spectra, tooth_hz=f_tp, speed_error=1e-4)
    offset, score = folded.best_free(0.02)
    assert offset == pytest.approx(base / f_tp, abs=1.5 / 64)
    assert score > 5.0
    lines = ledger(x, rev_min, teeth, chatter_at(tone.frequency_hz, f_tp))
    for frequency in members:
        assert name_at(lines, frequency) == "chatter", frequency
    for k in (1, 2, 3):
        assert name_at(lines, k * f_tp) == "tooth_passing"


def test_flip_of_the_benchmark():
    rev_min, teeth, f_tp = 15_000.0, 2, 500.0
    assert 1.5 * f_tp == 750.0
    x = sound({750.0: 0.1, 250.0: 0.03, 1250.0: 0.03}, rev_min, teeth)
    _spectra, tone = strongest_free(x, rev_min, teeth)
    assert tone.frequency_hz == pytest.approx(750.0, abs=0.2)
    assert tone.half < 0.005 and tone.tooth_distance == pytest.approx(0.5, abs=0.005)
    lines = ledger(x, rev_min, teeth, chatter_at(750.0, f_tp, "flip"))
    for frequency in (250.0, 750.0, 1250.0):
        # 250 and 750 Hz are mains multiples too: only 1250 and, with 60 Hz mains, all are not
        assert name_at(lines, frequency) in ("period_doubling", "mains")
    assert name_at(lines, 1250.0) == "period_doubling"
    assert name_at(lines, 500.0) in ("tooth_passing", "mains")
    assert name_at(lines, 1000.0) == "tooth_passing"


def test_flip_family_folds_onto_the_half():
    rng = np.random.default_rng(9)
    f_tp = 140.0  # 2 teeth, 4200 rev/min
    lines = {(k + 0.5) * f_tp: 0.004 for k in range(1, 12)}
    x = family(SECONDS, lines) + 0.02 * rng.standard_normal(round(SECONDS * RATE_HZ))
    spectra = frame_spectra(reader(x), 0, x.size, RATE_HZ, spindle_hz=70.0, teeth=2)
    folded = fold(spectra, tooth_hz=f_tp, speed_error=1e-4)
    offset, score = folded.best_free(0.02)
    assert offset == pytest.approx(0.5, abs=1.5 / 64) and score > 5.0
    assert folded.at(0.5) == pytest.approx(score)
    assert folded.at(0.25) < 0.5 * score


def test_textbook_family():
    rev_min, teeth, f_tp, f_c = 1656.0, 6, 165.6, 899.4
    members = {f_c: 0.1, f_c - f_tp: 0.02, f_c + f_tp: 0.02, 2 * f_c: 0.02}
    x = sound(members, rev_min, teeth)
    spectra, tone = strongest_free(x, rev_min, teeth)
    assert tone.frequency_hz == pytest.approx(f_c, abs=0.3)
    for f in (f_c - f_tp, f_c + f_tp):
        assert min(abs(m - f) for m in tone.family_hz) < 1.0
    assert fold(spectra, tooth_hz=f_tp, speed_error=1e-4).at((f_c / f_tp) % 1) > 4.0
    lines = ledger(x, rev_min, teeth, chatter_at(f_c, f_tp))
    for f in members:
        assert name_at(lines, f) == "chatter"
    main = next(line for line in lines if abs(line.frequency_hz - f_c) < 1)
    assert main.order == pytest.approx(f_c / 27.6, abs=0.02)


def test_a_stable_cut_has_no_free_family():
    x = sound({}, 1656.0, 6)
    spectra = frame_spectra(reader(x), 0, x.size, RATE_HZ, spindle_hz=27.6, teeth=6)
    for tone in find_tones(spectra, spindle_hz=27.6, speed_error=1e-4, teeth=6):
        assert tone.tooth_distance < 0.02 and tone.freedom < 0
    names = {line.name for line in ledger(x, 1656.0, 6, None)}
    assert names == {"tooth_passing"}
