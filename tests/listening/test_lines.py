"""The ledger: each line's name from where it lies, when it sounds and what is around it."""

from __future__ import annotations

import numpy as np
import pytest

from chatter.findings import LINE_NAMES, Chatter
from chatter.listening.lines import fine_spectrum, name_lines
from chatter.listening.pass_speed import SpeedEstimate
from chatter.listening.tones import find_tones, frame_spectra
from tests.listening.cuts_made import RATE_HZ, family, reader

SECONDS = 16.0
REV_MIN, TEETH = 120.0, 20  # the turn at 2 Hz, the teeth at 40 Hz


def spectrum_of(x, rev_min=REV_MIN, teeth=TEETH):
    return fine_spectrum(reader(x), 0, len(x), RATE_HZ, spindle_hz=rev_min / 60, teeth=teeth)


def sound(rng, lines, noise=0.01):
    return family(SECONDS, lines) + noise * rng.standard_normal(round(SECONDS * RATE_HZ))


def heard_at(rev_min=REV_MIN, error=1e-4, heard=True):
    f = rev_min / 60
    low, high = f * (1 - 1.96 * error), f * (1 + 1.96 * error)
    return SpeedEstimate(f, low, high, 40.0, 0.0, heard, (), None, max(error, 5e-5))


def ledger(x, *, speed=None, chatter=None, tones=(), idle=None, mains_hz=60.0):
    return name_lines(
        spectrum_of(x),
        speed=speed or heard_at(),
        teeth=TEETH,
        chatter=chatter,
        tones=tones,
        idle=None if idle is None else spectrum_of(idle),
        mains_hz=mains_hz,
    )


def at(lines, frequency_hz):
    near = [line for line in lines if abs(line.frequency_hz - frequency_hz) < 0.5]
    assert len(near) == 1, (frequency_hz, near)
    return near[0]


def test_teeth_turns_and_sidebands(rng):
    lines = ledger(sound(rng, {320: 0.1, 322: 0.03, 316: 0.03, 334: 0.03, 700: 0.05}))
    assert at(lines, 320).name == "tooth_passing" and at(lines, 320).label.startswith("8 x")
    assert at(lines, 322).name == "sideband" and "+ 1 rev" in at(lines, 322).label.replace(
        "+ revolution", "+ 1 rev"
    )
    assert at(lines, 316).name == "sideband" and "- 2" in at(lines, 316).label
    assert at(lines, 334).name == "revolution" and at(lines, 334).label == "order 167"
    assert at(lines, 700).order == pytest.approx(350.0, abs=0.05)
    assert at(lines, 700).name == "revolution"  # 17.5 x tooth passing is an even turn order
    assert [line.frequency_hz for line in lines] == sorted(line.frequency_hz for line in lines)
    assert all(line.name in LINE_NAMES and 0 < line.sure <= 1 for line in lines)


def test_a_free_line_is_unexplained_and_chatter_when_it_was_accepted(rng):
    x = sound(rng, {913.0: 0.1, 873.0: 0.03, 953.0: 0.03, 1826.0: 0.03, 400.0: 0.05})
    assert at(ledger(x), 913).name == "unexplained"
    chatter = Chatter(913.0, 0.0, 1.0, "hopf", 913 / 40, 30.0)
    lines = ledger(x, chatter=chatter)
    for f in (873, 913, 953, 1826):
        assert at(lines, f).name == "chatter"
    assert at(lines, 400).name == "tooth_passing"
    assert "f_c" in at(lines, 913).label and "-1" in at(lines, 873).label


def test_mains_and_the_machine(rng):
    lines = ledger(sound(rng, {180.0: 0.05, 300.0: 0.05, 437.3: 0.05}), mains_hz=60.0)
    assert at(lines, 180).name == "mains" and "3 x 60" in at(lines, 180).label
    assert at(lines, 437.3).name == "unexplained"
    # at 50 Hz mains 180 Hz is no mains line, and 300 is one either way
    lines = ledger(sound(rng, {181.0: 0.05, 300.0: 0.05}), mains_hz=50.0)
    assert at(lines, 181).name != "mains" and at(lines, 300).name == "mains"


def test_idle_lines_are_the_machines_own(rng):
    idle = sound(rng, {437.3: 0.05, 611.0: 0.01, 180.0: 0.05})
    cut = sound(rng, {437.3: 0.05, 611.0: 0.1, 180.0: 0.05, 320.0: 0.1})
    lines = ledger(cut, idle=idle)
    assert at(lines, 437.3).name == "machine" and at(lines, 437.3).in_idle
    assert at(lines, 611).name == "unexplained"  # 20 dB louder in the cut
    assert not at(lines, 611).in_idle
    assert at(lines, 180).name == "mains" and at(lines, 180).in_idle
    assert at(lines, 320).name == "tooth_passing" and not at(lines, 320).in_idle


def test_machine_lines_that_sag_with_the_spindle(rng):
    """Gear lines fall by 2 % under load; they are the machine's own all the same."""
    gears = {233.0: 0.05, 466.0: 0.04, 699.0: 0.04, 371.0: 0.05, 845.0: 0.03}
    idle = sound(rng, {f / 0.98: a for f, a in gears.items()})
    lines = ledger(sound(rng, gears), idle=idle)
    assert sum(at(lines, f).name == "machine" for f in gears) >= 4


def test_squeal(rng):
    x = sound(rng, {2511.0: 0.1, 320.0: 0.05})
    spectra = frame_spectra(reader(x), 0, x.size, RATE_HZ, spindle_hz=2.0, teeth=TEETH)
    tones = find_tones(spectra, spindle_hz=2.0, speed_error=1e-5, teeth=TEETH)
    lines = ledger(x, tones=tones, speed=heard_at(error=1e-5))
    assert at(lines, 2511).name == "squeal"
    assert at(lines, 320).name == "tooth_passing"


def test_without_a_speed_nothing_is_put_on_a_comb(rng):
    lines = ledger(sound(rng, {320.0: 0.1, 180.0: 0.05}), speed=heard_at(heard=False))
    assert at(lines, 320).order is None and at(lines, 320).name == "unexplained"
    assert at(lines, 180).name == "mains"


def test_far_up_the_comb_nothing_is_claimed_when_the_speed_is_vague(rng):
    """Order 2000 with the speed known to 0.2 %: four turns either way, a fifth of a tooth."""
    x = sound(rng, {4000.0: 0.1})
    assert at(ledger(x, speed=heard_at(error=1e-5)), 4000).name == "tooth_passing"
    assert at(ledger(x, speed=heard_at(error=2e-3)), 4000).name == "unexplained"


def test_flip_lines(rng):
    chatter = Chatter(340.0, 0.0, 1.0, "flip", 8.5, 30.0)
    lines = ledger(sound(rng, {340.0: 0.1, 260.0: 0.05, 320.0: 0.05}), chatter=chatter)
    assert at(lines, 340).name == at(lines, 260).name == "period_doubling"
    assert at(lines, 320).name == "tooth_passing"


def test_gain_changes_nothing(rng):
    x = sound(rng, {320: 0.1, 322: 0.03, 913.0: 0.1, 180.0: 0.05})
    one, ten = ledger(x), ledger(0.03 * x)
    assert [(a.name, a.label) for a in one] == [(b.name, b.label) for b in ten]
    np.testing.assert_allclose([a.level_db for a in one], [b.level_db for b in ten], atol=0.05)
