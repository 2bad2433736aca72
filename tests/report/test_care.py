"""The two cautions for where there is no room: always the hand, and this cut's own danger."""

from __future__ import annotations

import pytest

from chatter.job.build import build_job
from chatter.report.care import two_that_fit
from chatter.trade.cautions import cautions


@pytest.mark.parametrize(
    "stated, own",
    [
        ({}, "Keep the guards"),
        ({"cut.material": "grey cast iron"}, "fine dust"),
        ({"cut.material": "grey cast iron", "cutter.max_speed": "120"}, "above the speed marked"),
        ({"cut.material": "grey cast iron", "cutter.reground": "yes"}, "reground cutter"),
        ({"cut.direction": "climb", "machine.backlash": "yes"}, "pull the work into the cutter"),
        ({"cut.direction": "climb", "cutter.reground": "yes"}, "check the table screw"),
    ],
)
def test_the_gravest_of_this_cut_stands_beside_the_one_for_the_hand(stated, own):
    job = build_job({"cut.speed": "57", "cutter.teeth": "48", **stated})
    first, second = two_that_fit(cautions(job, "listen"))
    assert first.startswith("Never reach near a turning cutter")
    assert own in second


def test_few_cautions_are_shown_as_they_are():
    assert two_that_fit(()) == ()
    assert two_that_fit(("Mind the crane.",)) == ("Mind the crane.",)
