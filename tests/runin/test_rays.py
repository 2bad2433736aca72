"""Rays through speed: what turns, what stays, and how often chance makes one."""

from __future__ import annotations

import numpy as np
import pytest

from chatter.runin.rays import SpeedLines, find_rays, rays_of_unknown_speeds

SPEEDS_HZ = (0.7, 0.95, 1.3, 1.8, 2.4, 3.3)


def lines(spindle_hz, hz, *, stated=None, step=0.25, error=1e-3):
    hz = np.sort(np.asarray(hz, float))
    return SpeedLines(stated or spindle_hz, hz, np.full(hz.size, 15.0), step, 50.0, 10_000.0, error)


def chance_lines(rng, count):
    return np.exp(rng.uniform(np.log(60.0), np.log(8000.0), count))


def survey(rng, orders, stay, *, chance=25, plate=0.0, error=1e-3):
    made = []
    for f in SPEEDS_HZ:
        hz = [o * f * (1 + 2e-4 * rng.standard_normal()) for o in orders]
        hz += [s + 0.02 * rng.standard_normal() for s in stay]
        hz += list(chance_lines(rng, chance))
        stated = f * (1 + plate * rng.standard_normal())
        made.append(lines(f, [h for h in hz if 55 < h < 9000], stated=stated, error=error))
    return made


def test_what_turns_and_what_stays_is_found():
    found = find_rays(survey(np.random.default_rng(1), (103.2, 244.0), (100.0, 733.0)))
    turning = sorted(ray.at for ray in found if ray.turns)
    staying = sorted(ray.at for ray in found if not ray.turns)
    # An order is known to the speed's own error, 2e-4 a speed.
    assert turning == pytest.approx([103.2, 244.0], rel=5e-4)
    assert staying == pytest.approx([100.0, 733.0], rel=5e-4)
    assert all(len(ray.members) >= 5 for ray in found)


def test_no_line_is_in_two_rays():
    found = find_rays(survey(np.random.default_rng(2), (61.0, 62.0, 122.0), (100.0, 200.0)))
    members = [member for ray in found for member in ray.members]
    assert len(members) == len(set(members))


def test_lines_anywhere_make_no_ray():
    """At most one survey in a hundred: 60 surveys hold 0.6 on average; 4 or more: 1 in 300."""
    rng = np.random.default_rng(3)
    wrong = sum(bool(find_rays(survey(rng, (), (), chance=30))) for _ in range(60))
    assert wrong <= 3


def test_the_stated_chance_is_about_right():
    """Up to 1.0 stated, chance makes at most one ray a survey, and not far fewer than one."""
    rng = np.random.default_rng(4)
    surveys = 60
    count = sum(
        len(find_rays(survey(rng, (), (), chance=40), believed=1.0)) for _ in range(surveys)
    )
    assert 0.15 * surveys <= count <= 1.0 * surveys


def test_two_speeds_are_not_enough():
    both = survey(np.random.default_rng(5), (61.0,), (100.0,))[:2]
    assert find_rays(both) == ()


def test_the_same_speed_again_does_not_show_that_a_line_stays():
    rng = np.random.default_rng(6)
    alike = [lines(2.0, [*chance_lines(rng, 20), 333.0]) for _ in range(5)]
    assert not [ray for ray in find_rays(alike) if not ray.turns]


def test_plates_that_are_off_are_aligned():
    rng = np.random.default_rng(7)
    orders = (61.0, 103.2, 122.0, 183.0, 206.4)
    made = survey(rng, orders, (100.0, 200.0), chance=12, plate=0.012, error=0.02)
    found, corrected = rays_of_unknown_speeds(made)
    turning = sorted(ray.at for ray in found if ray.turns)
    assert len(turning) >= 4
    # Only ratios can be known without a single known gear.
    told = np.array([one.spindle_hz for one in corrected])
    ratios = told / np.array(SPEEDS_HZ)
    assert np.ptp(ratios) / ratios.mean() < 0.004


def test_aligning_makes_no_rays_of_nothing():
    rng = np.random.default_rng(8)
    wrong = 0
    for _ in range(6):
        found, _ = rays_of_unknown_speeds(
            survey(rng, (), (), chance=25, plate=0.012, error=0.02), draws=19
        )
        wrong += any(ray.turns for ray in found)
    assert wrong <= 1
