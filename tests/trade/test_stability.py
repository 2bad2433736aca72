"""Process damping, the stability chart and its calibration."""

from __future__ import annotations

import math
import time

import numpy as np
import pytest

from chatter.trade import lobes
from chatter.trade.calibration import ObservedCut, calibrate
from chatter.trade.modes import Mode, mode_below
from chatter.trade.stability import chart
from tests.trade.made import a_job, a_pass


def test_process_damping_is_no_threshold():
    """The limit grows steadily as waves get shorter, and never falls for it."""
    wave = np.geomspace(10e-3, 0.3e-3, 60)
    f_tp = np.full_like(wave, 24.0)
    limit, _ = lobes.relative_limit(
        f_tp, 500.0, 0.03, wavelength_m=wave, critical_wavelength_m=0.28e-3
    )
    bare = lobes.relative_limit(24.0, 500.0, 0.03)[0][0]
    assert np.all(np.diff(limit) >= -1e-6)
    # At 10 mm the pull is 0.28 / 10 = 2.8 % of the damping per unit of relative depth.
    assert limit[0] == pytest.approx(bare, rel=0.08)
    assert limit[-1] > 2 * bare
    # 6 % steps in wavelength: no step of the limit is above 30 %.
    assert np.abs(np.diff(np.log(limit))).max() < 0.3


def test_process_damping_asymptote():
    """Where lobes merge b = 1 + pull h(b), h = b / (1 + b / 10), to first order in z."""
    f_tp = 500.0 / (40 + np.linspace(0, 1, 800))
    for pull in (0.2, 0.5, 1.0):
        limit, _ = lobes.relative_limit(
            f_tp, 500.0, 0.004, wavelength_m=1e-3, critical_wavelength_m=pull * 1e-3
        )
        # z_eff (1 + z_eff) is second order: below 2 % of z_eff here
        half = 0.9 - pull
        exact = 5 * (-half + math.sqrt(half**2 + 0.4))
        assert limit.min() == pytest.approx(exact, rel=0.03)


def limits(n):
    return (1.0, 1.2) if n < 100 else (2.0, 2.4)


def test_calibration_bounds():
    both = calibrate((ObservedCut(90, 0.006, True), ObservedCut(120, 0.006, False)), limits)
    assert both.high_m == pytest.approx(0.006)
    assert both.low_m == pytest.approx(0.0025)
    assert both.best_m == pytest.approx((0.006 * 0.0025) ** 0.5)
    assert not both.against
    assert calibrate((ObservedCut(90, 0.006, True),), limits).low_m is None
    assert calibrate((ObservedCut(90, 0.006, False),), limits).high_m is None
    assert calibrate((), limits).best_m is None


def test_contradicting_cuts_are_named():
    quiet, loud = ObservedCut(90, 0.010, False), ObservedCut(90, 0.004, True)
    fine = ObservedCut(120, 0.004, False)
    found = calibrate((quiet, loud, fine), limits)
    assert set(found.against) == {quiet, loud}
    assert found.best_m is None
    assert "10 mm at 90 rev/min did not" in found.sentence


def test_chart():
    one, job = a_pass("chatter", f_c=186.0), a_job(cut={"depth_m": 0.006})
    began = time.process_time()
    drawn = chart(one, job, observations=(ObservedCut(90.0, 0.004, False),))
    assert (
        time.process_time() - began < 2.0
    )  # fast enough to wait for, whatever else the machine does
    assert drawn.scale.low_m < drawn.scale.high_m
    assert drawn.here.rev_min == 90.0
    assert [m.rev_min for m in drawn.steps] == list(job.machine.speeds_rev_min)
    assert not drawn.steps[-1].usable  # 300 rev/min is above the range for iron
    assert drawn.best is None or (drawn.best.usable and drawn.best.limit > drawn.here.limit)
    low, middle, high = (np.array(v) for v in (drawn.limit_low, drawn.limit, drawn.limit_high))
    assert np.all(low <= middle + 1e-6) and np.all(middle <= high + 1e-6)
    assert low.min() == pytest.approx(1.0, abs=0.02)
    assert chart(a_pass("normal"), job) is None


def test_chart_takes_the_tapped_mode():
    drawn = chart(a_pass("chatter", f_c=186.0), a_job(), modes=(Mode(178.0, 0.05),))
    assert (drawn.natural_hz, drawn.damping_ratio) == (178.0, 0.05)


def test_mode_below():
    modes = (Mode(300.0, 0.01), Mode(480.0, 0.02), Mode(510.0, 0.02), Mode(900.0, 0.02))
    assert mode_below(modes, 520.0).frequency_hz == 510.0
    assert mode_below(modes, 505.0).frequency_hz == 510.0  # 1 % above still counts
    assert mode_below(modes, 490.0).frequency_hz == 480.0
    assert mode_below(modes, 700.0) is None
    assert mode_below((), 700.0) is None
