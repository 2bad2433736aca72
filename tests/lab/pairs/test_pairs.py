"""Pairs: what belongs to the cutter repeats, what belongs to the take does not."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from chatter.lab.pairs import fit as fitting
from chatter.lab.pairs.draw import RISE_DB, draw_pair, louder_rubbing
from chatter.lab.pairs.fit import fit, student, terms_json
from chatter.lab.pairs.retake import TakeStreams, retaken
from chatter.lab.pairs.run import PairFeatures, PairOutcome
from chatter.lab.pairs.table import identical_lines, rubbing_lines, with_share
from chatter.lab.simulate import draw_scene, simulate
from chatter.lab.simulate.ranges import ranges_development
from tests.comparing.test_decide import side


@pytest.fixture(scope="module")
def rubbing_scene():
    scene = draw_scene(np.random.default_rng(5), "side_rubbing", ranges_development, regime="saw")
    plan = replace(scene.passes[0], start_s=0.5, end_s=6.5, entry_s=0.2, exit_s=0.2)
    return replace(scene, passes=(plan,), duration_s=7.0, distractors=())


def test_the_cutter_and_the_ways_it_radiates_repeat():
    one, other = (TakeStreams(7, take).spawn(9) for take in (1, 2))
    for place, repeats in ((0, False), (1, False), (2, True), (3, False), (5, False), (6, False)):
        same = one[place].random() == other[place].random()
        assert same == repeats, place
    # the plate is the same, the noise it makes is not
    assert one[4].uniform() == other[4].uniform()
    noise = [x[4].standard_normal(4800, dtype=np.float32) for x in (one, other)]
    assert not np.array_equal(*noise)
    assert one[4].standard_normal() == other[4].standard_normal()


def test_another_cutter_is_another_plate():
    one, other = (TakeStreams(own, 1).spawn(9) for own in (7, 8))
    assert one[4].uniform() != other[4].uniform()
    assert one[2].random() != other[2].random()


def test_two_takes_squeal_at_the_same_pitch_and_differ_in_all_else(rubbing_scene):
    loud = replace(rubbing_scene, rub=replace(rubbing_scene.rub, level_db=20.0, squeal_db=20.0))
    phone = replace(loud.phone, rate_hz=48_000, channels=1, agc_db=0.0, suppression_db=0.0)
    loud = replace(loud, phone=phone)
    sounds = [simulate(loud, TakeStreams(3, take))[0] for take in (1, 2)]
    n = min(map(len, sounds))
    # Squeals of one pitch drift apart by their own bends; over one short take by chance not
    # quite: 0.2 on this scene.  The same take again gives 1.
    assert np.corrcoef(*[one[:n] for one in sounds])[0, 1] < 0.35
    peaks = []
    for one in sounds:
        power = np.abs(np.fft.rfft(one[:n] * np.hanning(n))) ** 2
        hz = np.fft.rfftfreq(n, 1 / 48_000)
        high = hz > 900
        peaks.append(hz[high][np.argmax(power[high])])
    # a squeal bends by a few tenths of a percent
    assert peaks[0] == pytest.approx(peaks[1], rel=0.01)


def test_the_second_really_rubs_louder(rubbing_scene):
    quiet, loud = (
        simulate(one, TakeStreams(3, 1))[2].passes[0].rubbing_db
        for one in (rubbing_scene, louder_rubbing(rubbing_scene, RISE_DB))
    )
    assert loud - quiet == pytest.approx(RISE_DB, abs=1e-3)


def test_a_retake_keeps_the_cut_and_changes_the_rest(rubbing_scene):
    again = retaken(np.random.default_rng(1), rubbing_scene, ranges_development)
    for kept in ("teeth", "metal", "modes", "passes", "rub", "rev_min", "radiation"):
        assert getattr(again, kept) == getattr(rubbing_scene, kept)
    assert again.phone != rubbing_scene.phone
    assert again.room != rubbing_scene.room
    same = retaken(np.random.default_rng(1), rubbing_scene, ranges_development, same_phone=True)
    assert replace(same.phone, peak=0) == replace(rubbing_scene.phone, peak=0)
    assert same.room.decay_s == rubbing_scene.room.decay_s
    assert same.format == rubbing_scene.format


def test_development_and_reporting_share_no_pair():
    drawn = {r: draw_pair(r, "identical", 3) for r in ("development", "reporting")}
    assert drawn["development"].own != drawn["reporting"].own
    assert not set(drawn["development"].takes[0]) & set(drawn["reporting"].takes[0])
    assert draw_pair("reporting", "identical", 3) == drawn["reporting"]
    pair = draw_pair("development", "rubbing", 0, takes=2)
    assert len({one for side in pair.takes for one in side}) == 4
    levels = [scene.rub.level_db for one in pair.sides for scene in one]
    assert levels[2] - levels[0] == pytest.approx(RISE_DB)


def _pairs(rng, count, scale=1.0, rise=0.0):
    made = []
    for index in range(count):
        sides = []
        for up in (0.0, rise):
            swell = scale * rng.standard_normal()
            sides.append(
                side(
                    {
                        "swell_mid": swell + 0.5 * up,
                        "swell_high": swell + 0.6 * up,
                        "tooth_high": -0.4 * up + rng.standard_normal(),
                        "side": 2.0 * rng.standard_normal(),
                    },
                    within=0.04,
                )
            )
        made.append(PairFeatures(index, "normal", tuple(sides)))
    return made


def test_the_fit_finds_what_the_pairs_were_drawn_from():
    rng = np.random.default_rng(4)
    terms = fit(_pairs(rng, 400), _pairs(rng, 400, rise=RISE_DB))
    rubbing = terms["rubbing"]
    # the mean of 400 differences of two takes is known to 0.07 dB, so per dB to 0.012
    assert rubbing.direction == pytest.approx([0.5, 0.6, -0.4], abs=0.04)
    # with the weights of tails of 3 degrees a normal variance comes out as v of itself, where
    # E[(3 + k) r / (3 + r / v)] = k v for r of chi squared with k degrees: 0.632 in one
    # dimension and 0.717 in three (that mean over 400 000 draws, iterated)
    assert rubbing.covariance[0, 1] == pytest.approx(0.717, abs=0.15)
    assert terms["unevenness"].covariance[0, 0] == pytest.approx(4.0 * 0.632, rel=0.2)
    # every plate answers alike here, so nothing is left over for the scale
    assert rubbing.scale < 0.08
    # any of all families beyond its reach in the share of the pairs that is allowed for
    again = fit(_pairs(np.random.default_rng(5), 400), _pairs(rng, 50, rise=RISE_DB))
    for name in ("rubbing", "unevenness"):
        assert again[name].reach == pytest.approx(terms[name].reach, rel=0.25)
    assert terms["unevenness"].reach > terms["rubbing"].reach > 1.7
    assert terms["unevenness"].freedom > 8
    assert '"rubbing"' in terms_json({"alike": terms}, {"alike": {"identical": 400}}, "1f0c")


def test_plates_that_answer_differently_make_the_scale_unsure():
    """Rises that come out as 0.5 to 1.5 of themselves: a relative spread of 0.29."""
    rng = np.random.default_rng(8)
    rises = RISE_DB * rng.uniform(0.5, 1.5, 300)
    pairs = [pair for rise in rises for pair in _pairs(rng, 1, scale=0.1, rise=rise)]
    # the median deviation of a uniform spread, taken for a normal one, is 1.28 of its own
    assert fit(_pairs(rng, 300, scale=0.1), pairs)["rubbing"].scale == pytest.approx(0.35, abs=0.1)


def test_heavy_tails_are_seen():
    rng = np.random.default_rng(6)
    scale, freedom = student(1.7 * rng.standard_t(4.0, 4000))
    assert scale == pytest.approx(1.7, rel=0.08)
    assert 3.0 < freedom < 5.5
    assert student(rng.standard_normal(4000))[1] > 12


@pytest.mark.stale
def test_the_terms_were_fitted_on_the_code_that_is_here():
    """REFIT: fails after a change to what is measured or to the model, until fitted anew."""
    from chatter.lab.evaluate.code import comparing_digest

    kept = json.loads(fitting.PATH.read_text(encoding="utf-8"))
    now = comparing_digest()
    assert kept["code"] == now, (
        f"between.json was fitted on code {kept['code']}, and this is {now}. Fit it again: "
        f"{kept['made_by']}; DEVELOPERS.md says beside it how long that takes."
    )


def test_the_terms_in_use_come_from_the_fit():
    kept = json.loads(fitting.PATH.read_text(encoding="utf-8"))
    assert "python -m chatter.lab.pairs --fit --write" in kept["made_by"]
    for phones in ("other", "alike"):
        assert kept["pairs"][phones]["identical"] >= 90
        # another phone and room add to what one phone's takes differ by
    other, alike = (np.array(kept["terms"][p]["rubbing"]["covariance"]) for p in ("other", "alike"))
    assert np.trace(other) > np.trace(alike)
    for name, one in kept["terms"]["other"].items():
        assert one["reach"] >= kept["terms"]["alike"][name]["reach"]


def test_rates_are_counted_with_their_intervals():
    def outcome(index, verdict, shown=(), rubbing=1.0, processed=False):
        return PairOutcome(index, "normal", processed, verdict, shown, rubbing, 5.5)

    same = [
        outcome(0, "difference", ("rubbing", "level")),
        outcome(1, "no_difference"),
        outcome(2, "cannot_tell", rubbing=None),
        outcome(3, "no_difference", processed=True),
    ]
    told = "\n".join(identical_lines(same))
    assert "1 of 4, 25.0 %" in told
    assert "1 of 3, 33.3 %" in told
    assert "rubbing 1" in told
    more = [
        outcome(0, "difference", ("rubbing",), 6.0),
        outcome(1, "difference", ("rubbing",), -4.0),
        outcome(2, "no_difference", (), 5.0),
        outcome(3, "difference", ("squeal",), 0.0),
    ]
    told = "\n".join(rubbing_lines(more))
    assert "more rubbing shown               1 of 4" in told
    assert "less rubbing shown               1 of 4" in told
    assert "within the interval        2 of 4" in told
    # Wilson's interval of 3 of 200 (Newcombe 1998 gives the method; value by his formula)
    assert with_share(3, 200) == "3 of 200, 1.5 % (0.5 to 4.3)"
