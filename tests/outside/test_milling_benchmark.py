"""The simulator's stability limit against a published milling benchmark.

Source of the parameters: T. Insperger, G. Stepan, "Updated semi-discretization method for
periodic delay-differential equations with discrete delay", Int. J. Numer. Meth. Engng 61
(2004) 117-141: one mode in the feed direction, m = 0.03993 kg, 922 Hz, damping 0.011,
Kt = 6e8 and Kn = 2e8 N/m2, two straight teeth, down-milling.

The limits below were computed by Chebyshev collocation (60 and 80 nodes agree to four
digits), a method this repository shares no code with; the published chart itself was not
read off.  H = secondary Hopf, F = period doubling; the last number is the line nearest the
natural frequency.
"""

import numpy as np
import pytest

from chatter.lab.simulate.cutting import Course, Metal, Teeth, run_cut
from chatter.lab.simulate.structure import StructureMode

FN_HZ, ZETA, MASS_KG = 922.0, 0.011, 0.03993
STIFFNESS = MASS_KG * (2 * np.pi * FN_HZ) ** 2
TEETH = 2
STEPS = 400  # per tooth passing
RAMP = 40  # tooth passings until full depth

# rev/min, radial immersion / diameter, limit [mm], type, line [Hz]
LIMITS = [
    (5000, 1.0, 0.4086, "H", 942.7),
    (5000, 0.5, 0.8472, "H", 935.9),
    (5000, 0.05, 2.2069, "H", 935.0),
    (8000, 0.1, 1.2204, "H", 899.9),
    (10000, 1.0, 0.3224, "H", 930.3),
    (10000, 0.5, 2.1047, "F", 833.3),
    (10000, 0.05, 4.0907, "F", 833.3),
    (12000, 1.0, 2.1493, "F", 1000.0),
    (12000, 0.1, 0.9430, "H", 910.8),
    (15000, 0.5, 2.5962, "F", 750.0),
    (15000, 0.05, 8.2125, "F", 750.0),
    (17500, 0.5, 1.0884, "F", 875.0),
    (17500, 0.1, 1.3757, "F", 875.0),
    (20000, 0.5, 0.7196, "H", 903.0),
    (22500, 0.1, 0.9843, "H", 914.1),
]


def disturbance(rev_min, immersion, depth_mm, passings=300):
    """Motion from tooth to tooth that does not repeat, its log-slope, and the motion."""
    period = 60 / rev_min / TEETH
    full = np.ones(passings)
    # The depth is run up gently: thrown in at once, the cutter jumps clear of the work, and
    # from there (beyond the benchmark's linear theory) it may not find back.
    ramp = np.minimum(1.0, (np.arange(passings) + 1) / RAMP)
    course = Course(
        rate_hz=STEPS / period,
        hop=STEPS,
        turn_rate=full * rev_min / 60,
        feed_m_s=full * 1e-4 / period,
        arc_low=full * np.arccos(2 * immersion - 1) / (2 * np.pi),
        arc_high=full * 0.5,
        width_m=ramp * depth_mm * 1e-3,
        pass_of=np.zeros(passings, int),
        surface_speed_m_s=10.0,
    )
    motion = run_cut(
        course,
        Teeth((0.0, 0.5), (0.0, 0.0), (1.0, 1.0)),
        Metal(6e8, 1 / 3, 0.0, 0.0, 0.0, 0.0, 0.0),
        (StructureMode(FN_HZ, ZETA, STIFFNESS, 0.0),),
        None,
        kick_m=1e-6,
    )
    x = motion.displacement_m[:, 0].astype(float).reshape(passings, STEPS)
    return np.sqrt(np.mean(np.diff(x, axis=0) ** 2, axis=1)), x.ravel(), STEPS / period


@pytest.mark.parametrize(("rev_min", "immersion", "limit_mm", "kind", "line_hz"), LIMITS)
def test_limit_type_and_frequency(rev_min, immersion, limit_mm, kind, line_hz):
    # 5 % either side: half the change that a coarse grid of 40 steps per tooth would make.
    below, _, _ = disturbance(rev_min, immersion, 0.95 * limit_mm)
    above, x, rate = disturbance(rev_min, immersion, 1.05 * limit_mm)
    assert below[-1] < 0.5 * below[RAMP + 5], "must decay at 0.95 of the limit"
    # Past the limit it grows, at the latest until the teeth jump clear some chip loads wide.
    assert above[-1] > 1.8 * above[RAMP + 5] or above[-20:].mean() > 0.03e-4
    assert above[-1] > 0.8 * above[100], "must not decay at 1.05 of the limit"
    late = x[len(x) // 3 :]
    power = np.abs(np.fft.rfft((late - late.mean()) * np.hanning(len(late)), 8 * len(late)))
    hz = np.fft.rfftfreq(8 * len(late), 1 / rate)
    tooth_hz = rev_min / 60 * TEETH
    away = np.abs(hz / tooth_hz - np.round(hz / tooth_hz)) > 0.03
    band = (hz > 0.6 * FN_HZ) & (hz < 1.3 * FN_HZ) & away
    found = hz[band][np.argmax(power[band])]
    family = (found - line_hz + tooth_hz / 2) % tooth_hz - tooth_hz / 2
    mirrored = (found + line_hz + tooth_hz / 2) % tooth_hz - tooth_hz / 2
    # Any member of +-f + k f_tp will do.  The line moves by some hertz between the limit
    # and 1.05 of it, and by more once the motion is wide; families lie 170-700 Hz apart.
    assert min(abs(family), abs(mirrored)) < (1.0 if kind == "F" else 6.0)


def test_families_at_ten_thousand():
    # CHECK of arithmetic: 10 000 rev/min, slot: f_tp 333.33 Hz, and the line at 930.34 Hz
    # belongs to a family with members f_c + k f_tp and -f_c + k f_tp only (Insperger,
    # Stepan, Bayly, Mann, J. Sound Vib. 262 (2003) 333-345; from memory).
    _, x, rate = disturbance(10_000, 1.0, 1.05 * 0.3224, passings=400)
    late = x[len(x) // 4 :]
    power = np.abs(np.fft.rfft((late - late.mean()) * np.hanning(len(late)))) ** 2
    hz = np.fft.rfftfreq(len(late), 1 / rate)
    tooth_hz = 1000 / 3
    forced = np.abs(hz / tooth_hz - np.round(hz / tooth_hz)) < 0.02
    base = hz[~forced][np.argmax(power[~forced])] % tooth_hz
    gap = np.minimum(
        np.abs(((hz - base) + tooth_hz / 2) % tooth_hz - tooth_hz / 2),
        np.abs(((hz + base) + tooth_hz / 2) % tooth_hz - tooth_hz / 2),
    )
    share = power[~forced & (gap < 6)].sum() / power[~forced].sum()
    # The two families with 6 Hz either side take 24 of 333 Hz: 7 % by chance.
    assert share > 0.95
