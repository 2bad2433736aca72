"""What is shown and what is not: estimates, intervals, family-wise claims, ranks with ties."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from chatter.comparing import decide
from chatter.comparing.contrast import SideFeatures
from chatter.comparing.decide import differences, rankings
from chatter.comparing.estimate import estimate, feature_places
from chatter.comparing.families import FAMILIES, FAMILY_WISE, Between, between_terms, widening
from chatter.comparing.features import NAMES

UNEVEN = next(one for one in FAMILIES if one.name == "unevenness")
TONES = {"free": (900.0,), "squeal": (2000.0,), "machine": (300.0,)}
KNOWN = Between(np.array([1.0]), np.array([[3.0]]), 1.0, 10.0)


def side(*takes: dict[str, float], within: float = 1.0) -> SideFeatures:
    """A side of which each take has these features (0 dB for the rest)."""
    value = np.array([[take.get(name, 0.0) for name in NAMES] for take in takes])
    count = len(NAMES)
    return SideFeatures(value, np.repeat(within * np.eye(count)[None], len(takes), axis=0))


def test_one_feature_is_a_plain_difference():
    found = estimate(side({"side": 2.0}), side({"side": 7.0}), UNEVEN, KNOWN)
    assert found.difference_db == pytest.approx(5.0)
    assert found.error_db == pytest.approx(np.sqrt(2 * (3.0 + 1.0)), rel=1e-5)
    assert found.within_db == pytest.approx(np.sqrt(2.0))


def test_more_takes_narrow_the_interval():
    one = estimate(side({}), side({}), UNEVEN, KNOWN)
    four = estimate(side(*[{}] * 4), side(*[{}] * 4), UNEVEN, KNOWN)
    # half by the square root of four, and a little more as takes that agree say so
    assert 0.35 < four.error_db / one.error_db < 0.5
    assert four.freedom == KNOWN.freedom + 6


def test_takes_that_scatter_widen_it():
    calm = [{"side": 0.0}, {"side": 0.5}]
    wild = [{"side": -9.0}, {"side": 9.0}]
    narrow = estimate(side(*calm), side(*calm), UNEVEN, KNOWN)
    wide = estimate(side(*wild), side(*wild), UNEVEN, KNOWN)
    assert wide.error_db > 1.8 * narrow.error_db


def test_a_take_without_a_feature_is_left_out():
    lacking = side({"side": np.nan}, {"side": 4.0})
    found = estimate(side({"side": 1.0}), lacking, UNEVEN, KNOWN)
    assert found.difference_db == pytest.approx(3.0)
    assert estimate(side({"side": 1.0}), side({"side": np.nan}), UNEVEN, KNOWN) is None


def test_a_feature_that_one_side_lacks_altogether_is_left_out():
    family, known = FAMILIES[0], between_terms(True)["rubbing"]
    quiet, loud = {"swell_mid": 1.0}, {"swell_mid": 9.0}
    whole = estimate(side(quiet), side(loud), family, known)
    part = estimate(side(quiet), side(loud | {"swell_high": np.nan}), family, known)
    assert part.error_db > whole.error_db
    assert part.difference_db > 5.0


def test_takes_that_lack_a_feature_count_where_they_say_more():
    """Teeth that could not be parted in two takes of three: the swells of all three are used."""
    family, known = FAMILIES[0], between_terms(True)["rubbing"]
    swells = [{"swell_mid": 2.0 + 0.1 * i, "swell_high": 3.0} for i in range(3)]
    lacking = [swells[0], *[one | {"tooth_high": np.nan} for one in swells[1:]]]
    mixed = estimate(side(*lacking, within=0.1), side(*swells, within=0.1), family, known)
    alone = estimate(side(swells[0], within=0.1), side(*swells, within=0.1), family, known)
    assert mixed.freedom == known.freedom + 4
    assert mixed.error_db < alone.error_db


def test_features_of_one_cause_are_weighed_by_how_sure_they_are():
    family = FAMILIES[0]
    covariance = np.diag([1.0, 1.0, 100.0])
    known = Between(np.array([1.0, 1.0, -1.0]), covariance, 1.0, 10.0)
    second = side({"swell_mid": 5.0, "swell_high": 5.0, "tooth_high": 40.0})
    found = estimate(side({}), second, family, known)
    assert found.difference_db == pytest.approx(5.0, abs=0.8)


def test_more_pairs_of_cutters_widen_every_interval():
    # Student's t with 10 degrees: 2.228 at 0.05 and 2.870 at 0.05/3 (tables; from memory)
    assert widening(10.0, 1) == 1.0
    assert widening(10.0, 3) == pytest.approx(2.870 / 2.228, rel=2e-3)


def test_identical_cutters_are_claimed_to_differ_in_one_of_twenty():
    """Takes drawn from the very terms that were fitted: the rate must be what is promised."""
    rng = np.random.default_rng(11)
    claimed, runs = 0, 1500
    for _ in range(runs):
        first, second = (_drawn(rng) for _ in range(2))
        found = differences(("a", "b"), (first, second), tones=TONES, alike=True)
        claimed += any(one.said == "shown" for one in found)
    # three standard errors of the rate are 1.7 %
    assert claimed / runs < FAMILY_WISE + 0.017


def _drawn(rng: np.random.Generator) -> SideFeatures:
    """One take of which every family varies as ``between.json`` says, normally."""
    value = np.zeros((1, len(NAMES)))
    for family in FAMILIES:
        at, known = feature_places(family), between_terms(True)[family.name]
        value[0, at] = rng.multivariate_normal(np.zeros(len(at)), known.covariance)
    return SideFeatures(value, np.zeros((1, len(NAMES), len(NAMES))))


def test_a_great_difference_is_shown_and_named():
    found = differences(
        ("plain", "staggered"),
        (
            side({"swell_mid": 12.0, "swell_high": 13.0}),
            side({"swell_mid": 1.2, "swell_high": 1.1}),
        ),
        tones=TONES,
        alike=True,
    )
    rubbing = found[0]
    assert (rubbing.family, rubbing.said) == ("rubbing", "shown")
    assert rubbing.high_db < 0
    assert rubbing.sentence.startswith("staggered removes the once-per-turn rubbing of plain")


def test_an_unsure_scale_widens_a_great_difference_but_never_turns_it(monkeypatch):
    def rubbing(scale: float, rise: float):
        known = {k: replace(v, scale=scale) for k, v in between_terms(True).items()}
        monkeypatch.setattr(decide, "between_terms", lambda _alike: known)
        second = side({"swell_mid": rise, "swell_high": rise}, within=0.01)
        return differences(("a", "b"), (side({}, within=0.01), second), tones=TONES, alike=True)[0]

    sure, unsure = rubbing(0.0, 5.0), rubbing(0.2, 5.0)
    assert unsure.difference_db == sure.difference_db
    # 1.96 x 0.2 of the difference, at right angles to the rest
    wide = np.hypot(sure.high_db - sure.difference_db, 1.96 * 0.2 * sure.difference_db)
    assert unsure.high_db - unsure.difference_db == pytest.approx(wide)
    for rise in (1.2, 5.0, -5.0):
        far = rubbing(0.9, rise)
        assert far.said == rubbing(0.0, rise).said
        assert far.said != "shown" or far.low_db * far.high_db >= 0.0


def test_runout_is_not_called_rubbing():
    swollen = {"swell_low": 12.0, "swell_mid": 12.0, "swell_high": 12.0}
    found = differences(("good", "bent"), (side({}), side(swollen)), tones=TONES, alike=True)
    assert found[0].said == "shown"
    assert "runout" in found[0].sentence
    assert "rubs" not in found[0].sentence


def test_what_neither_has_is_none_and_what_cannot_be_had_is_not_told():
    none = {"chatter": np.nan, "squeal": np.nan, "level": np.nan}
    found = {
        one.family: one
        for one in differences(
            ("a", "b"),
            (side(none), side(none)),
            tones={"free": (), "squeal": (), "machine": ()},
            alike=True,
        )
    }
    assert found["chatter"].said == "not_shown"
    assert "none heard in either" in found["chatter"].sentence
    assert found["level"].said == "cannot_tell"
    assert "idling" in found["level"].sentence


def test_a_side_that_could_not_be_measured_is_named():
    empty = SideFeatures(np.zeros((0, len(NAMES))), np.zeros((0, len(NAMES), len(NAMES))))
    found = differences(("a", "b"), (side({}), empty), tones=TONES, alike=True)
    assert {one.said for one in found} == {"cannot_tell"}
    assert "no recording of b" in found[0].sentence


def test_a_small_difference_is_no_use_however_sure(monkeypatch):
    sure = {
        one.name: Between(np.ones(len(one.features)), 1e-4 * np.eye(len(one.features)), 1.0, 30.0)
        for one in FAMILIES
    }
    monkeypatch.setattr(decide, "between_terms", lambda _alike: sure)
    near, far = (
        differences(
            ("a", "b"),
            (side({}, within=1e-4), side({"side": x}, within=1e-4)),
            tones=TONES,
            alike=True,
        )
        for x in (0.8, 1.3)
    )
    assert [one.said for one in near if one.family == "unevenness"] == ["not_shown"]
    assert [one.said for one in far if one.family == "unevenness"] == ["shown"]


def test_ranks_share_a_place_unless_a_difference_is_shown():
    names = ("a", "b", "c")
    sides = (side({"side": 0.0}), side({"side": 1.0}), side({"side": 30.0}))
    found = differences(names, sides, tones=TONES, alike=True)
    assert len(found) == 3 * len(FAMILIES)
    ranks = {one.family: {p.name: p.place for p in one.places} for one in rankings(names, found)}
    assert ranks["unevenness"] == {"a": 1, "b": 1, "c": 3}
    assert set(ranks["squeal"].values()) == {1}
