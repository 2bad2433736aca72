"""Speeds of the machine and tooth counts, weighed by the sound before any number is stated."""

from __future__ import annotations

import numpy as np
import pytest

from chatter.demo import demo_takes
from chatter.job.cards import load_job
from chatter.listening.hypotheses import counts_near, counts_octave
from chatter.listening.numbers import find_both, find_speed, find_teeth, weigh_numbers
from chatter.listening.rates import measure_rates
from chatter.listening.track import Track
from chatter.sound.frames import make_frames
from chatter.sound.intake import take_in
from tests.listening.cuts_made import RATE_HZ, cut
from tests.listening.rates_made import rates_of

CARD = (42, 57, 78, 106, 144, 197, 268, 365)


@pytest.fixture(scope="module")
def demo():
    """What is measured of each demo recording, with its job."""
    measured = {}
    for take in demo_takes():
        name = take.recording.stem
        if not name.startswith(("01", "02", "03", "04")):
            continue
        sound = take_in(take.recording)
        track = Track(sound.spool.read, sound.spool.n, sound.spool.rate_hz)
        rates = measure_rates(track, make_frames(track.read, track.n, track.rate_hz))
        sound.spool.close()
        measured[name[:2]] = rates, load_job(take.job)
    return measured


def weighed(demo, number, *, rev_min=None, teeth=None):
    """A demo recording with other numbers than its own."""
    rates, job = demo[number]
    return weigh_numbers(
        rates,
        rev_min=rev_min or job.cut.speed_rev_min,
        teeth=teeth or job.cutter.teeth,
        speeds=job.machine.speeds_rev_min,
    )


@pytest.mark.parametrize("number", ["02", "03", "04"])
def test_right_numbers_are_believed(demo, number):
    found = weighed(demo, number)
    assert found.rev_min is None and found.count is None and not found.held
    assert found.speeds[0].rev_min == demo[number][1].cut.speed_rev_min
    assert found.counts[0].teeth == demo[number][1].cutter.teeth


@pytest.mark.parametrize("number", ["02", "03", "04"])
@pytest.mark.parametrize("steps", [-2, -1, 1, 2])
def test_the_lever_off_is_noticed_and_the_right_notch_named(demo, number, steps):
    job = demo[number][1]
    place = CARD.index(job.cut.speed_rev_min) + steps
    if not 0 <= place < len(CARD):
        pytest.skip("no such notch")
    assert weighed(demo, number, rev_min=CARD[place]).rev_min == job.cut.speed_rev_min


@pytest.mark.parametrize("teeth", [24, 40, 47, 49, 52, 96])
def test_a_miscounted_saw_gets_no_confident_verdict(demo, teeth):
    for number in ("02", "04"):
        assert weighed(demo, number, teeth=teeth).held


@pytest.mark.parametrize("teeth", [47, 49, 52])
def test_where_the_turn_is_heard_the_teeth_are_counted(demo, teeth):
    """Chatter leaves lines one turn beside the teeth's: 48, and not one more or less."""
    found = weighed(demo, "04", teeth=teeth)
    assert found.count == 48 and found.counts[0].teeth == 48 and found.counts[0].probability > 0.8


def test_the_staggered_cutter_at_another_speed_is_noticed(demo):
    assert weighed(demo, "03", rev_min=365).rev_min == 57


def test_the_speed_is_found_among_the_machines_own(demo):
    for number, speed in (("02", 57), ("04", 106)):
        first = find_speed(demo[number][0], 48, CARD)[0]
        assert first.rev_min == speed and first.probability > 0.9


def test_idling_tells_no_speed_and_no_count(demo):
    rates, _ = demo["01"]
    assert find_speed(rates, 48, CARD)[0].probability < 0.9
    assert find_teeth(rates, 57.0)[0].probability < 0.3


def test_noise_doubts_nobody(rng):
    """The teeth of a speed that is not there: nothing fits far better than anything else."""
    for rev_min, teeth in ((57, 48), (144, 20), (365, 4)):
        rates = rates_of(0.1 * rng.standard_normal(14 * RATE_HZ))
        found = weigh_numbers(rates, rev_min=rev_min, teeth=teeth, speeds=CARD)
        assert found.rev_min is None and found.count is None


@pytest.mark.parametrize("off", [-0.05, 0.0, 0.05])
def test_slip_is_no_other_gear(rng, off):
    heights = np.clip(1 + 0.3 * rng.standard_normal(24), 0.2, 2.0)
    rates = rates_of(cut(rng, 16.0, 144.0 * (1 + off), 24, ticks=0.3, heights=heights).x)
    found = weigh_numbers(rates, rev_min=144.0, teeth=24, speeds=CARD)
    assert found.rev_min is None and found.speeds[0].rev_min == 144.0


def test_without_a_card_the_speed_that_fits_is_named_too(demo):
    rates, job = demo["04"]
    found = weigh_numbers(rates, rev_min=85.0, teeth=48, speeds=())
    assert found.rev_min == pytest.approx(job.cut.speed_rev_min, rel=0.05) and not found.speeds


def test_few_teeth_are_not_counted(rng):
    rates = rates_of(cut(rng, 8.0, 600.0, 4, ticks=0.3).x)
    found = weigh_numbers(rates, rev_min=600.0, teeth=5, speeds=())
    assert found.count is None and found.counts == ()


def test_counts_that_are_taken_for_each_other():
    assert counts_near(48)[0] == 48 and set(counts_near(48)) == set(range(40, 57))
    assert counts_near(14)[0] == 14 and set(counts_near(14)) == set(range(11, 18))
    assert counts_octave(20) == (20, 10, 40) and counts_octave(21) == (21, 42)


@pytest.mark.parametrize("seconds", [0.3, 0.6, 3.0])
@pytest.mark.parametrize("loud", [0.0, 0.1])
def test_silence_and_a_second_of_sound_tell_nothing(rng, seconds, loud):
    rates = rates_of(loud * rng.standard_normal(int(seconds * RATE_HZ)))
    for rev_min, teeth in ((57.0, 48), (30_000.0, 100), (5.0, 1)):
        found = weigh_numbers(rates, rev_min=rev_min, teeth=teeth, speeds=CARD)
        assert found.rev_min is None and found.count is None
    first = (*find_speed(rates, 48, CARD), *find_both(rates, CARD)[0])[:1]
    assert not first or first[0].probability < 0.9
