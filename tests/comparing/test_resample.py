"""Block bootstrap."""

from __future__ import annotations

import numpy as np
import pytest

from chatter.comparing.resample import block_length, block_weights


def test_the_first_line_is_the_data_and_all_sum_to_one():
    weights = block_weights(17, 50, np.random.default_rng(0))
    assert weights.shape == (51, 17)
    assert np.allclose(weights[0], 1 / 17)
    assert np.allclose(weights.sum(axis=1), 1.0)


def test_rows_are_drawn_in_blocks_on_a_circle():
    weights = block_weights(10, 200, np.random.default_rng(1), length=5)
    assert np.allclose(weights * 10, np.round(weights * 10))
    # two blocks of five: as often as a row is drawn, one of its neighbours is too
    alone = (weights > 0) & (np.roll(weights, 1, 1) == 0) & (np.roll(weights, -1, 1) == 0)
    assert not alone.any()


def test_every_row_is_drawn_as_often():
    weights = block_weights(12, 6000, np.random.default_rng(2))[1:]
    assert weights.mean(axis=0) == pytest.approx(np.full(12, 1 / 12), rel=0.05)


def test_blocks_grow_with_the_cube_root():
    assert [block_length(n) for n in (1, 4, 8, 27, 64, 1000)] == [1, 2, 2, 3, 4, 10]


def test_the_error_of_a_mean_of_dependent_rows_is_right():
    """AR(1) with coefficient 0.5: var of the mean is (1 + a) / (1 - a) / n for unit variance."""
    rng = np.random.default_rng(3)
    n, a, errors = 400, 0.5, []
    for _ in range(40):
        x = np.zeros(n)
        for i in range(1, n):
            x[i] = a * x[i - 1] + np.sqrt(1 - a * a) * rng.standard_normal()
        weights = block_weights(n, 300, rng, length=20)
        errors.append((weights[1:] @ x).std())
    # blocks of 20 lose about 5 % of the error; drawing rows singly would lose 42 %
    assert np.mean(errors) == pytest.approx(np.sqrt(3 / n), rel=0.10)
