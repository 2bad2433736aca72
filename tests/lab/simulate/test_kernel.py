"""The fast inner loop against its readable twin, and against what must be so."""

import numpy as np
import pytest

from chatter.lab.simulate.cutting import Course, Metal, Teeth, run_cut
from chatter.lab.simulate.structure import StructureMode, stepped


def random_cut(seed: int):
    rng = np.random.default_rng(seed)
    count = int(rng.integers(1, 7))
    blocks, hop = 40, 32
    full = np.ones(blocks)
    turning = seed % 5 == 0
    if turning:
        count = 1
    arc = rng.uniform(0.1, 0.5)
    low, high = (-1.0, 2.0) if turning else (0.0, arc) if rng.random() < 0.5 else (0.5 - arc, 0.5)
    width = full * 2e-3
    width[:3] = 0.0
    course = Course(
        rate_hz=24_000.0,
        hop=hop,
        turn_rate=rng.uniform(8, 150) * (1 + 0.02 * rng.standard_normal(blocks)),
        feed_m_s=full * 0.02,
        arc_low=full * low,
        arc_high=full * high,
        width_m=width,
        pass_of=(np.arange(blocks) > 20).astype(int),
        surface_speed_m_s=1.0,
        fixed_angle=turning,
    )
    slices = 1 if turning else int(rng.integers(1, 4))
    teeth = Teeth(
        tuple(np.sort(rng.uniform(0, 1, count))),
        tuple(2e-5 * rng.standard_normal(count)),
        tuple(rng.uniform(0.8, 1.5, count)),
        0.05 * (slices > 1),
        slices,
    )
    metal = Metal(1.5e9, 0.3, 1e4, 5e3, 0.1, 0.1, 1e-3)
    modes = tuple(
        StructureMode(rng.uniform(200, 1500), 0.02, rng.uniform(2e6, 2e7), rng.uniform(0, 3), 1.3)
        for _ in range(2)
    )
    return course, teeth, metal, modes


@pytest.mark.parametrize("seed", range(12))
def test_agrees_with_the_readable_twin(seed):
    cut = random_cut(seed)
    regenerate = seed % 4 != 1
    fast, slow = (
        run_cut(*cut, np.random.default_rng(seed), regenerate=regenerate, plain=plain)
        for plain in (False, True)
    )
    assert np.abs(fast.force_n).max() > 1.0  # something was cut
    for name in ("displacement_m", "force_n", "chip_m2", "voice", "tooth_force"):
        a, b = getattr(fast, name), getattr(slow, name)
        # float32 storage is good to 6e-8; rounding differs in the last digits only.
        np.testing.assert_allclose(a, b, rtol=1e-5, atol=1e-6 * np.abs(b).max())


def test_static_chip_is_feed_per_tooth_times_sine():
    # A stiff slot cut with one straight tooth: the chip's area is b f_z sin(phi).
    blocks, hop, rate = 40, 100, 10_000.0
    full = np.ones(blocks)
    course = Course(rate, hop, full * 10.0, full * 1e-4 * 10, full * 0.0, full * 0.5,
                    full * 2e-3, np.zeros(blocks, int), 1.0)  # fmt: skip
    metal = Metal(1e9, 0.3, 0.0, 0.0, 0.0, 0.0, 0.0)
    rigid = StructureMode(500, 0.05, 1e15, 0.0)
    motion = run_cut(course, Teeth((0.0,), (0.0,), (1.0,)), metal, (rigid,), None)
    turn = np.arange(blocks * hop) / rate * 10.0
    phi = 2 * np.pi * (turn % 1.0)
    expected = np.where(phi < np.pi, 2e-3 * 1e-4 * np.sin(phi), 0.0)
    later = turn > 1.2
    # One step of feed, a thousandth of a turn, is the grid's grain.
    np.testing.assert_allclose(motion.chip_m2[later], expected[later], atol=2e-3 * 2e-7)


def test_low_tooth_leaves_its_chip_to_the_next():
    # Two teeth, one 1 mm low: the other cuts twice the feed per tooth.
    blocks, hop, rate = 40, 100, 10_000.0
    full = np.ones(blocks)
    course = Course(rate, hop, full * 10.0, full * 1e-4 * 20, full * 0.0, full * 0.5,
                    full * 2e-3, np.zeros(blocks, int), 1.0)  # fmt: skip
    metal = Metal(1e9, 0.3, 0.0, 0.0, 0.0, 0.0, 0.0)
    stiff = (StructureMode(500, 0.05, 1e15, 0.0),)
    motion = run_cut(course, Teeth((0.0, 0.5), (0.0, -1e-3), (1.0, 1.0)), metal, stiff, None)
    later = motion.chip_m2[1500:]
    assert later.max() == pytest.approx(2e-3 * 2e-4, rel=2e-3)
    assert motion.tooth_force[0, 1] < 0.02 * motion.tooth_force[0, 0]


def test_free_ring_down_has_the_modes_frequency_and_damping():
    mode = StructureMode(700.0, 0.02, 1e7, 0.0)
    step = stepped((mode,), 1 / 48_000)
    a = step.transition[0].reshape(2, 2)
    eigen = np.log(np.linalg.eigvals(a)) * 48_000
    w = 2 * np.pi * 700.0
    assert np.abs(eigen).max() == pytest.approx(w, rel=1e-9)
    assert -eigen.real.max() == pytest.approx(0.02 * w, rel=1e-9)


def test_held_force_settles_at_force_over_stiffness():
    mode = StructureMode(700.0, 0.05, 1e7, 0.0)
    step = stepped((mode,), 1 / 48_000)
    a, b = step.transition[0].reshape(2, 2), step.response[0]
    settled = np.linalg.solve(np.eye(2) - a, b * 50.0)
    assert settled[0] == pytest.approx(50.0 / 1e7, rel=1e-9)
    assert abs(settled[1]) < 1e-12
