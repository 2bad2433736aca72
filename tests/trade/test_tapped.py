"""The tapped mode beside a chatter, and cuts that were made before."""

from __future__ import annotations

import pytest

from chatter.job.cut import Observed
from chatter.trade.modes import Mode
from chatter.trade.observed import clash, comfort, trouble
from chatter.trade.stability import chart, worst_chatter
from chatter.trade.tapped import missed, mode_of, mode_words, with_modes
from tests.trade.made import a_job, a_pass

MODES = (Mode(140.0, 0.05), Mode(508.0, 0.021, 2.0, 0.003, 9), Mode(560.0, 0.01))


def test_the_mode_nearest_below_is_named():
    one = with_modes((a_pass("chatter", f_c=525.0),), MODES, "arbor")[0]
    assert one.chatter.mode_below.frequency_hz == 508.0
    assert mode_words(one.chatter) == (
        "The mode at 508 Hz, damping 2.1 %, tapped on the arbor, lies just below: that is the "
        "one to stiffen."
    )
    assert mode_of(one.chatter) == (Mode(508.0, 0.021, 2.0, 0.003),)
    assert missed((one,), "arbor") is None


def test_a_tap_test_that_explains_nothing_is_said():
    far = with_modes((a_pass("chatter", f_c=900.0), a_pass("normal")), MODES, "table")
    assert far[0].chatter.mode_below is None and mode_words(far[0].chatter) is None
    assert "on the table" in missed(far, "table")
    assert missed((a_pass("normal"),), "table") is None


def test_the_chart_uses_mode_and_earlier_cuts():
    one = with_modes((a_pass("chatter", f_c=525.0),), MODES)[0]
    cuts = (Observed(0.003, 90.0, False), Observed(0.010, 90.0, True))
    job = a_job(cut={"observed": cuts})
    made = chart(one, job, mode_of(one.chatter))
    assert (made.natural_hz, made.damping_ratio) == (508.0, 0.021)
    assert len(made.cuts_made) == 3  # the pass itself, 6 mm deep, chattered as well
    low, high = made.scale.low_m, made.scale.high_m
    assert low < high and made.scale.against == ()
    alone = chart(one, a_job(cut={"depth_m": None}), mode_of(one.chatter))
    assert alone.scale.best_m is None


def test_contradicting_cuts_are_named_by_the_chart():
    one = a_pass("chatter", f_c=525.0)
    job = a_job(cut={"observed": (Observed(0.030, 90.0, False),)})  # 6 mm chattered
    made = chart(one, job)
    assert made.scale.best_m is None and "do not fit one chart" in made.scale.sentence
    assert "30 mm at 90 rev/min did not" in made.scale.sentence


def test_slip_is_alike_at_every_step():
    """Heard 2 % slower than the dial says: the limits are those of the true speeds."""
    slow = a_pass("chatter", f_c=90.0 * 0.98, n=90.0 * 0.98)
    true, dial = chart(a_pass("chatter", f_c=90.0), a_job()), chart(slow, a_job())
    assert dial.here.rev_min == pytest.approx(90.0)
    # Everything that rings and turns is 2 % slower, so waves per tooth and limits are the same
    # (process damping moves a little with the cutting speed).
    for a, b in zip(true.steps, dial.steps, strict=True):
        assert b.limit == pytest.approx(a.limit, rel=0.03)


def test_the_worst_pass_is_drawn():
    mild, bad = a_pass("chatter", 0.7, f_c=90.0), a_pass("chatter", 0.95, f_c=90.0, index=2)
    assert worst_chatter((mild, bad, a_pass("normal"))) is bad
    assert worst_chatter((a_pass("normal"),)) is None


BAD, GOOD = Observed(0.012, 57.0, True), Observed(0.008, 57.5, False)


def test_earlier_cuts_speak_of_the_next_one():
    both = (BAD, GOOD)
    assert trouble(both, 57.0, 0.014) == "12 mm chattered at this speed before: 8 mm was quiet."
    assert trouble(both, 57.0, 0.010) is None
    assert trouble(both, 85.0, 0.014) is None
    assert comfort(both, 57.0, 0.007) == "8 mm was quiet at 57 rev/min before: 7 mm should be too."
    assert "10 mm lies between" in comfort(both, 57.0, 0.010)
    assert comfort(both, 57.0, 0.014) is None
    assert comfort((GOOD,), 57.0, 0.010).endswith("10 mm is deeper, so listen.")
    assert trouble((BAD,), 57.0, 0.012, "inch").startswith("0.472 in chattered")


def test_a_clash_needs_the_same_speed_and_less_depth():
    assert clash((BAD, GOOD)) is None
    assert clash((BAD, Observed(0.020, 85.0, False))) is None
    said = clash((BAD, Observed(0.020, 57.0, False)))
    assert "12 mm at 57 rev/min is said to have chattered, and 20 mm not" in said
